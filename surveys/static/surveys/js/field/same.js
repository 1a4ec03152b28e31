// Everything not answered yet, closed at once, by what was in sight.

import { button, field, h, textArea } from "./dom.js";
import { saveVisit, summary } from "./finish.js";
import { closeGroup, faults, takeBack, unanswered } from "./visit.js";
import { plural } from "./words.js";

export function unansweredIn({ draft, pack, elements }) {
  return pack.groups.filter((one) => unanswered(draft, one, elements).length);
}

export function same(walk) {
  const { app, draft, pack, elements, home } = walk;
  const open = unansweredIn(walk);
  const hidden = new Set();
  const begun = summary(draft);
  const mayEnd = !faults(draft, pack).length;
  const save = button("", () => record(true), { class: "button button-wide" });
  const more = button("", () => record(false), { class: "button button-quiet" });
  const why = field("Why it could not be seen", textArea(draft.not_reached, keep, { maxlength: "400" }), { optional: "if you know" });
  let timer = 0;
  name();
  return {
    title: "What was in sight?",
    back: [home, "The walk round"],
    said: "What was in sight? Untick what you could not see.",
    body: [
      h("p", {}, "Recorded as the same as last time. Untick what you could not see: that is recorded as not seen, which is worth knowing too."),
      h("ul", { class: "field-list field-checks" }, open.map(row)),
      why,
      begun ? h("p", { class: "field-progress" }, `Saved with it: ${begun}.`) : "",
    ],
    bar: mayEnd ? [save, more] : [more],
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
    const words = count ? `${count} the same as last time` : "all of it not seen";
    save.textContent = `Save: ${words}`;
    more.textContent = mayEnd ? "Add something before saving" : `Record ${words}`;
    why.hidden = !hidden.size;
  }

  function keep(value) {
    draft.not_reached = value;
    clearTimeout(timer);
    timer = setTimeout(() => app.saveDraft(draft), 250);
  }

  async function record(isEnd) {
    clearTimeout(timer);
    const said = open.map((one) => closeGroup(draft, one, elements, hidden.has(one.key) ? new Set(one.rows) : new Set())).flat();
    try {
      await app.saveDraft(draft);
    } catch (error) {
      takeBack(draft, said);
      throw error;
    }
    if (isEnd) await saveVisit(walk);
    else app.go(`${home}/finish`);
  }
}
