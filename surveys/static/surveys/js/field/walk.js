// The walk round one bridge: its parts in the order one meets them.

import { h, notice } from "./dom.js";
import { danger } from "./danger.js";
import { element } from "./element.js";
import { finish } from "./finish.js";
import { find } from "./find.js";
import { group } from "./group.js";
import { groupRow } from "./parts.js";
import { photos, viewpoint } from "./photos.js";
import { repeat } from "./repeat.js";
import { same, unansweredIn } from "./same.js";
import { throwAway } from "./throw_away.js";
import { wrongList } from "./wrong.js";
import { elementsOf, faults, looked, lookedSaid, unanswered } from "./visit.js";
import { plural } from "./words.js";

const STEPS = { g: group, e: element, same, finish, photos, viewpoint, repeat, danger };

// Reads the visit and its bridge, and goes to the step asked for.
export async function visit(app, [id, step = "", ...rest]) {
  const draft = await app.draft(id);
  if (!draft) return gone(app, id);
  const kept = draft.slug && (await app.store.pack(draft.owner, draft.slug));
  const pack = kept?.bridge ?? null;
  const walk = { app, draft, pack, elements: elementsOf(pack), home: `#/visit/${id}` };
  if (!pack && !draft.find) return withoutPack(walk);
  if (draft.find && !step) return find(walk);
  return (STEPS[step] ?? overview)(walk, rest);
}

async function gone(app, id) {
  const item = await app.store.item(id);
  return {
    title: item ? "This visit is finished" : "This visit is not on this phone",
    back: ["#/", "To the start"],
    body: [h("p", {}, item ? "It is waiting to be sent." : "It was sent, or begun on another phone.")],
    bar: [h("a", { class: "button button-wide", href: "#/outbox" }, "To what waits")],
  };
}

function withoutPack({ draft }) {
  return {
    title: draft.bridge_name || draft.slug,
    back: ["#/", "To the start"],
    body: [
      notice("caution", "The bridge is not on this phone", "What you recorded is. Take the bridge along again to go on."),
      h("p", {}, h("a", { class: "button", href: `#/take/${draft.slug}` }, "Take it along")),
    ],
  };
}

function overview(walk) {
  const { app, draft, pack, home } = walk;
  const rows = pack.groups.flatMap((one) => one.rows);
  const wrong = faults(draft, pack);
  const open = pack.groups.find((one) => unanswered(draft, one, walk.elements).length);
  return {
    title: pack.name,
    back: ["#/", "Bridges with you"],
    said: `${pack.name}. ${lookedSaid(draft, rows)}.`,
    body: [
      draft.question ? notice("question", "A reviewer asks", draft.question) : "",
      h("p", { class: "field-progress" }, h("strong", {}, lookedSaid(draft, rows)), h("span", { class: "how" }, "Every answer is saved on this phone at once; nothing is sent yet.")),
      wrong.length ? notice("question", `${plural(wrong.length, "answer")} to finish`, wrongList(walk, wrong)) : "",
      h("ol", { class: "field-list field-groups" }, pack.groups.map((one) => groupRow(walk, one, one === open))),
      h(
        "p",
        { class: "actions" },
        h("a", { class: "button button-quiet", href: `${home}/photos` }, draft.photos.length ? `Photos, ${draft.photos.length} taken` : "Photos"),
        h("a", { class: "button button-quiet", href: `${home}/danger` }, draft.is_danger ? "Danger: marked" : "Danger here now"),
        throwAway(app, draft),
      ),
    ],
    bar: h(
      "div",
      { class: "field-bar-in field-bar-two" },
      unansweredIn(walk).length
        ? h("a", { class: "button button-quiet", href: `${home}/same` }, looked(draft, rows) ? "Nothing else has changed" : "Nothing has changed")
        : "",
      h("a", { class: "button", href: `${home}/finish` }, "Finish and save"),
    ),
  };
}
