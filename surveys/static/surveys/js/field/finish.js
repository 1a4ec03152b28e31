// The end of a visit: what could not be reached, anything else, and saving it.

import { button, field, h, notice, textArea } from "./dom.js";
import { wrongList } from "./wrong.js";
import { elementsOf, faults, findFault, itemOf, saysSomething } from "./visit.js";
import { plural } from "./words.js";

export async function finish(walk) {
  const { app, draft, pack, home } = walk;
  const wrong = faults(draft, pack);
  const said = saysSomething(draft);
  const lost = findFault(draft);
  const space = await app.space();
  return {
    title: "Finish and save",
    back: [home, "The walk round"],
    said: `Finish and save. ${summary(draft) || "Nothing yet"}.`,
    body: [
      space.notice,
      h("p", { class: "field-progress" }, h("strong", {}, summary(draft) || "Nothing yet")),
      changes(walk),
      wrong.length ? notice("question", `${plural(wrong.length, "answer")} to finish first`, wrongList(walk, wrong)) : "",
      lost ? notice("question", lost) : "",
      said ? "" : notice("question", "Nothing is recorded yet", "Say at least one thing: an answer, a photo, or a note."),
      field("What could not be reached, and why", textArea(draft.not_reached, keep("not_reached"), { maxlength: "400" }), {
        optional: "if anything",
        help: "“Under the deck: high water.” A gap with its reason is worth more than a blank.",
      }),
      field("Anything else", textArea(draft.notes, keep("notes")), { optional: "in your own words" }),
    ],
    bar: [
      button("Save this visit", () => saveVisit(walk), { class: "button button-wide", disabled: Boolean(wrong.length || lost) || !said }),
    ],
  };

  function keep(name) {
    let timer = 0;
    return (value) => {
      draft[name] = value;
      clearTimeout(timer);
      timer = setTimeout(async () => {
        await app.saveDraft(draft);
        const may = saysSomething(draft) && !faults(draft, pack).length && !lost;
        document.querySelector(".field-bar .button-wide").disabled = !may;
      }, 250);
    };
  }

}

// The visit is finished: it waits to be sent, and is sent where there is a signal.
export async function saveVisit({ app, draft, pack }) {
  if (await app.store.draft(draft.client_id)) {
    draft.updated_at = Date.now();
    await app.store.queue(itemOf(draft, pack, Date.now()));
    await app.count();
    app.say("Saved on this phone. It is sent as soon as there is a signal.");
    app.send();
  }
  app.go("#/outbox");
}

// What a visit says so far, in a line; empty where it says nothing.
export function summary(draft) {
  const counts = { same: 0, changed: 0, gone: 0, "not-seen": 0 };
  for (const { answer } of Object.values(draft.answers)) if (answer in counts) counts[answer] += 1;
  const words = [
    counts.same && `${counts.same} the same`,
    counts.changed && `${counts.changed} changed`,
    counts.gone && `${counts.gone} gone`,
    counts["not-seen"] && `${counts["not-seen"]} not seen`,
    draft.photos.length && plural(draft.photos.length, "photo"),
    draft.is_danger && "danger marked",
  ].filter(Boolean);
  return words.join(", ");
}

function changes({ draft, pack, home }) {
  const elements = elementsOf(pack);
  const rows = Object.entries(draft.answers).filter(([, entry]) => ["changed", "gone"].includes(entry.answer));
  if (!rows.length) return "";
  return h(
    "ul",
    { class: "field-list" },
    rows.map(([path, entry]) =>
      h(
        "li",
        {},
        h(
          "a",
          { class: "field-row", href: `${home}/e/${encodeURIComponent(path)}` },
          h("span", { class: "field-row-name" }, elements.get(path)?.name ?? path),
          h("span", { class: "tag tag-changed" }, entry.answer),
        ),
      ),
    ),
  );
}
