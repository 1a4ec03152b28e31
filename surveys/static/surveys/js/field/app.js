// What all screens share: the store, who is signed in, going from one to the next.

import { createSender, mayUploadNow, nextTryMs, spaceLeft } from "./sync.js";
import { button, h, notice } from "./dom.js";
import { ageSaid, bytesSaid, onlyHereSaid } from "./words.js";
import { addresses } from "./pictures.js";
import { screens } from "./screens.js";

const LOCK = "second-crossing-field-sending";

export function createApp({ store, main }) {
  const bar = document.querySelector("[data-bar]");
  const said = document.querySelector("[data-said]");
  const counted = document.querySelector("[data-count]");
  const app = {
    store,
    owner: null,
    rules: null,
    here: null,
    sending: { busy: false, why: "", failures: 0, asked: false },
    isOnline: () => navigator.onLine,
    now: () => Date.now(),
    go,
    say,
    show,
    send,
    count,
    newRelease,
    draft,
    saveDraft,
    dropDraft,
    learnSession,
    space,
  };
  const sender = createSender({
    store,
    fetch: (path, options) => fetch(path, options),
    now: () => Date.now(),
    mayUpload: () =>
      mayUploadNow({ wait: app.settings.wifi, connection: navigator.connection, asked: app.sending.asked }),
    tell: (item, photo) => {
      document.dispatchEvent(new CustomEvent("field-sent", { detail: { item, photo } }));
      if (!photo) count();
    },
  });
  const held = new Map();
  const tabs = "BroadcastChannel" in globalThis ? new BroadcastChannel("second-crossing-field") : null;
  let timer = 0;
  let shown = 0;
  let waitingRelease = null;

  async function begin() {
    app.owner = (await store.fact("owner")) ?? null;
    app.rules = (await store.fact("rules")) ?? null;
    app.settings = { wifi: false, position: null, people: "", access: "", ...(await store.fact("settings")) };
    addEventListener("hashchange", () => show());
    addEventListener("online", () => send());
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") send();
    });
    await count();
    await show();
    // Asked of the browser once; what it answers is never relied on.
    navigator.storage?.persist?.().catch(() => {});
    await learnSession();
    send();
  }

  // Who is signed in now, when the site can be reached; else who was last.
  async function learnSession() {
    try {
      const who = await sender.session();
      const before = app.owner?.user_id;
      app.signedIn = who.user_id !== null;
      if (app.signedIn) {
        const { user_id, username, credit } = who;
        app.owner = { user_id, username, credit };
        await store.setFact("owner", app.owner);
      }
      if (before !== app.owner?.user_id) await show();
      return who;
    } catch {
      return null;
    }
  }

  async function saveSettings(facts) {
    app.settings = { ...app.settings, ...facts };
    await store.setFact("settings", app.settings);
  }
  app.saveSettings = saveSettings;

  // -- screens

  function go(hash) {
    if (location.hash === hash) show();
    else location.hash = hash;
  }

  async function show({ keepPlace = false } = {}) {
    const mine = ++shown;
    const [path] = (location.hash || "#/").slice(1).split("?");
    const parts = path.split("/").slice(1).map(decodeURIComponent);
    const top = scrollY;
    const stale = addresses();
    let screen;
    try {
      screen = await screenFor(parts);
    } catch (error) {
      screen = broken(error);
    }
    // Somebody has gone on while this one was read from the disk.
    if (mine !== shown || !screen) return;
    app.leave?.();
    app.leave = screen.leave;
    stale.forEach((address) => URL.revokeObjectURL(address));
    const heading = h("h1", { tabindex: "-1", id: "step" }, screen.title);
    main.replaceChildren(
      screen.back ? h("p", { class: "field-back" }, h("a", { href: screen.back[0] }, screen.back[1])) : "",
      screen.above ?? "",
      heading,
      ...[screen.body].flat(Infinity).filter(Boolean),
    );
    const actions = [screen.bar ?? []].flat().filter(Boolean);
    bar.replaceChildren(...actions);
    bar.hidden = !actions.length;
    document.body.classList.toggle("has-bar", actions.length > 0);
    document.title = `${screen.title} – In the field`;
    if (waitingRelease && parts[0] !== "visit") main.append(releaseNotice());
    if (keepPlace) scrollTo(0, top);
    else {
      const target = screen.at && document.getElementById(screen.at);
      if (target) target.scrollIntoView({ block: "center" });
      else scrollTo(0, 0);
      // The heading is where a reader of the screen goes on; saying it announces the step.
      (target || heading).focus({ preventScroll: true });
      say(screen.said ?? screen.title);
    }
    screen.shown?.();
  }

  async function screenFor(parts) {
    const [name = "", ...rest] = parts;
    const make = screens[name] ?? screens[""];
    return make(app, rest);
  }

  function broken(error) {
    console.error(error);
    return {
      title: "Something went wrong here",
      body: [
        notice("caution", "Nothing is lost", "What you had recorded is on this phone.", String(error?.message ?? error)),
        h("p", {}, h("a", { class: "button", href: "#/" }, "To the start")),
      ],
    };
  }

  function say(words) {
    said.textContent = "";
    // Emptied first, so that the same words are told again.
    setTimeout(() => {
      said.textContent = words;
    }, 30);
  }

  // -- what is only here

  async function count() {
    const [drafts, items] = [await store.drafts(), await store.outbox()];
    const words = onlyHereSaid(drafts.length + items.length);
    counted.hidden = !words;
    counted.textContent = words;
    if (navigator.setAppBadge) {
      const badge = drafts.length + items.length;
      (badge ? navigator.setAppBadge(badge) : navigator.clearAppBadge()).catch(() => {});
    }
    return { drafts, items };
  }

  // Every answer is on the disk before the next one is asked.
  async function saveDraft(draft) {
    draft.updated_at = Date.now();
    held.set(draft.client_id, draft);
    try {
      await store.saveDraft(draft);
      tabs?.postMessage({ saved: draft.client_id });
    } catch (error) {
      if (error.name === "Finished") {
        held.delete(draft.client_id);
        await show();
        return;
      }
      main.prepend(
        notice(
          "danger",
          "This could not be written down",
          `The phone has no room (${error?.message ?? error}). Free some, keep this page open, and tap your last answer again. What was saved before is still here.`,
        ),
      );
      say("This could not be written down: the phone has no room.");
      throw error;
    }
  }

  // What was typed just before is not written down again after it.
  async function dropDraft(draft) {
    app.leave?.();
    app.leave = null;
    held.delete(draft.client_id);
    await store.dropDraft(draft);
    tabs?.postMessage({ saved: draft.client_id });
    await count();
  }

  // One and the same object on all screens, so that none writes over another's answers.
  async function draft(id) {
    if (!held.has(id)) {
      const kept = await store.draft(id);
      if (kept) held.set(id, kept);
      return kept;
    }
    // Finished or sent meanwhile, here or in another tab.
    if (!(await store.draft(id))) held.delete(id);
    return held.get(id);
  }

  // Another tab of this phone has written: what this one holds is old.
  tabs?.addEventListener("message", ({ data }) => {
    if (!data.saved) return;
    held.delete(data.saved);
    if (location.hash.includes(data.saved)) show({ keepPlace: true });
  });

  async function space(need = 0) {
    const facts = (await navigator.storage?.estimate?.().catch(() => null)) ?? {};
    const found = spaceLeft(facts, need);
    if (found.level === "full") {
      return {
        ...found,
        notice: notice(
          "danger",
          "This phone is full",
          `Only ${bytesSaid(found.left)} are left for this page. Send what waits, or free some room, before you take more photos. Nothing here is thrown away.`,
        ),
      };
    }
    if (found.level === "low") {
      return {
        ...found,
        notice: notice("caution", "Little room is left", `About ${bytesSaid(found.left)} on this phone: some ${Math.floor(found.left / 4e6)} photos.`),
      };
    }
    return found;
  }

  // -- sending

  async function send({ asked = false, only = "" } = {}) {
    if (app.sending.busy) return null;
    clearTimeout(timer);
    const waits = await store.outbox();
    if (!waits.length) return null;
    app.sending = { ...app.sending, busy: true, asked };
    document.dispatchEvent(new CustomEvent("field-sending"));
    let report = null;
    try {
      report = await alone(() => sender.send({ only }));
    } catch (error) {
      console.warn(error);
      report = { sent: 0, kept: waits.length, why: "offline" };
    }
    const failed = report && report.why === "offline";
    const failures = failed ? app.sending.failures + 1 : 0;
    app.sending = { busy: false, asked: false, why: report?.why ?? "", failures, at: Date.now() };
    const left = await store.outbox();
    if (left.some((item) => item.state === "waiting")) timer = setTimeout(send, nextTryMs(Math.max(1, failures)));
    await count();
    document.dispatchEvent(new CustomEvent("field-sending"));
    if (report?.sent) say(`Sent: ${report.sent}. ${left.length ? `${left.length} still waiting.` : "Nothing is waiting."}`);
    return report;
  }

  // Two tabs of one phone do not send at once; the server would bear it.
  async function alone(act) {
    if (!navigator.locks) return act();
    return navigator.locks.request(LOCK, { ifAvailable: true }, (lock) => (lock ? act() : null));
  }

  // -- a new release of this page

  function newRelease(worker) {
    waitingRelease = worker;
    if (!location.hash.startsWith("#/visit")) main.append(releaseNotice());
  }

  function releaseNotice() {
    document.querySelector("[data-release]")?.remove();
    const made = notice(
      "plain",
      "A new release of this page is here",
      "Nothing on this phone is changed by it.",
      button("Change to it now", () => {
        navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
        waitingRelease.postMessage("take-over");
      }, { class: "button button-quiet" }),
    );
    made.dataset.release = "";
    return made;
  }

  app.begin = begin;
  app.age = (then) => ageSaid(then, Date.now());
  return app;
}
