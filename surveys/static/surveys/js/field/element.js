// One element: what it was, what happened to it, and what it is now.

import { HAPPENED, beginChange, choose, copyChange, faultOf, hasLost, isChosen, makesPieces, openWhole, recordedPieces } from "./change.js";
import { button, check, choice, field, h, notice, textArea, textInput } from "./dom.js";
import { earlier } from "./pictures.js";
import { partners } from "./partners.js";
import { pieceEditor } from "./piece.js";
import { fractionSaid, readFeet, readInches } from "./pieces.js";

import { CHANGED, NOT_SEEN, setAnswer } from "./visit.js";

const DECKS = [
  ["timber", 3], ["timber", 4], ["steel-grid", 5], ["concrete", 6], ["asphalt", 2], ["gravel", 4],
];

const LIMITS_TONS = [3, 5, 8, 10, 15, 20];

// from: "drawing" where a bar was tapped, to come back to it and not to the row.
export async function element(walk, [path, from = ""]) {
  const { app, draft, pack, elements, home } = walk;
  const own = elements.get(path);
  if (!own) return { title: "Not in the record", back: [home, "The walk round"], body: [] };
  const group = pack.groups.find((one) => one.rows.includes(path) || one.joints?.includes(path));
  const row = from === "drawing" ? "" : `/${encodeURIComponent(path)}`;
  const back = group ? `${home}/g/${encodeURIComponent(group.key)}${row}` : home;
  const entry = (draft.answers[path] ??= {});
  const before = own.picture && (await earlier(app, draft, pack, own.picture));
  const form = h("div", { class: "field-form" });
  const bar = button("Done", done, { class: "button button-wide" });
  let timer = 0;
  if (entry.change?.whole && !entry.change.flags) entry.change = openWhole(own, entry.change);
  fill();
  return {
    title: own.member ? `${own.title}, ${own.name.split(", ").slice(1).join(", ")}` : own.title,
    back: [back, group?.title ?? "The walk round"],
    said: `${own.name}. Last: ${own.last_words}.`,
    body: [
      h("p", { class: "field-was" }, own.is_recorded ? "Last: " : "", own.last_words, own.last_seen ? h("span", { class: "how" }, `seen ${own.last_seen}`) : ""),
      before ? h("figure", { class: "field-before" }, h("img", { src: before.src, alt: before.caption || `As it was, ${before.when}` }), h("figcaption", { class: "how" }, `${before.caption} ${before.when}${before.is_drawing ? ", a drawing" : ""}`)) : "",
      form,
    ],
    bar: [bar],
    leave: () => {
      clearTimeout(timer);
      if (timer) app.saveDraft(draft).catch(() => {});
    },
  };

  // Every tap is saved at once, typing a breath later. What was copied from here to
  // other members follows, until one of them is touched itself.
  async function save(redraw = true) {
    timer = 0;
    entry.copy_of = undefined;
    for (const [other, copied] of Object.entries(draft.answers)) {
      if (copied.copy_of === path) copied.change = copyChange(own, entry.change, elements.get(other));
    }
    if (redraw) fill();
    await app.saveDraft(draft);
  }

  function later() {
    clearTimeout(timer);
    timer = setTimeout(() => save(false), 250);
  }

  async function done() {
    clearTimeout(timer);
    timer = 0;
    await app.saveDraft(draft);
    app.go(back);
  }

  function fill() {
    const focused = document.activeElement?.dataset?.key;
    form.replaceChildren(...[answers(), entry.answer === CHANGED ? changed() : entry.answer ? "" : ahead(), about()].flat(Infinity).filter(Boolean));
    if (focused) form.querySelector(`[data-key="${focused}"]`)?.focus({ preventScroll: true });
  }

  function answers() {
    return h(
      "div",
      { class: "field-answers", role: "group", "aria-label": "What you see now" },
      own.answers.map(([value, words]) =>
        button(
          words,
          () => {
            answer(value);
            app.say(`${own.title}: ${entry.answer ? words : "taken back"}.`);
            save();
          },
          { class: `field-answer is-${value}`, "aria-pressed": String(entry.answer === value), "data-key": `answer-${value}` },
        ),
      ),
    );
  }

  function answer(value) {
    setAnswer(draft, path, value, own.base);
    Object.assign(entry, draft.answers[path]);
    draft.answers[path] = entry;
    if (entry.answer === CHANGED) entry.change ??= beginChange(own);
  }

  // -- what has changed

  // Of a bar, what happened can be said at once: that it has changed follows.
  function ahead() {
    return own.kind === "member" && own.is_recorded ? happened() : "";
  }

  function changed() {
    entry.change ??= beginChange(own);
    const parts = own.kind === "member" ? member() : plain();
    const fault = faultOf(own, entry.change);
    return [
      entry.change.whole ? notice("plain", "As you sent it", "Choose below to say it anew.") : "",
      ...parts,
      field("In your own words", textArea(entry.change.fields.description, (value) => {
        entry.change.fields.description = value;
        later();
      }, { "data-key": "words" }), { help: own.kind === "member" && !entry.change.happened ? "" : fault && entry.change.happened ? fault : "" }),
    ];
  }

  function happened() {
    return h(
      "fieldset",
      { class: "field-block" },
      h("legend", {}, own.is_recorded ? "What happened to it?" : "What is it made of?"),
      h(
        "div",
        { class: "field-picks" },
        (own.is_recorded ? HAPPENED : [["added", "Describe its pieces", ""], ["other", "In words only", ""]]).map(([value, words]) =>
          button(words, () => {
            if (entry.answer !== CHANGED) answer(CHANGED);
            entry.change = choose(own, entry.change, value);
            app.say(words);
            save();
          }, { class: "field-pick", "aria-pressed": String(isChosen(own, entry.answer === CHANGED ? entry.change : undefined, value)), "data-key": `happened-${value}` }),
        ),
      ),
    );
  }

  function member() {
    const { change } = entry;
    return [
      happened(),
      ["replaced", "removed"].includes(change.happened) && recordedPieces(own).length ? keptPieces() : "",
      makesPieces(change.happened) ? pieces() : "",
      hasLost(change) ? loss() : "",
      change.happened || change.flags.length ? measured() : "",
      change.happened || change.flags.length ? alsoOn() : "",
    ];
  }

  function keptPieces() {
    const { change } = entry;
    return h(
      "fieldset",
      { class: "field-block" },
      h("legend", {}, "Still there: tick what was left"),
      recordedPieces(own).map((_, index) =>
        check(own.pieces[index] ?? "a piece", change.keep[index], (value) => {
          change.keep[index] = value;
          save();
        }),
      ),
      own.ties ? check(own.ties, change.ties, (value) => { change.ties = value; save(); }) : "",
    );
  }

  function pieces() {
    const { change } = entry;
    if (!change.pieces.length) change.pieces.push({ shape: "", count: 1, sizes: {}, words: "" });
    return h(
      "fieldset",
      { class: "field-block" },
      h("legend", {}, change.happened === "replaced" ? "The new pieces" : "What was added"),
      change.pieces.map((piece, index) =>
        pieceEditor({ app, piece, index, of: change.pieces.length, last: recordedPieces(own), save, later, drop: () => {
          change.pieces.splice(index, 1);
          save();
        }, canRelieve: change.happened !== "replaced" }),
      ),
      change.pieces.length < (app.rules?.most_pieces ?? 6)
        ? button("Another piece", () => { change.pieces.push({ shape: "", count: 1, sizes: {}, words: "" }); save(); }, { class: "button button-quiet", "data-key": "another" })
        : "",
    );
  }

  function loss() {
    const { change } = entry;
    return h(
      "fieldset",
      { class: "field-block" },
      h("legend", {}, "How much of the section is gone, at its worst?"),
      h("div", { class: "field-picks" }, [5, 10, 20, 30, 50].map((percent) =>
        button(`${percent}%`, () => { change.loss = change.loss === percent ? "" : percent; save(); }, { class: "field-pick", "aria-pressed": String(Number(change.loss) === percent), "data-key": `loss-${percent}` }),
      )),
      field("Or", textInput(change.loss, (value) => { change.loss = readPercent(value, change.loss); later(); }, { inputmode: "decimal", "data-key": "loss" }), { help: "Percent. A guess is worth writing; put a question mark on it below." }),
    );
  }

  // Thickness left, rivet holes, lacing, a turnbuckle's turn: what only a tape can say.
  function measured() {
    const rules = (app.rules?.kinds[own.kind] ?? []).filter((rule) => ["number", "whole", "bar"].includes(rule.type));
    if (!rules.length) return "";
    return h("details", { class: "field-block", "data-key": "measured" }, h("summary", {}, "Measured on it"), rules.map((rule) => plainField(rule, entry.change)));
  }

  // "Same on L2L3, and on the other truss", each one tap.
  function alsoOn() {
    const found = partners(own, [...elements.values()], pack.skeletons);
    if (!found.length) return "";
    return h(
      "fieldset",
      { class: "field-block" },
      h("legend", {}, "The same also on"),
      h("div", { class: "field-picks" }, found.map(({ words, paths }) => {
        const on = paths.every((one) => draft.answers[one]?.copy_of === path);
        return button(words, () => { copy(paths, on); }, { class: "field-pick", "aria-pressed": String(on), "data-key": `also-${paths[0]}-${paths.length}` });
      })),
    );
  }

  function copy(paths, isOn) {
    for (const one of paths) {
      const old = draft.answers[one] ?? {};
      draft.answers[one] = isOn
        ? { ...old, answer: "", change: undefined, copy_of: undefined }
        : { ...old, answer: CHANGED, by_rest: false, base: elements.get(one).base, copy_of: path, certainty: entry.certainty, change: copyChange(own, entry.change, elements.get(one)) };
    }
    app.say(isOn ? "Taken back" : `Also on ${paths.map((one) => elements.get(one).name).join(" and ")}`);
    save();
  }

  function plain() {
    const { change } = entry;
    const rules = app.rules?.kinds[own.kind] ?? [];
    return [
      own.kind === "deck" ? deck() : "",
      ...rules.filter((rule) => rule.name !== "description").map((rule) => plainField(rule, change)),
    ];
  }

  function plainField(rule, change) {
    const label = rule.unit ? `${rule.label} (${rule.unit})` : rule.label;
    const value = change.fields[rule.name];
    const set = (given) => { change.whole = undefined; change.fields[rule.name] = given; };
    if (rule.type === "flag") return check(rule.label, Boolean(value), (on) => { set(on); save(); });
    if (rule.type === "list-of-choices") return flags(rule, change);
    if (rule.type === "choice") {
      return field(label, choice(value ?? "", [["", "–"], ...rule.choices.map(([key, words]) => [key, words.replace("-", " ")])], (given) => { set(given); save(); }, { "data-key": rule.name }));
    }
    if (rule.type === "number" || rule.type === "whole") {
      const shown = rule.unit === "in" && typeof value === "number" ? fractionSaid(value) : value ?? "";
      const input = textInput(shown, (text) => { set(readNumber(text, rule.unit)); later(); }, { inputmode: rule.unit === "in" || rule.unit === "ft" ? "text" : "decimal", "data-key": rule.name });
      if (own.kind !== "limit" || rule.name !== "tons") return field(label, input);
      return [limits(value, set), field(label, input, { help: "As the sign says. 0 where it is closed to all." })];
    }
    const make = rule.is_long ? textArea : textInput;
    return field(label, make(value ?? "", (text) => { set(text); later(); }, { "data-key": rule.name }), {
      help: rule.begins_empty && own.state[rule.name] ? `Last time: ${own.state[rule.name]}` : "",
    });
  }

  function limits(value, set) {
    return h("div", { class: "field-picks", role: "group", "aria-label": "Usual limits" }, LIMITS_TONS.map((tons) =>
      button(`${tons} tons`, () => { set(tons); save(); }, { class: "field-pick", "aria-pressed": String(value === tons), "data-key": `limit-${tons}` })));
  }

  function flags(rule, change) {
    return h("fieldset", { class: "field-block" }, h("legend", {}, rule.label), h("div", { class: "field-picks" }, rule.choices.map(([key, words]) => {
      const on = change.flags.includes(key);
      return button(words, () => {
        change.flags = on ? change.flags.filter((one) => one !== key) : [...change.flags, key].sort();
        save();
      }, { class: "field-pick", "aria-pressed": String(on), "data-key": `flag-${key}` });
    })));
  }

  function deck() {
    const { change } = entry;
    const materials = Object.entries(app.rules?.deck_materials ?? {});
    const layer = (index) => (change.layers[index] ??= { material: "" });
    const is = (material, thickness) => change.layers.length === 1 && change.layers[0].material === material && change.layers[0].thickness_in === thickness;
    const names = Object.fromEntries(materials);
    return h(
      "fieldset",
      { class: "field-block" },
      h("legend", {}, "The deck now"),
      h("div", { class: "field-picks" }, DECKS.map(([material, thickness]) =>
        button(`${thickness} in ${names[material] ?? material}`, () => { change.whole = undefined; change.layers = [{ material, thickness_in: thickness }]; save(); }, { class: "field-pick", "aria-pressed": String(is(material, thickness)), "data-key": `deck-${material}-${thickness}` }),
      )),
      h("details", { class: "field-details", open: change.layers.length > 1 },
        h("summary", {}, "Other layers, thickness or weight"),
        [0, 1, 2].slice(0, Math.min(3, change.layers.length + 1)).map((index) => h("div", { class: "field-layer" },
          field(index ? `Layer ${index + 1}, on top of it` : "Lowest layer", choice(change.layers[index]?.material ?? "", [["", "–"], ...materials], (value) => {
            layer(index).material = value;
            change.layers = change.layers.filter((one) => one.material);
            save();
          }, { "data-key": `layer-${index}` })),
          change.layers[index]?.material ? field("Thickness (in)", textInput(change.layers[index].thickness_in ?? "", (value) => { layer(index).thickness_in = readNumber(value); later(); }, { inputmode: "decimal", "data-key": `thick-${index}` })) : "",
          change.layers[index]?.material ? field("Weight, if known (lb/ft²)", textInput(change.layers[index].psf ?? "", (value) => { layer(index).psf = readNumber(value); later(); }, { inputmode: "decimal", "data-key": `psf-${index}` })) : "",
        )),
      ),
    );
  }

  // -- what may be said of anything

  function about() {
    const { answer } = entry;
    return h(
      "div",
      { class: "field-about" },
      h("div", { class: "field-picks" },
        button("? Not sure of this", () => { entry.certainty = entry.certainty === "guess" ? "" : "guess"; app.say(entry.certainty ? "Marked with a question mark" : "Question mark taken off"); save(); }, { class: "field-pick is-question", "aria-pressed": String(entry.certainty === "guess"), "data-key": "sure" }),
        h("a", { class: "field-pick", href: `${home}/photos/${encodeURIComponent(path)}` }, photoWords()),
      ),
      answer === NOT_SEEN ? field("Why it could not be seen", textInput(entry.reason, (value) => { entry.reason = value; later(); }, { maxlength: "200", "data-key": "reason" })) : "",
      field("Marks, stencils or stamps found on it", textInput(entry.marks, (value) => { entry.marks = value; later(); }, { maxlength: "300", "data-key": "marks", autocapitalize: "characters" }), { optional: "letter by letter" }),
      answer === CHANGED ? "" : field("A note", textArea(entry.note, (value) => { entry.note = value; later(); }, { "data-key": "note" })),
    );
  }

  function photoWords() {
    const count = draft.photos.filter((one) => one.element === path).length;
    return count ? `Photos of it, ${count}` : "Photo of it";
  }
}

// What cannot be read is kept as it was written, and told before the visit is saved.
function readNumber(text, unit = "") {
  const plain = text.trim().replace(",", ".");
  if (plain === "") return "";
  if (!Number.isNaN(Number(plain))) return Number(plain);
  const length = unit === "in" ? readInches(plain) : unit === "ft" ? readFeet(plain) : null;
  return length ?? text.trim();
}

function readPercent(text, before) {
  const value = readNumber(text.replace("%", ""));
  if (value === "") return "";
  return typeof value === "number" && value >= 0 && value <= 95 ? value : before;
}

