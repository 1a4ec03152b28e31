// What an element is now, made of what it was and what happened to it. Pure.
//
// change = { happened, keep: [true…], ties: true, pieces: [piece…], loss, flags: […],
//            fields: { name: value }, layers: [{ material, thickness_in, psf }],
//            whole: a state as it was sent before }
// The same rules as the visit form's, surveys/sheet.py.

import { pieceOf } from "./pieces.js";

// What may have happened to a member, and what each word sets going.
export const HAPPENED = [
  ["reinforced", "Reinforced", "Pieces added to those that were there"],
  ["replaced", "Replaced", "The old pieces are gone, new ones in their place"],
  ["added", "Added", "A piece that was not there before"],
  ["removed", "Some removed", "Some of its pieces are gone"],
  ["loosened", "Loose or rattling", "It moves, rattles or hangs slack"],
  ["bent", "Bent", ""],
  ["section-lost", "Section lost", "Rusted or cut thin"],
  ["cracked", "Cracked", ""],
  ["other", "Something else", "In your own words"],
];
const LOST = "section-lost";
const FLAG_OF = { loosened: "loose", bent: "bent", "section-lost": "section-lost", cracked: "cracked" };
const BEGIN_EMPTY = ["wording", "condition", "description"];

export function recordedPieces(element) {
  return element.state?.components ?? [];
}

export function beginChange(element) {
  const { components, built_up, layers, flags, ...rest } = element.state ?? {};
  const fields = Object.fromEntries(Object.entries(rest).filter(([name]) => !BEGIN_EMPTY.includes(name)));
  return {
    // What it was when this was begun: the bridge may be taken along anew meanwhile.
    before: element.state ?? {},
    happened: "",
    keep: (components ?? []).map(() => true),
    ties: Boolean(built_up),
    pieces: [],
    loss: fields.loss_fraction ? Math.round(fields.loss_fraction * 1000) / 10 : "",
    flags: [...(flags ?? [])],
    fields,
    layers: (layers ?? []).map((layer) => ({ ...layer })),
  };
}

// A change as it was sent before, opened to be corrected.
export function openWhole(element, change) {
  const own = beginChange(element.kind === "member" ? element : { state: change.whole });
  const fields = element.kind === "member" ? own.fields : { ...own.fields };
  for (const name of BEGIN_EMPTY) if (change.whole[name]) fields[name] = change.whole[name];
  const opened = { ...own, ...change, fields: { ...fields, ...change.fields } };
  return element.kind === "member" ? opened : { ...opened, whole: undefined };
}

// Choosing what happened sets what follows of it; it can all be set otherwise after. A
// bar may be bent and cracked and reinforced: what ails it adds up, a second tap takes
// one of it back.
export function choose(element, change, happened) {
  const flag = FLAG_OF[happened];
  if (flag) {
    const on = change.flags.includes(flag);
    const flags = on ? change.flags.filter((one) => one !== flag) : [...change.flags, flag].sort();
    return { ...change, whole: undefined, flags, loss: on && flag === LOST ? "" : change.loss };
  }
  const replaced = happened === "replaced";
  return {
    ...change,
    whole: undefined,
    happened,
    keep: recordedPieces(element).map(() => !replaced),
    ties: Boolean(element.state?.built_up) && !replaced,
    pieces: makesPieces(happened) && !change.pieces.length ? [firstPiece(element, happened)] : change.pieces,
  };
}

// Whether what may have happened is said of a member; change: undefined where nothing is.
export function isChosen(element, change, happened) {
  const flag = FLAG_OF[happened];
  if (flag) return (change?.flags ?? element.state?.flags ?? []).includes(flag);
  return change?.happened === happened;
}

export function hasLost(change) {
  return change.flags.includes(LOST);
}

export function makesPieces(happened) {
  return ["reinforced", "replaced", "added"].includes(happened);
}

// What replaces a piece is mostly of its shape and its number.
function firstPiece(element, happened) {
  const old = happened === "replaced" ? recordedPieces(element)[0] : null;
  return { shape: old?.shape ?? "", count: old?.count ?? 1, sizes: {}, words: "", ends: old?.ends ?? "" };
}

export function stateOf(now, change = {}) {
  if (change.whole) return withWords(change.whole, change.fields);
  const element = change.before ? { ...now, state: change.before } : now;
  const state = {};
  const { components, built_up, layers, flags, ...rest } = element.state ?? {};
  for (const [name, value] of Object.entries({ ...without(rest, BEGIN_EMPTY), ...change.fields })) {
    if (isSaid(value)) state[name] = value;
  }
  const said = (change.flags ?? flags ?? []).slice().sort();
  if (said.length) state.flags = said;
  if (element.kind === "deck") addLayers(state, change.layers ?? layers ?? []);
  if (element.kind === "member") addPieces(state, element, change);
  return state;
}

function withWords(state, fields = {}) {
  const words = fields.description?.trim();
  return words ? { ...state, description: words } : without(state, ["description"]);
}

function addLayers(state, layers) {
  const filled = layers.filter((layer) => layer.material);
  if (filled.length) state.layers = filled.map((layer) => onlySaid(layer));
}

function addPieces(state, element, change) {
  delete state.loss_fraction;
  if (isSaid(change.loss)) state.loss_fraction = Math.round(Number(change.loss) * 1e4) / 1e6;
  const recorded = recordedPieces(element);
  const kept = recorded.filter((_, index) => change.keep?.[index] ?? true);
  const origin = originOf(change, recorded, kept);
  const fresh = (change.pieces ?? []).filter((piece) => piece.shape).map((piece) => pieceOf(piece, origin));
  const pieces = [...kept, ...fresh];
  if (pieces.length) state.components = pieces;
  // Ties of a member all of whose pieces went, went with them.
  const allWent = recorded.length > 0 && !kept.length;
  if (element.state?.built_up && (change.ties ?? true) && !allWent) state.built_up = element.state.built_up;
}

function originOf(change, recorded, kept) {
  if (!recorded.length) return "original";
  return change.happened === "replaced" || !kept.length ? "replacement" : "addition";
}

// Fields that hold a number, and those of which one says nothing without the other.
const NUMBERS = /(_in|_ft|_lb|_each)$|^(count|holes|plf|tons)$/;
const TOGETHER = [
  ["holes", "rivet_in", "the diameter of the rivets"],
  ["rivet_in", "holes", "how many holes stand across one piece"],
  ["packing", "pin_in", "the diameter of the pin"],
];

function faultOfFields(fields) {
  for (const [name, value] of Object.entries(fields)) {
    if (NUMBERS.test(name) && typeof value === "string" && value !== "") {
      return `“${value}” cannot be read as a size: write it as 7/16 or 0.44, or put it in words below.`;
    }
  }
  for (const [one, other, words] of TOGETHER) {
    if (isSaid(fields[one]) && !isSaid(fields[other])) return `Say ${words} too.`;
  }
  return "";
}

// Why a change cannot be recorded as it stands; empty when it can.
export function faultOf(element, change = {}) {
  const unread = faultOfFields(change.fields ?? {});
  if (unread) return unread;
  const words = change.fields?.description?.trim();
  const half = (change.pieces ?? []).some(
    (piece) => !piece.shape && (piece.words?.trim() || Object.keys(piece.sizes ?? {}).length),
  );
  if (half) return "What shape is the new piece? A bar, a rod, an angle …";
  if (change.whole) return "";
  if (words) return "";
  const now = stateOf(element, change);
  if (!Object.keys(now).length) return "Say what it is now: a size, a material or a few words.";
  const before = without(element.state ?? {}, BEGIN_EMPTY);
  if (element.is_recorded && alike(now, before)) {
    return "Nothing here differs from last time: say what has changed, or answer “Same”.";
  }
  return "";
}

// The same change on another member: what was kept here is kept there, what went goes.
export function copyChange(element, change, other) {
  const recorded = recordedPieces(element);
  const gone = recorded.filter((_, index) => !(change.keep?.[index] ?? true));
  const allWent = recorded.length > 0 && gone.length === recorded.length;
  const own = beginChange(other);
  return {
    ...own,
    happened: change.happened,
    keep: recordedPieces(other).map((piece) => !allWent && !gone.some((one) => alike(one, piece))),
    ties: own.ties && !allWent,
    pieces: (change.pieces ?? []).map((piece) => ({ ...piece, sizes: { ...piece.sizes } })),
    loss: change.loss ?? "",
    flags: [...(change.flags ?? [])],
    fields: { ...own.fields, description: change.fields?.description ?? "" },
  };
}

export function alike(a, b) {
  return sorted(a) === sorted(b);
}

function sorted(value) {
  return JSON.stringify(value, (_, inner) =>
    inner && typeof inner === "object" && !Array.isArray(inner)
      ? Object.fromEntries(Object.entries(inner).sort(([x], [y]) => (x < y ? -1 : 1)))
      : inner,
  );
}

function without(state, names) {
  return Object.fromEntries(Object.entries(state).filter(([name]) => !names.includes(name)));
}

function onlySaid(layer) {
  return Object.fromEntries(Object.entries(layer).filter(([, value]) => isSaid(value)));
}

// Nought is an answer: a limit of 0 tons.
function isSaid(value) {
  return value !== undefined && value !== null && value !== "" && value !== false;
}
