// Sizes as the trade writes them, and the pieces made of them. Pure.

const EIGHTHS = { "½": 0.5, "¼": 0.25, "¾": 0.75, "⅛": 0.125, "⅜": 0.375, "⅝": 0.625, "⅞": 0.875 };

// Usual sizes to begin with, by shape: common mill sizes, not a rule. Weights of channels
// and I-beams are those of the American Standard shapes of that depth, from memory.
export const USUAL = {
  "round-rod": [[0.75], [0.875], [1], [1.125], [1.25], [1.375], [1.5], [2]],
  "square-rod": [[0.75], [0.875], [1], [1.125], [1.25], [1.5]],
  eyebar: [[2, 0.75], [2.5, 0.75], [3, 0.75], [3, 0.875], [4, 0.875], [4, 1]],
  "flat-bar": [[2, 0.375], [3, 0.375], [3, 0.5], [4, 0.375], [4, 0.5], [6, 0.5]],
  plate: [[6, 0.375], [8, 0.375], [10, 0.375], [12, 0.25], [12, 0.375]],
  angle: [[2.5, 2.5, 0.25], [3, 3, 0.25], [3, 3, 0.375], [4, 3, 0.375], [4, 4, 0.375]],
  channel: [[5, 6.7], [6, 8.2], [8, 11.5], [9, 13.4], [10, 15.3]],
  "i-beam": [[6, 12.5], [8, 18.4], [10, 25.4], [12, 31.8]],
  timber: [[3, 12], [4, 12], [6, 6], [6, 12], [8, 8], [8, 10], [10, 10]],
};

export const SIZE_WORDS = {
  diameter_in: "Diameter",
  side_in: "Side",
  width_in: "Width",
  thickness_in: "Thickness",
  leg_in: "One leg",
  other_leg_in: "Other leg",
  depth_in: "Depth",
  weight_plf: "Weight",
};

// Thin things go by sixteenths, broad ones by quarters, timber and rolled depths by inches.
export function stepOf(name, shape, value = 0) {
  if (name === "weight_plf") return 0.1;
  if (name === "depth_in") return shape === "timber" ? 0.5 : 1;
  if (name === "thickness_in") return 0.0625;
  if (name === "diameter_in" || name === "side_in") return 0.125;
  if (shape === "timber") return 0.5;
  return value < 4 ? 0.25 : 0.5;
}

// One tap up or down, onto the next whole step, never to nothing.
export function stepped(value, step, direction) {
  const steps = value / step;
  const near = Math.round(steps);
  const on = Math.abs(steps - near) < 1e-6;
  const next = on ? near + direction : direction > 0 ? Math.ceil(steps) : Math.floor(steps);
  return Math.max(1, next) * step;
}

export function sizeSaid(name, value) {
  if (value === undefined || value === "") return "–";
  if (name === "weight_plf") return `${trimmed(value)} lb/ft`;
  return `${fractionSaid(value)} in`;
}

// 3.5 as "3 1/2"; what is no thirty-second of an inch as a decimal.
export function fractionSaid(value) {
  const parts = Math.round(value * 32);
  if (Math.abs(value * 32 - parts) > 1e-6) return trimmed(value);
  const whole = Math.floor(parts / 32);
  let [top, bottom] = [parts % 32, 32];
  while (top && top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  if (!top) return String(whole);
  return whole ? `${whole} ${top}/${bottom}` : `${top}/${bottom}`;
}

function trimmed(value) {
  return String(Math.round(value * 1000) / 1000);
}

// "1 1/8", "1-1/8", "7/8", "3½", "2.5 in" in inches; null for anything else.
export function readInches(text) {
  let plain = text.trim().replace(/\s*(?:in\.?|inch(?:es)?|["″”])\s*$/i, "");
  plain = plain.replace(/[½¼¾⅛⅜⅝⅞]/g, (sign) => ` ${EIGHTHS[sign]}`).trim();
  const parts = plain.match(/^(\d+(?:\.\d+)?)?(?:[\s-]+)?(?:(\d+)\/(\d+)|(0\.\d+))?$/);
  if (!parts || plain === "") return null;
  const [, whole, top, bottom, part] = parts;
  // "11/8" is eleven eighths; the pattern would take the first 1 for a whole inch.
  const only = plain.match(/^(\d+)\/(\d+)$/);
  if (only) return Number(only[2]) ? Number(only[1]) / Number(only[2]) : null;
  if (top && !Number(bottom)) return null;
  const value = Number(whole ?? 0) + (top ? top / bottom : 0) + Number(part ?? 0);
  return value > 0 ? value : null;
}

// "5'-6\"", "5 ft", "5.5" in feet; null for anything else.
export function readFeet(text) {
  const parts = text.trim().match(/^(\d+(?:\.\d+)?)\s*(?:['’′]|ft\.?|feet|foot)?(?:[\s-]*(\S.*))?$/i);
  if (!parts) return null;
  const inches = parts[2] ? readInches(parts[2]) : 0;
  return inches === null ? null : Number(parts[1]) + inches / 12;
}

// "4 x 7/8" for a shape's sizes, { width_in: 4, thickness_in: 0.875 }; null when it is
// words, which are kept as they are.
export function readSizes(text, names) {
  const parts = text.split(/\s*(?:[x×*]|\bby\b)\s*/i).filter(Boolean);
  if (parts.length !== names.length) return null;
  const sizes = {};
  for (const [index, name] of names.entries()) {
    const plain = name === "weight_plf" ? parts[index].replace(/\s*(?:#|lbs?|lb\/ft|plf)\.?\s*$/i, "") : parts[index];
    const value = readInches(plain);
    if (value === null) return null;
    sizes[name] = value;
  }
  return sizes;
}

export function sizesSaid(sizes, names) {
  const said = names.filter((name) => sizes[name] !== undefined);
  return said.map((name) => (name === "weight_plf" ? trimmed(sizes[name]) : fractionSaid(sizes[name]))).join(" × ");
}

// A piece as the document writes it. Sizes when they are known, words always.
export function pieceOf(piece, origin) {
  const made = { shape: piece.shape, count: piece.count || 1, origin: piece.origin || origin };
  if (piece.ends) made.ends = piece.ends;
  if (piece.relieved) made.dead_load_relieved = true;
  Object.assign(made, piece.sizes ?? {});
  const words = piece.words?.trim();
  if (words) made.as_entered = words.slice(0, 200);
  else if (!Object.keys(piece.sizes ?? {}).length) made.as_entered = "size not measured";
  return made;
}
