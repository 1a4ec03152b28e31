// The field page's pure parts: answers, changes, sizes, and what is said of them.

import assert from "node:assert/strict";
import { test } from "node:test";

import { beginChange, choose, copyChange, faultOf, openWhole, stateOf } from "../../surveys/static/surveys/js/field/change.js";
import { mirrorOf, partners } from "../../surveys/static/surveys/js/field/partners.js";
import { fractionSaid, pieceOf, readFeet, readInches, readSizes, stepped } from "../../surveys/static/surveys/js/field/pieces.js";
import { closeGroup, documentOf, draftFrom, elementsOf, faults, newDraft, setAnswer } from "../../surveys/static/surveys/js/field/visit.js";
import { ageSaid, bytesSaid, dayOf, distanceSaid, nearestFirst } from "../../surveys/static/surveys/js/field/words.js";

const BARS = { shape: "eyebar", count: 2, width_in: 3, thickness_in: 0.875, origin: "original" };
const chord = (name, line = "span-1/upstream", more = {}) => ({
  path: `${line}/${name}`, kind: "member", name, title: name, member: name, role: "lower-chord", line,
  is_recorded: true, state: { components: [BARS], built_up: { tied_by: "lacing" } }, base: 7, ...more,
});
const plain = (path, kind, state, more = {}) => ({
  path, kind, name: path, title: path, is_recorded: Boolean(state), state: state ?? {}, base: state ? 3 : null, ...more,
});
const PACK = {
  slug: "mill-lane", name: "Mill Lane Bridge", skeletons: {},
  elements: [plain("limit", "limit", { tons: 8 }), plain("approach/far", "approach", null), chord("L2L3")],
  groups: [{ key: "signs", rows: ["limit", "approach/far"] }, { key: "line-1", rows: ["span-1/upstream/L2L3"] }],
};
const begun = () => newDraft({ id: "11111111-1111-4111-8111-111111111111", owner: 1, ownerName: "ada", pack: PACK, date: "2024-05-04", now: 0 });

test("the rest the same is said only of what was recorded and in sight", () => {
  const draft = begun();
  const elements = elementsOf(PACK);
  closeGroup(draft, PACK.groups[0], elements);
  closeGroup(draft, PACK.groups[1], elements, new Set(["span-1/upstream/L2L3"]));
  assert.deepEqual(
    documentOf(draft, PACK).observations.map(({ element, answer }) => [element, answer]),
    [["limit", "same"], ["span-1/upstream/L2L3", "not-seen"]],
  );
});

test("the chosen answer tapped once more is taken back and what was written stays", () => {
  const draft = begun();
  setAnswer(draft, "limit", "gone").note = "Post sawn off";
  setAnswer(draft, "limit", "gone");
  assert.equal(draft.answers.limit.answer, "");
  assert.equal(draft.answers.limit.note, "Post sawn off");
  assert.match(faults(draft, PACK)[0].message, /choose an answer/);
});

test("a document holds what was compared with, and nothing that is blank", () => {
  const draft = begun();
  draft.notes = "  ";
  setAnswer(draft, "limit", "same");
  const made = documentOf(draft, PACK);
  assert.deepEqual(made.observations, [{ element: "limit", answer: "same", compared_with: 3 }]);
  assert.ok(!("notes" in made) && !("is_danger" in made) && made.bridge === "mill-lane");
});

test("reinforced keeps the old pieces and adds new ones to them", () => {
  const element = chord("L2L3");
  const change = choose(element, beginChange(element), "reinforced");
  Object.assign(change.pieces[0], { shape: "flat-bar", count: 2, sizes: { width_in: 3, thickness_in: 0.5 } });
  const state = stateOf(element, change);
  assert.deepEqual(state.components.map((one) => [one.shape, one.origin]), [["eyebar", "original"], ["flat-bar", "addition"]]);
  assert.deepEqual(state.built_up, { tied_by: "lacing" });
});

test("replaced lets all the old pieces go, and their ties with them", () => {
  const element = chord("L2L3");
  const change = choose(element, beginChange(element), "replaced");
  change.pieces[0].sizes = { width_in: 4, thickness_in: 1 };
  const state = stateOf(element, change);
  assert.deepEqual(state.components.map((one) => [one.width_in, one.origin, one.count]), [[4, "replacement", 2]]);
  assert.ok(!state.built_up);
});

test("what ails a member adds up, beside what was done to it; a second tap takes it back", () => {
  const element = chord("L2L3");
  const chosen = ["loosened", "bent", "reinforced", "cracked", "loosened"];
  const change = chosen.reduce((made, one) => choose(element, made, one), beginChange(element));
  assert.deepEqual(stateOf(element, change).flags, ["bent", "cracked"]);
  assert.equal(change.happened, "reinforced");
  assert.equal(stateOf(element, change).components.length, 1);
});

test("a change that says nothing new is asked about, in words it is enough", () => {
  const element = chord("L2L3");
  const change = beginChange(element);
  assert.match(faultOf(element, change), /Nothing here differs/);
  change.fields.description = "Painted red";
  assert.equal(faultOf(element, change), "");
  change.pieces = [{ shape: "", words: "4 x 7/8", sizes: {} }];
  assert.match(faultOf(element, change), /What shape/);
  const measured = (fields) => faultOf(element, { ...change, pieces: [], fields });
  assert.match(measured({ remaining_in: "about 3" }), /“about 3” cannot be read/);
  assert.match(measured({ holes: 2 }), /diameter of the rivets/);
  assert.match(measured({ packing: "L1L2 7/8" }), /diameter of the pin/);
  assert.equal(measured({ remaining_in: 0.4375, holes: 2, rivet_in: 0.75 }), "");
});

test("a limit of nought tons is an answer", () => {
  const limit = PACK.elements[0];
  const change = beginChange(limit);
  change.fields.tons = 0;
  assert.deepEqual(stateOf(limit, change), { tons: 0 });
});

test("the same on another member keeps there what was kept here", () => {
  const [from, to] = [chord("L2L3"), chord("L1L2", "span-1/downstream", { state: { components: [BARS, { ...BARS, width_in: 2 }] } })];
  const change = choose(from, beginChange(from), "reinforced");
  change.pieces[0].shape = "plate";
  const copied = copyChange(from, change, to);
  assert.deepEqual(copied.keep, [true, true]);
  change.pieces[0].shape = "angle";
  assert.equal(copied.pieces[0].shape, "plate");
});

test("a visit that came back opens with what was sent and names the one it answers", () => {
  const sent = { date: "2024-05-01", observations: [{ element: "limit", answer: "changed", state: { tons: 5, wording: "5 T" } }] };
  const question = { visit: "v1", bridge: "mill-lane", bridge_name: "Mill Lane Bridge", date: "2024-05-01", question: "Sure?", observations: [], submitted: sent };
  const draft = draftFrom({ question, id: "n", owner: 1, ownerName: "ada", pack: PACK, now: 0 });
  const opened = openWhole(PACK.elements[0], draft.answers.limit.change);
  assert.deepEqual(stateOf(PACK.elements[0], opened), { tons: 5, wording: "5 T" });
  assert.deepEqual(documentOf(draft, PACK).observations[0].state, { tons: 5, wording: "5 T" });
  assert.equal(documentOf(draft, PACK).answers_to, "v1");
});

test("sizes are read as the trade writes them, and words are left alone", () => {
  const read = ["1 1/8", "1-1/8", "1⅛", "11/8", "3.5 in", '7/8"', "0.5"].map(readInches);
  assert.deepEqual(read, [1.125, 1.125, 1.125, 1.375, 3.5, 0.875, 0.5]);
  for (const words of ["about four", "", "4 x", "1/0", "-3", "1 2 3"]) assert.equal(readInches(words), null, words);
  const feet = ["5'-6\"", "5 ft", "5.5", "3' 4 1/2", "12′"].map(readFeet);
  assert.deepEqual(feet, [5.5, 5, 5.5, 3.375, 12]);
  for (const words of ["about four", "", "6 in", "-3", "4 x 5"]) assert.equal(readFeet(words), null, words);
  assert.deepEqual(readSizes("4 x 7/8", ["width_in", "thickness_in"]), { width_in: 4, thickness_in: 0.875 });
  assert.deepEqual(readSizes("8 x 11.5 lb", ["depth_in", "weight_plf"]), { depth_in: 8, weight_plf: 11.5 });
  assert.equal(readSizes("4", ["width_in", "thickness_in"]), null);
  assert.deepEqual(pieceOf({ shape: "round-rod", words: "thumb thick" }, "addition"), { shape: "round-rod", count: 1, origin: "addition", as_entered: "thumb thick" });
});

test("a step goes onto the next fraction and never to nothing", () => {
  assert.deepEqual([stepped(0.8125, 0.125, 1), stepped(0.875, 0.125, -1), stepped(0.0625, 0.0625, -1)], [0.875, 0.75, 0.0625]);
  assert.deepEqual([3.5, 0.875, 4, 1.03125, 0.333].map(fractionSaid), ["3 1/2", "7/8", "4", "1 1/32", "0.333"]);
});

const SKELETON = {
  joints: { L0: [0, 0], L1: [18, 0], L2: [36, 0], L3: [54, 0], U1: [18, 20], U2: [36, 20] },
  members: [["L0L1", "L0", "L1"], ["L1L2", "L1", "L2"], ["L2L3", "L2", "L3"], ["L0U1", "L0", "U1"], ["L3U2", "L3", "U2"]],
};

test("a member is paired across the middle and on the other truss", () => {
  assert.equal(mirrorOf(SKELETON, "L0L1"), "L2L3");
  assert.equal(mirrorOf(SKELETON, "L0U1"), "L3U2");
  assert.equal(mirrorOf(SKELETON, "L1L2"), "");
  const lines = ["span-1/upstream", "span-1/downstream"];
  const elements = lines.flatMap((line) => ["L0L1", "L1L2", "L2L3"].map((name) => chord(name, line)));
  const found = partners(elements[0], elements, { "span-1": SKELETON });
  assert.deepEqual(found.map((one) => one.words), ["L2L3", "L0L1 on the other truss", "L2L3, and on the other truss", "all 6 of its kind"]);
  assert.deepEqual(found[2].paths, ["span-1/upstream/L2L3", "span-1/downstream/L0L1", "span-1/downstream/L2L3"]);
});

test("the nearest bridge comes first, and distances are said as people say them", () => {
  const here = { latitude: 41, longitude: -77 };
  const rows = nearestFirst([{ name: "far", latitude: 42, longitude: -77 }, { name: "near", latitude: 41.01, longitude: -77 }], here);
  assert.deepEqual(rows.map((one) => one.name), ["near", "far"]);
  // One degree of a meridian on a sphere of 6,371 km is 111.19 km.
  assert.ok(Math.abs(rows[1].metres - 111_195) < 10);
  assert.deepEqual([60, 400, 5000, 40_000].map(distanceSaid), ["200 ft", "0.2 mi", "3.1 mi", "25 mi"]);
  assert.deepEqual([999, 1500, 2_400_000].map(bytesSaid), ["999 bytes", "2 kB", "2.4 MB"]);
  assert.equal(ageSaid(0, 90 * 60_000), "2 hours ago");
  assert.equal(dayOf(new Date(2024, 1, 3)), "2024-02-03");
});

test("a visit stands on what was shown when it was answered, though the record moves on", () => {
  const draft = begun();
  const member = PACK.elements[2];
  setAnswer(draft, member.path, "changed", member.base).change = choose(member, beginChange(member), "bent");
  setAnswer(draft, "limit", "same", 3);
  const other = { ...member, base: 99, state: { components: [BARS, BARS] } };
  const moved = { ...PACK, elements: [{ ...PACK.elements[0], base: 98 }, PACK.elements[1], other] };
  const said = documentOf(draft, moved).observations;
  assert.deepEqual(said.map((one) => one.compared_with), [3, 7]);
  assert.equal(said[1].state.components.length, 1);
});
