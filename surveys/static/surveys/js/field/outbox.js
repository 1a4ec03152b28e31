// What waits to be sent, how it fares, and what can be done with it.

import { button, check, h, notice } from "./dom.js";
import { loadCopy, makeCopy } from "./copies.js";
import { signIn } from "./home.js";
import { ageSaid, bytesSaid, plural } from "./words.js";

const STATES = {
  offline: "No signal, or the site did not answer. It is tried again by itself, or when you tap.",
  "signed-out": "Signed out. Sign in again to send; nothing is lost.",
  "other-person": "Somebody else is signed in than wrote these.",
};

export async function outbox(app) {
  const { drafts, items } = await app.count();
  const receipts = (await app.store.receipts()).slice(0, 6);
  const space = await app.space();
  const mine = items.filter((item) => item.owner === app.owner?.user_id);
  const status = h("p", { role: "status", class: "field-progress" });
  const list = h("ul", { class: "field-list" }, items.map((item) => row(app, item)));
  tell();
  document.addEventListener("field-sending", heard);
  document.addEventListener("field-sent", heard);
  return {
    title: "Sending",
    back: ["#/", "To the start"],
    said: items.length ? `${plural(items.length, "visit")} to send.` : "Nothing waits to be sent.",
    body: [
      space.notice,
      status,
      items.length ? list : h("div", { class: "empty" }, h("p", {}, drafts.length ? "Nothing waits to be sent. A visit is here once it is finished and saved." : "Nothing is only on this phone. A visit you save will wait here until the site holds all of it.")),
      receipts.length
        ? h("section", { class: "field-section" }, h("h2", {}, "Sent from this phone"), h("ul", { class: "field-list" }, receipts.map(receipt)))
        : "",
      settings(app),
      copies(app, items.length + drafts.length),
    ],
    bar: mine.length ? [button("Send now", () => app.send({ asked: true }), { class: "button button-wide" })] : [],
    leave: () => {
      document.removeEventListener("field-sending", heard);
      document.removeEventListener("field-sent", heard);
    },
  };

  function tell() {
    const { busy, why } = app.sending;
    const words = busy ? "Sending …" : STATES[why] ?? (items.length ? "" : "Nothing waits.");
    status.replaceChildren(words, !busy && why === "signed-out" ? h("a", { class: "button button-quiet", href: signIn() }, "Sign in") : "");
  }

  async function heard({ type, detail }) {
    if (type === "field-sending") {
      if (!app.sending.busy) await app.show({ keepPlace: true });
      else tell();
      return;
    }
    const { item } = detail;
    const old = list.querySelector(`[data-item="${item.client_id}"]`);
    old?.replaceWith(row(app, item));
  }
}

function row(app, item) {
  const foreign = item.owner !== app.owner?.user_id;
  return h(
    "li",
    { class: "field-item", "data-item": item.client_id },
    h("p", {}, h("span", { class: "field-item-name" }, item.bridge_name), h("span", { class: "how" }, `${item.kind === "reply" ? "answer about the visit of " : ""}${item.date}; saved ${ageSaid(item.queued_at, Date.now())}`)),
    h("p", { class: item.state === "refused" ? "field-refused" : "how" }, foreign ? `Waits for ${item.owner_name} to sign in.` : stateSaid(item)),
    item.errors?.length ? h("ul", { class: "field-errors" }, item.errors.map((one) => h("li", {}, `${one.field ? `${one.field}: ` : ""}${one.message}`))) : "",
    item.photos.map((photo) => progress(photo)),
    !foreign && item.state === "refused" && item.kind !== "reply" ? refused(app, item) : "",
    item.state === "left-out" ? leftOut(app, item) : "",
  );
}

function stateSaid(item) {
  if (item.message) return item.message;
  if (item.is_delivered) return "The visit is sent; its photos follow.";
  return "Saved on this phone; not sent yet.";
}

function progress(photo) {
  const part = Math.floor((100 * photo.offset) / photo.size_bytes);
  return h(
    "p",
    { class: "field-photo-line" },
    h("span", {}, photo.name || "photo"),
    h("progress", { max: "100", value: photo.is_complete ? 100 : part, "aria-label": `${photo.name || "photo"} sent` }),
    h("span", { class: "how" }, photo.is_complete ? "sent" : `${part}% of ${bytesSaid(photo.size_bytes)}`),
    photo.fault ? h("span", { class: "field-refused" }, photo.fault) : "",
  );
}

function refused(app, item) {
  const other = item.errors.some((error) => error.code === "other_content");
  return h(
    "p",
    { class: "actions" },
    other ? "" : button("Open it and put it right", () => reopen(app, item), { class: "button button-quiet" }),
    button("Try again as it is", () => app.send({ asked: true, only: item.client_id }), { class: "button button-quiet" }),
  );
}

async function reopen(app, item) {
  const draft = { ...item.draft, errors: item.errors };
  await app.store.reopen(draft);
  await app.count();
  app.go(`#/visit/${draft.client_id}`);
}

// Pictures that the site did not take: saved as files, and only then let go.
function leftOut(app, item) {
  return h(
    "div",
    {},
    item.photos.filter((photo) => photo.left_out).map((photo) => h("p", {}, h("span", { class: "field-refused" }, `${photo.name}: ${photo.left_out} `), button("Save the picture", () => save(app, photo), { class: "button button-quiet" }))),
    button("I have it: let it go here", async () => {
      await app.store.finish(item, { ...item, draft: undefined, payload: undefined, photos: item.photos.length, sent_at: Date.now(), faults: [] });
      app.show({ keepPlace: true });
    }, { class: "button button-quiet" }),
  );
}

async function save(app, photo) {
  const kept = await app.store.blob(photo.client_id);
  download(kept.bytes, photo.name || "photo.jpg");
}

function download(blob, name) {
  const address = URL.createObjectURL(blob);
  h("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

function settings(app) {
  return h(
    "section",
    { class: "field-section" },
    h("h2", {}, "On this phone"),
    check("Photos wait for wifi", app.settings.wifi, (wifi) => app.saveSettings({ wifi })),
    check("Keep where I stood with each photo", app.settings.position === true, (position) => app.saveSettings({ position })),
    h("p", { class: "how" }, "What you record stays on this phone until the site holds all of it: signing out, a new release or a full disk do not take it away."),
  );
}

// The last resort: everything that is only here, as one file, and back from it elsewhere.
function copies(app, count) {
  const told = h("p", { role: "status", class: "how" });
  const input = h("input", { type: "file", accept: ".zip,application/zip", class: "field-file", onchange: () => input.files.length && load(input.files[0]) });
  return h(
    "section",
    { class: "field-section" },
    h("h2", {}, "A copy as a file"),
    h("p", {}, "Everything that is only on this phone, with its photos, in one file that any computer opens. This page takes it back on another phone or at a desk. Sent twice it still arrives once."),
    h(
      "p",
      { class: "actions" },
      count ? button("Save a copy", save, { class: "button button-quiet" }) : "",
      h("label", { class: "button button-quiet" }, input, h("span", {}, "Load a copy")),
    ),
    told,
  );

  async function save() {
    told.textContent = "Making the file …";
    const made = await makeCopy(app.store, Date.now());
    download(made.blob, made.name);
    told.textContent = `${plural(made.visits, "visit")} and ${plural(made.photos, "photo")} are in ${made.name}, ${bytesSaid(made.blob.size)}. They are still here too.`;
  }

  async function load(file) {
    told.textContent = "Reading the file …";
    try {
      const { visits, known } = await loadCopy(app.store, file);
      await app.count();
      await app.show({ keepPlace: true });
      app.say(`${plural(visits, "visit")} loaded${known ? `; ${known} were here already` : ""}.`);
      app.send();
    } catch (error) {
      told.replaceChildren(notice("caution", "It was not loaded", error.message));
    }
  }
}

function receipt(one) {
  return h(
    "li",
    {},
    h("p", {}, h("a", { href: one.url }, one.bridge_name), h("span", { class: "how" }, `visit of ${one.date}${one.photos ? `, ${plural(one.photos, "photo")}` : ""}; sent ${ageSaid(one.sent_at, Date.now())}`)),
    one.danger ? notice("danger", one.danger.is_reported ? "You reported a danger here" : "What you said may be a danger", one.danger.message, one.danger.call ? `Then call ${one.danger.call}.` : "", one.danger.signs.join("; ")) : "",
    one.set_aside?.map((fault) => notice("question", "Set aside for a reviewer", `${fault.field}: ${fault.message}`)),
    one.faults?.map((fault) => notice("question", fault.name, fault.fault)),
  );
}
