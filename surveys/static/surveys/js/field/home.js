// The start: what is being written, the bridges taken along, what can be done.

import { button, h, notice } from "./dom.js";
import { whereNow } from "./position.js";
import { bytesSaid, compassSaid, distanceSaid, nearestFirst, plural } from "./words.js";

export async function home(app) {
  const { drafts, items } = await app.count();
  const owner = app.owner;
  const packs = owner ? await app.store.packs(owner.user_id) : [];
  if (app.settings.position && !app.here) lookAround(app);
  const space = await app.space();
  const questions = owner ? ((await app.store.fact(`questions-${owner.user_id}`)) ?? []) : [];
  return {
    title: "In the field",
    said: `In the field. ${plural(packs.length, "bridge")} with you.`,
    body: [
      space.notice,
      whoSaid(app, packs),
      drafts.length ? section("Not finished", draftList(app, drafts)) : "",
      questions.length ? section("Asked of you", questionList(questions)) : "",
      packs.length ? section("Bridges with you", bridgeList(app, packs), where(app)) : nothingTaken(app),
      h(
        "p",
        { class: "actions" },
        items.length ? h("a", { class: "button", href: "#/outbox" }, `${plural(items.length, "visit")} to send`) : "",
        owner ? h("a", { class: "button button-quiet", href: "#/find" }, "A bridge not on the record") : "",
        h("a", { class: "button button-quiet", href: "#/outbox" }, "Sending, copies and settings"),
      ),
    ],
  };
}

function section(title, ...parts) {
  return h("section", { class: "field-section" }, h("h2", {}, title), parts);
}

function whoSaid(app, packs) {
  if (app.owner && app.signedIn === false) {
    return notice(
      "question",
      `Signed out; ${app.owner.username} was signed in last`,
      "Visits can be logged all the same. To send them, sign in again.",
      h("p", {}, h("a", { class: "button button-quiet", href: signIn() }, "Sign in")),
    );
  }
  if (!app.owner) {
    return notice(
      "question",
      "Sign in once, with a signal",
      "Then take bridges along, and log visits wherever you are.",
      h("p", {}, h("a", { class: "button", href: signIn() }, "Sign in")),
    );
  }
  return packs.length ? "" : h("p", { class: "pencil" }, `Signed in as ${app.owner.username}.`);
}

export function signIn() {
  return `/accounts/sign-in/?next=${encodeURIComponent(`/field/${location.hash}`)}`;
}

function nothingTaken(app) {
  if (!app.owner) return "";
  return h(
    "div",
    { class: "empty" },
    h("p", {}, "The bridges you take along will be here, nearest first, and open with no signal."),
    h("p", {}, h("a", { href: "/" }, "Find them on the map or in the list"), ", and choose “Take into the field”."),
  );
}

function draftList(app, drafts) {
  const rows = [...drafts].sort((a, b) => b.updated_at - a.updated_at);
  return h(
    "ul",
    { class: "field-list" },
    rows.map((draft) =>
      h(
        "li",
        {},
        h(
          "a",
          { class: "field-row", href: `#/visit/${draft.client_id}` },
          h("span", { class: "field-row-name" }, draft.bridge_name || "A new find"),
          h(
            "span",
            { class: "how" },
            `begun ${draft.date}, last written ${app.age(draft.updated_at)}`,
            draft.owner !== app.owner?.user_id ? `, by ${draft.owner_name}` : "",
          ),
        ),
      ),
    ),
  );
}

function questionList(questions) {
  return h(
    "ul",
    { class: "field-list" },
    questions.map((one) =>
      h(
        "li",
        {},
        h(
          "a",
          { class: "field-row field-asked", href: `#/bridge/${one.bridge}` },
          h("span", { class: "field-row-name" }, one.bridge_name),
          h("span", { class: "how" }, `visit of ${one.date}: ${one.question || one.observations[0]?.question}`),
        ),
      ),
    ),
  );
}

function bridgeList(app, packs) {
  const rows = nearestFirst(
    packs.map(({ bridge, taken_at, bytes }) => ({ ...bridge, taken_at, bytes })),
    app.here,
  );
  return h(
    "ul",
    { class: "field-list" },
    rows.map((one) =>
      h(
        "li",
        {},
        h(
          "a",
          { class: "field-row", href: `#/bridge/${one.slug}` },
          h("span", { class: "field-row-name" }, one.name),
          one.metres === undefined
            ? ""
            : h("span", { class: "field-far" }, `${distanceSaid(one.metres)} ${compassSaid(one.bearing)}`),
          h(
            "span",
            { class: "how" },
            `${one.road} over ${one.crossing}; last visit ${one.last_visit || "none"}`,
          ),
          h("span", { class: "how" }, `taken ${app.age(one.taken_at)}, ${bytesSaid(one.bytes)}`),
        ),
      ),
    ),
  );
}

function where(app) {
  if (app.here) {
    return h("p", { class: "how" }, `Nearest first, from where you are within about ${app.here.accuracy} m.`);
  }
  if (app.settings.position) return h("p", { class: "how" }, "Looking for where you are …");
  return button(
    "Put the nearest first",
    async () => {
      app.say("Looking for where you are.");
      await app.saveSettings({ position: true });
      await lookAround(app, true);
    },
    { class: "button button-quiet" },
  );
}

async function lookAround(app, told = false) {
  const found = await whereNow();
  if (!found) {
    if (told) app.say("The phone gave no position. The bridges stand by name.");
    return;
  }
  app.here = found;
  if (!location.hash || location.hash === "#/") await app.show({ keepPlace: true });
}
