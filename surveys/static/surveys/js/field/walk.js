// The walk round one bridge: its parts in the order one meets them.

import { button, h, notice } from "./dom.js";
import { danger } from "./danger.js";
import { element } from "./element.js";
import { finish } from "./finish.js";
import { find } from "./find.js";
import { group } from "./group.js";
import { photos, viewpoint } from "./photos.js";
import { repeat } from "./repeat.js";
import { wrongList } from "./wrong.js";
import { closeGroup, elementsOf, faults, looked, lookedSaid, unanswered } from "./visit.js";
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
  const { draft, pack, home } = walk;
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

function groupRow({ draft, home }, one, isNext) {
  const done = looked(draft, one.rows);
  const changed = one.rows.filter((path) => ["changed", "gone"].includes(draft.answers[path]?.answer)).length;
  return h(
    "li",
    {},
    h(
      "a",
      { class: `field-row${isNext ? " is-next" : ""}${done === one.rows.length ? " is-done" : ""}`, href: `${home}/g/${encodeURIComponent(one.key)}` },
      h("span", { class: "field-row-name" }, one.title),
      h(
        "span",
        { class: "how" },
        done ? `${done} of ${one.rows.length} looked at` : plural(one.rows.length, "thing"),
        changed ? h("span", { class: "tag tag-changed" }, plural(changed, "change")) : "",
      ),
    ),
  );
}

function unansweredIn({ draft, pack, elements }) {
  return pack.groups.filter((one) => unanswered(draft, one, elements).length);
}

// Everything not answered yet, closed at once, by what was in sight.
function same(walk) {
  const { app, draft, elements, home } = walk;
  const open = unansweredIn(walk);
  const hidden = new Set();
  const save = button("", record, { class: "button button-wide" });
  name();
  return {
    title: "What was in sight?",
    back: [home, "The walk round"],
    said: "What was in sight? Untick what you could not see.",
    body: [
      h("p", {}, "Recorded as the same as last time. Untick what you could not see: that is recorded as not seen, which is worth knowing too."),
      h("ul", { class: "field-list field-checks" }, open.map(row)),
    ],
    bar: [save],
  };

  function row(one) {
    const count = unanswered(draft, one, elements).length;
    const box = h("input", {
      type: "checkbox",
      checked: true,
      onchange: () => {
        if (box.checked) hidden.delete(one.key);
        else hidden.add(one.key);
        name();
      },
    });
    return h("li", {}, h("label", { class: "check-row" }, box, h("span", {}, one.title, h("span", { class: "how" }, plural(count, "thing")))));
  }

  function name() {
    const count = open.filter((one) => !hidden.has(one.key)).reduce((sum, one) => sum + unanswered(draft, one, elements).length, 0);
    save.textContent = count ? `${count} the same as last time` : "Record these as not seen";
  }

  async function record() {
    for (const one of open) {
      closeGroup(draft, one, elements, hidden.has(one.key) ? new Set(one.rows) : new Set());
    }
    await app.saveDraft(draft);
    app.go(`${home}/finish`);
  }
}
