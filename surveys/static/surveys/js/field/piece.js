// Inputs for one new piece: shape, number, sizes by steppers, picks, or in words.

import { button, check, choice, field, h, textInput } from "./dom.js";
import { SIZE_WORDS, USUAL, readSizes, sizeSaid, sizesSaid, stepOf, stepped } from "./pieces.js";

const FIRST = ["round-rod", "eyebar", "flat-bar", "plate", "angle", "channel", "square-rod", "i-beam", "timber"];

export function pieceEditor({ app, piece, index, of, last, save, later, drop, canRelieve }) {
  const shapes = app.rules?.shapes ?? {};
  const shape = shapes[piece.shape];
  const key = (name) => `p${index}-${name}`;
  return h(
    "div",
    { class: "field-piece" },
    of > 1 ? h("h3", {}, `Piece ${index + 1}`) : "",
    h("div", { class: "field-picks", role: "group", "aria-label": "Shape" }, FIRST.filter((one) => shapes[one]).map((one) =>
      button(shapes[one].name, () => {
        if (piece.shape !== one) piece.sizes = {};
        piece.shape = piece.shape === one ? "" : one;
        save();
      }, { class: "field-pick", "aria-pressed": String(piece.shape === one), "data-key": key(`shape-${one}`) }),
    )),
    shape ? [count(), usual(), steppers(), words(), ends()] : "",
    canRelieve && shape ? check("The load was off the member when it went in", Boolean(piece.relieved), (value) => { piece.relieved = value; save(); }) : "",
    of > 1 ? button("Leave this piece out", drop, { class: "button button-quiet", "data-key": key("drop") }) : "",
  );

  function count() {
    return stepper("How many", `${piece.count}`, (direction) => {
      piece.count = Math.min(24, Math.max(1, piece.count + direction));
      save();
    }, key("count"));
  }

  // The old piece's size first: what is swapped is often swapped for the next size up.
  function usual() {
    const old = last.filter((one) => one.shape === piece.shape).map((one) => shape.sizes.map((name) => one[name])).filter((sizes) => sizes.every(Boolean));
    const rows = [...old, ...(USUAL[piece.shape] ?? [])];
    const seen = new Set();
    return h("div", { class: "field-picks", role: "group", "aria-label": "Usual sizes" }, rows.map((values) => {
      const sizes = Object.fromEntries(shape.sizes.map((name, at) => [name, values[at]]));
      const said = sizesSaid(sizes, shape.sizes);
      if (seen.has(said)) return "";
      seen.add(said);
      const on = said === sizesSaid(piece.sizes, shape.sizes);
      return button(said, () => { piece.sizes = sizes; piece.words = ""; save(); }, { class: "field-pick", "aria-pressed": String(on), "data-key": key(`usual-${said}`) });
    }));
  }

  function steppers() {
    return shape.sizes.map((name) => {
      const value = piece.sizes[name];
      const first = USUAL[piece.shape]?.[0][shape.sizes.indexOf(name)] ?? 1;
      const most = app.rules.largest[name] ?? app.rules.largest.other;
      return stepper(SIZE_WORDS[name] ?? name, sizeSaid(name, value), (direction) => {
        const next = value === undefined ? first : stepped(value, stepOf(name, piece.shape, value), direction);
        piece.sizes[name] = Math.min(most, Math.round(next * 1e4) / 1e4);
        piece.words = "";
        save();
      }, key(name));
    });
  }

  function words() {
    return field("Or write it", textInput(piece.words, (value) => {
      piece.words = value;
      piece.sizes = readSizes(value, shape.sizes) ?? {};
      later();
    }, { maxlength: "200", "data-key": key("words") }), { help: `${shape.example}. Words are kept as they are.` });
  }

  function ends() {
    if (!["round-rod", "square-rod"].includes(piece.shape)) return "";
    const choices = Object.entries(app.rules.ends).map(([value, said]) => [value, said]);
    return field("Ends", choice(piece.ends ?? "", [["", "not seen"], ...choices], (value) => { piece.ends = value; save(); }, { "data-key": key("ends") }));
  }
}

function stepper(label, said, step, key) {
  return h(
    "div",
    { class: "field-stepper", role: "group", "aria-label": label },
    h("span", { class: "field-stepper-name" }, label),
    button("−", () => step(-1), { class: "field-step", "aria-label": `${label}: less`, "data-key": `${key}-less` }),
    h("output", { "aria-live": "polite" }, said),
    button("+", () => step(1), { class: "field-step", "aria-label": `${label}: more`, "data-key": `${key}-more` }),
  );
}
