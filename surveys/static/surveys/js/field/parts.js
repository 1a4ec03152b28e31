// The parts of a bridge in the order one meets them, as rows that lead on.

import { button, h } from "./dom.js";
import { looked } from "./visit.js";
import { plural } from "./words.js";

// Before a visit is begun: tapping a part begins it there.
export function groupsToBegin(pack, begin) {
  return h(
    "ol",
    { class: "field-list field-groups" },
    pack.groups.map((one) =>
      h(
        "li",
        {},
        button(
          [h("span", { class: "field-row-name" }, one.title), h("span", { class: "how" }, plural(one.rows.length, "thing"))],
          () => begin(one.key),
          { class: "field-row" },
        ),
      ),
    ),
  );
}

// In a visit: how much of each was looked at, and which comes next.
export function groupRow({ draft, home }, one, isNext) {
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
