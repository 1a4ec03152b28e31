// The arithmetic of a vehicle on a truss: axles on joints, rods that go slack.
// tests/analysis/test_drive.py holds whole trusses against the check itself.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  axlePlaces,
  jointLoads,
  settle,
  stops,
  usedPart,
} from "../../analysis/static/analysis/js/statics.js";

const X = [0, 15, 30, 45];

test("an axle between two joints loads them by the lever rule", () => {
  assert.deepEqual(jointLoads([22.5], [30], X), [0, 15, 15, 0]);
});

test("an axle off the deck loads nothing, on a joint that joint alone", () => {
  assert.deepEqual(jointLoads([-1, 46, 45, 15], [5, 6, 7, 8], X), [0, 8, 0, 7]);
});

test("axles follow the front one the way it heads", () => {
  assert.deepEqual(axlePlaces(40, 1, [0, 14]), [40, 26]);
  assert.deepEqual(axlePlaces(40, -1, [0, 14]), [40, 54]);
});

test("of two crossed rods the pushed one is let go and the other takes all", () => {
  // Shear 5 shared as +3 and -2 by two like rods: slack rod 0, the other 5.
  const { force, slack } = settle([3, -2], [[1], [1]], [0, 1]);
  assert.deepEqual(slack, [1]);
  assert.deepEqual(force, [5, 0]);
});

test("rods that nothing strains carry nothing", () => {
  assert.deepEqual(settle([0, 0, 7], [[1], [1], [0]], [0, 1]).force, [0, 0, 7]);
});

test("a rod without a partner that would be pushed lets the truss fall", () => {
  assert.equal(settle([-4, 9], [[], []], [0]), null);
  assert.equal(settle([-4, 9], [[0], [1]], [0]), null);
});

test("two rods that cannot both be pulled let the truss fall", () => {
  assert.equal(settle([-1, -1], [[1], [-1]], [0, 1]), null);
});

test("a rod let go is taken up again where another frees it", () => {
  const rows = [[1, 0], [0.9, 0.5], [0, 1]];
  const { force } = settle([-1, -4, 0.5], rows, [0, 1, 2]);
  for (const one of force) assert.ok(one >= -1e-9);
});

test("a passage stops wherever an axle stands on a joint, in order", () => {
  const vehicle = { behind: [0, 14] };
  assert.deepEqual(
    stops({ x: X }, vehicle, 1),
    [0, 14, 15, 29, 30, 44, 45, 59],
  );
  assert.equal(stops({ x: X }, vehicle, -1)[0], 45);
});

test("how hard a bar works is told by the way it is strained", () => {
  assert.equal(usedPart(5, [10, null]), 0.5);
  assert.equal(usedPart(-5, [10, 20]), 0.25);
  assert.equal(usedPart(-5, [10, null]), null);
});
