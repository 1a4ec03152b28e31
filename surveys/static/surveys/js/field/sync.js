// Sending what waits on this phone, exactly once. Pure: the store, the network and the
// clock are passed in.
//
// The order: ask who is signed in (never from a kept page), deliver the visit by its own
// id, then the bytes of its photographs from wherever the server stands. Nothing leaves
// the phone until the server has said that it holds all of it. Every step may be done
// again: the server answers alike.

const PIECE_BYTES = 256 * 1024;
const MOST_BEGINNINGS = 3;

class Stop extends Error {
  constructor(why) {
    super(why);
    this.why = why;
  }
}

// store: { outbox, saveItem, blob, finish }; fetch as in the browser.
// mayUpload: () => boolean, asked before each photograph.
// tell: (item, photo or null) => void, called as things go forward.
export function createSender({ store, fetch, now, mayUpload = () => true, tell = () => {} }) {
  let token = "";

  async function session() {
    const answer = await fetch("/api/session/", { cache: "no-store", credentials: "same-origin" });
    if (!answer.ok) throw new Error(`the site answered ${answer.status}`);
    const found = await answer.json();
    token = found.csrf_token;
    return found;
  }

  async function ask(path, options, owner) {
    const answer = await fetch(path, {
      credentials: "same-origin",
      redirect: "manual",
      ...options,
      headers: { ...options.headers, "X-CSRFToken": token, "X-Expected-User": String(owner) },
    });
    if (answer.status === 401) throw new Stop("signed-out");
    return answer;
  }

  // A token may have been changed by signing in elsewhere: one fresh one is asked for.
  async function tryTwice(path, options, owner) {
    const answer = await ask(path, options, owner);
    if (answer.status !== 403) return answer;
    const { user_id } = await session();
    if (user_id !== owner) throw new Stop(user_id === null ? "signed-out" : "other-person");
    return ask(path, options, owner);
  }

  // only: the id of one item, to send that one whatever its state.
  async function send({ only = "" } = {}) {
    const report = { sent: 0, kept: 0, others: 0, why: "" };
    let who;
    try {
      who = await session();
    } catch {
      return { ...report, kept: (await store.outbox()).length, why: "offline" };
    }
    for (const item of await store.outbox()) {
      if (who.user_id !== null && item.owner !== who.user_id) report.others += 1;
      else if (report.why || (item.state !== "waiting" && only !== item.client_id)) report.kept += 1;
      else if (who.user_id === null) {
        report.why = "signed-out";
        report.kept += 1;
      } else {
        report.why = await deliver(item, report);
      }
    }
    return { ...report, who };
  }

  // Returns why sending must stop altogether, or nothing.
  async function deliver(item, report) {
    try {
      if (await (item.kind === "reply" ? deliverReply(item) : deliverVisit(item))) {
        report.sent += 1;
        return "";
      }
    } catch (error) {
      report.kept += 1;
      if (error instanceof Stop) {
        await mark(item, { message: "" });
        return error.why;
      }
      await mark(item, { message: "The connection broke off. It goes on from there by itself." });
      return error instanceof TypeError ? "offline" : "";
    }
    report.kept += 1;
    return "";
  }

  async function mark(item, facts) {
    Object.assign(item, facts, { tried_at: now() });
    await store.saveItem(item);
    tell(item, null);
  }

  // An answer in words to what a reviewer asked.
  async function deliverReply(item) {
    const answer = await tryTwice(
      `/api/visits/${item.visit}/answers/`,
      { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(item.payload) },
      item.owner,
    );
    const held = await bodyOf(answer);
    if (answer.status === 409 && isOtherPerson(held)) throw new Stop("other-person");
    if ([400, 403, 404, 409, 422].includes(answer.status) && held?.errors) {
      await mark(item, { state: "refused", errors: held.errors, message: "The site could not take this answer." });
      return false;
    }
    if (answer.status !== 200 || !held?.client_id) {
      await mark(item, { message: `The site could not take it just now (${answer.status}). It will be tried again.` });
      return false;
    }
    item.url = held.url;
    await store.finish(item, receiptOf(item));
    tell(item, null);
    return true;
  }

  async function deliverVisit(item) {
    const answer = await tryTwice(
      "/api/visits/",
      {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(item.payload),
      },
      item.owner,
    );
    const held = await bodyOf(answer);
    if (answer.status === 409 && isOtherPerson(held)) throw new Stop("other-person");
    if ([400, 403, 422].includes(answer.status) && held?.errors) {
      await mark(item, { state: "refused", errors: held.errors, message: refusalSaid(held.errors) });
      return false;
    }
    // A sign-in page can answer 200 too, so the answer must name the visit.
    if (![200, 201].includes(answer.status) || !isNamed(held, item)) {
      await mark(item, { message: `The site could not take it just now (${answer.status}). It will be tried again.` });
      return false;
    }
    item.is_delivered = true;
    item.state = "waiting";
    item.url = held.url;
    item.danger = held.danger ?? null;
    item.set_aside = held.set_aside ?? [];
    const isOwn = held.client_id === item.client_id;
    for (const [index, photo] of item.photos.entries()) {
      const stand = held.photos[isOwn ? held.photos.findIndex((one) => one.client_id === photo.client_id) : index];
      if (stand) take(photo, stand);
      else photo.left_out = leftOut(held, item, photo);
    }
    await mark(item, { message: "", errors: [] });
    for (const photo of item.photos) {
      if (photo.is_complete || photo.left_out) continue;
      if (!mayUpload()) {
        await mark(item, { message: "The visit is sent. Its photos wait for wifi." });
        return false;
      }
      if (!(await deliverPhoto(item, photo))) return false;
    }
    // A picture that the site did not take is nowhere else: it stays until it is saved.
    if (item.photos.some((photo) => photo.left_out)) {
      await mark(item, { state: "left-out", message: "Sent, but for a picture that the site did not take. Save it before you let it go." });
      return false;
    }
    await store.finish(item, receiptOf(item));
    tell(item, null);
    return true;
  }

  async function deliverPhoto(item, photo) {
    const kept = await store.blob(photo.client_id);
    if (!kept) {
      await mark(item, { message: `The picture ${photo.name} is not on this phone any more.`, state: "refused" });
      return false;
    }
    let beginnings = 0;
    while (!photo.is_complete) {
      const piece = kept.bytes.slice(photo.offset, photo.offset + PIECE_BYTES);
      const answer = await tryTwice(
        `/api/uploads/${photo.client_id}/`,
        {
          method: "PATCH",
          headers: { "Content-Type": "application/octet-stream", "Upload-Offset": String(photo.offset) },
          body: piece,
        },
        item.owner,
      );
      const stand = await bodyOf(answer);
      if (stand && Number.isInteger(stand.offset)) {
        if (stand.offset <= photo.offset && ++beginnings > MOST_BEGINNINGS && !stand.is_complete) {
          await mark(item, { message: `The site could not take ${photo.name}. It will be tried again.` });
          return false;
        }
        take(photo, stand, stand.errors);
        await store.saveItem(item);
        tell(item, photo);
        continue;
      }
      if (answer.status === 409 && isOtherPerson(stand)) throw new Stop("other-person");
      await mark(item, { message: `The site could not take ${photo.name} just now (${answer.status}).` });
      return false;
    }
    return true;
  }

  function receiptOf(item) {
    return {
      client_id: item.client_id,
      owner: item.owner,
      owner_name: item.owner_name,
      bridge_name: item.bridge_name,
      date: item.date,
      photos: item.photos.length,
      kind: item.kind ?? "visit",
      danger: item.danger ?? null,
      set_aside: item.set_aside ?? [],
      faults: item.photos.filter((photo) => photo.fault).map(({ name, fault }) => ({ name, fault })),
      url: item.url,
      sent_at: now(),
    };
  }

  return { send, session };
}

// The answer must speak of this visit. Where its id was somebody else's already, the
// site keeps it under another and says so.
function isNamed(held, item) {
  if (!held?.client_id || !Array.isArray(held.photos)) return false;
  return held.client_id === item.client_id || Boolean(held.set_aside?.some((one) => one.field === "client_id"));
}

function isOtherPerson(body) {
  return Boolean(body?.errors?.some((error) => error.code === "other_person"));
}

function leftOut(held, item, photo) {
  const index = item.payload.photos.findIndex((one) => one.client_id === photo.client_id);
  const why = held.set_aside?.find((one) => one.field.startsWith(`photos.${index}.`));
  return why?.message ?? "The site did not take this picture.";
}

function take(photo, stand, errors) {
  photo.offset = stand.offset;
  photo.is_complete = stand.is_complete;
  const unreadable = (errors ?? []).find((error) => error.code === "unreadable");
  const fault = stand.fault || unreadable?.message;
  if (fault) photo.fault = fault;
}

async function bodyOf(answer) {
  try {
    return await answer.json();
  } catch (error) {
    // Cut off half way is no answer; HTML where JSON was due is one, of another kind.
    if (error instanceof SyntaxError) return null;
    throw error;
  }
}

function refusalSaid(errors) {
  return errors[0]?.code === "other_content"
    ? "The site holds a visit with this id and other content."
    : "The site could not take it as it is. Open it and put right what is marked.";
}

// Whether photographs may go now. connection as navigator.connection; it is not
// everywhere, and where it is not, somebody has to say so with a tap.
export function mayUploadNow({ wait, connection, asked }) {
  if (!wait || asked) return true;
  return connection?.type === "wifi" || connection?.type === "ethernet";
}

// What to do when the next sending failed: tried again after a while, ever longer.
export function nextTryMs(failures) {
  return Math.min(15_000 * 2 ** Math.max(0, failures - 1), 10 * 60_000);
}

// "Out of space" is told before it happens. quota and usage in bytes.
export function spaceLeft({ quota, usage }, need = 0) {
  const left = Math.max(0, (quota ?? 0) - (usage ?? 0));
  if (!quota) return { left: null, level: "unknown" };
  if (left < need + 20e6) return { left, level: "full" };
  if (left < 300e6) return { left, level: "low" };
  return { left, level: "plenty" };
}
