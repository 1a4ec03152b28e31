// A visit begun by mistake is thrown away by hand, and only so.

import { button } from "./dom.js";
import { saysSomething } from "./visit.js";

// Two taps where something is recorded: the first asks.
export function throwAway(app, draft) {
  return button("Throw this visit away", drop, { class: "button button-quiet" });

  async function drop(event) {
    const asked = event.currentTarget;
    if (saysSomething(draft) && !asked.dataset.asked) {
      asked.dataset.asked = "yes";
      asked.textContent = "Yes, throw away all of it";
      app.say("Tap once more to throw away all that is recorded in this visit.");
      return;
    }
    await app.dropDraft(draft);
    app.go(draft.slug ? `#/bridge/${draft.slug}` : "#/");
    app.say("The visit is thrown away.");
  }
}
