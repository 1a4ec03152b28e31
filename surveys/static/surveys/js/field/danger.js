// Something here is dangerous now: said first, before anything else is written.

import { button, check, field, h, notice, textArea } from "./dom.js";

export function danger(walk) {
  const { app, draft, home } = walk;
  const more = h("div", { hidden: !draft.is_danger });
  more.append(
    field("What is dangerous, and where", textArea(draft.danger_note, keep), {
      help: "“L2U3 upstream has parted at the turnbuckle.” Reviewers see it before anything else, as soon as it is sent.",
    }),
  );
  return {
    title: "Danger here now",
    back: [home, "The walk round"],
    said: "Danger here now. Leave the deck first.",
    body: [
      notice(
        "danger",
        "Leave the deck first",
        "A parted rod, a pin that is missing, a chord that has buckled: do not look closer.",
        app.rules?.danger?.leave ?? "Keep others off it from where you stand safely, then tell the owner.",
        app.rules?.danger?.call ? `Then call ${app.rules.danger.call}.` : "",
        "This note is not sent until there is a signal. Do not wait for it.",
      ),
      check("Something here is dangerous now", draft.is_danger, async (value) => {
        draft.is_danger = value;
        more.hidden = !value;
        await app.saveDraft(draft);
        app.say(value ? "Marked as dangerous. Saved on this phone." : "The mark is taken off.");
        if (value) more.querySelector("textarea").focus();
      }),
      more,
    ],
    bar: [
      button("Back to the walk", () => app.go(home), { class: "button button-wide" }),
      draft.is_danger ? h("a", { class: "button button-quiet", href: `${home}/finish` }, "Finish and save") : "",
    ],
  };

  function keep(value) {
    draft.danger_note = value;
    clearTimeout(keep.timer);
    keep.timer = setTimeout(() => app.saveDraft(draft), 250);
  }
}
