// The map's pure parts: views and addresses, marks, names.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  areOnOneSpot, gather, isOneBridge, nameOf,
} from "../../bridges/static/bridges/js/marks.js";
import {
  boxOf, fitting, halfWay, placeIn,
} from "../../bridges/static/bridges/js/labels.js";
import {
  clampBox, panBy, readHash, viewAddress, writeHash,
} from "../../bridges/static/bridges/js/view.js";
import { groundOf } from "../../bridges/static/bridges/js/take.js";

function bridge(slug, x, y, facts = {}) {
  const properties = {
    kind: "bridge", count: 1, slug, name: slug, form: "Pratt", built: "1889",
    status_words: "Open to traffic", changed_lately: false, is_exact: true, ...facts,
  };
  return { type: "Feature", geometry: { type: "Point", coordinates: [x, y] }, properties };
}

const flat = ([x, y]) => ({ x, y });

test("a view wider than the world is asked for as the world", () => {
  const box = { west: -400, south: -95, east: 400, north: 95 };
  assert.deepEqual(clampBox(box), { west: -180, south: -90, east: 180, north: 90 });
  assert.equal(
    viewAddress("/api/", "", box, 2),
    "/api/?bbox=-180.00000,-90.00000,180.00000,90.00000&zoom=2",
  );
});

test("the filters of the page go with the view, and half zooms are rounded", () => {
  const box = { west: -41, south: 39, east: -39, north: 41 };
  assert.equal(
    viewAddress("/api/", "form=pratt&q=mill", box, 8.5),
    "/api/?bbox=-41.00000,39.00000,-39.00000,41.00000&zoom=9&form=pratt&q=mill",
  );
});

test("a view goes into the hash and comes out of it", () => {
  const hash = writeHash({ zoom: 9, latitude: 39.51234, longitude: -40.5 });
  assert.equal(hash, "#map=9/39.5123/-40.5000");
  assert.deepEqual(readHash(hash), { zoom: 9, latitude: 39.5123, longitude: -40.5 });
});

test("a half zoom comes back as it was left", () => {
  assert.equal(readHash(writeHash({ zoom: 8.5, latitude: 1, longitude: 2 })).zoom, 8.5);
});

test("a hash that is no view is no view", () => {
  for (const hash of ["", "#list-title", "#map=", "#map=99/1/2", "#map=8/95/0", "#map=8/1/200", "#map=8/1/2/3"]) {
    assert.equal(readHash(hash), null, hash);
  }
});

test("an arrow moves the map by a third of itself", () => {
  assert.deepEqual(panBy("west", { x: 900, y: 600 }), [-300, 0]);
  assert.deepEqual(panBy("south", { x: 900, y: 600 }), [0, 200]);
});

test("marks that would hide each other become one ring with their count", () => {
  const groups = gather([bridge("a", 0, 0), bridge("b", 10, 10), bridge("c", 100, 0)], flat, 30);
  assert.deepEqual(groups.map(({ key, count }) => [key, count]), [["a b", 2], ["c", 1]]);
  assert.deepEqual(groups[0].place, [5, 5]);
});

test("groups do not depend on the order of the answer", () => {
  const features = [bridge("c", 20, 0), bridge("a", 0, 0), bridge("b", 40, 0)];
  const one = gather(features, flat, 30).map(({ key }) => key);
  const other = gather([...features].reverse(), flat, 30).map(({ key }) => key);
  assert.deepEqual(one, other);
});

test("no bridge is lost in gathering, and clusters bring their own counts", () => {
  const cluster = { ...bridge("x", 5, 5), properties: { kind: "cluster", count: 40 } };
  const groups = gather([cluster, bridge("a", 0, 0), bridge("b", 500, 0)], flat, 30);
  assert.equal(groups.reduce((sum, { count }) => sum + count, 0), 42);
  assert.equal(groups.filter(isOneBridge).length, 1);
});

test("bridges on one spot are known to be", () => {
  const [same] = gather([bridge("a", 1, 1), bridge("b", 1, 1)], flat);
  const [near] = gather([bridge("a", 1, 1), bridge("b", 1, 1.01)], flat);
  assert.equal(areOnOneSpot(same), true);
  assert.equal(areOnOneSpot(near), false);
});

test("a mark is called by what it shows", () => {
  const name = (facts) => nameOf({ members: [bridge("Weir Lane", 0, 0, facts)], count: 1 });
  assert.equal(name({}), "Weir Lane, Pratt, built 1889, Open to traffic");
  assert.equal(
    name({ built: "date unknown", changed_lately: true, is_exact: false }),
    "Weir Lane, Pratt, date unknown, Open to traffic, changed lately, place to about 2 miles",
  );
  assert.equal(nameOf({ members: [1, 2], count: 23 }), "23 bridges here");
});

test("names do not lie over each other, and a bridge's goes before a town's", () => {
  const at = (kind, name, x) => ({ kind, name, pixel: { x, y: 50 } });
  const fits = fitting([at("town", "Kestle", 110), at("bridge", "Weir Lane", 100), at("town", "Far", 400)], 12);
  assert.deepEqual(fits.map(({ name }) => name), ["Weir Lane", "Far"]);
});

test("a name goes to the left where a mark covers its right or the map ends", () => {
  const one = { kind: "bridge", name: "Weir Lane Bridge", pixel: { x: 300, y: 50 }, offset: 20 };
  const offsets = (taken, x) => fitting([one], 12, taken, { x, y: 100 }).map(({ offset }) => offset);
  assert.deepEqual(offsets([], 1000), [20]);
  assert.deepEqual(offsets([boxOf(one)], 1000), [-20]);
  assert.deepEqual(offsets([], 350), [-20]);
  assert.ok(boxOf({ ...one, offset: -20 }).right <= 280);
});

test("a name that fits on neither side, or whole, is left out", () => {
  const one = { kind: "bridge", name: "Weir Lane Bridge", pixel: { x: 60, y: 50 }, offset: 20 };
  assert.equal(fitting([one], 12, [], { x: 120, y: 100 }).length, 0);
  const river = { kind: "river", name: "Alder", pixel: { x: 50, y: 2 } };
  assert.equal(fitting([river], 12, [], { x: 100, y: 100 }).length, 0);
});

test("small waters are named only when near", () => {
  const creek = { kind: "creek", name: "Osier Creek", pixel: { x: 90, y: 50 } };
  assert.equal(fitting([creek], 9).length, 0);
  assert.equal(fitting([creek], 12).length, 1);
});

test("half way along a line is measured on the line", () => {
  assert.deepEqual(halfWay([[0, 0], [10, 0], [10, 10]]), [10, 0]);
  assert.deepEqual(halfWay([[0, 0], [4, 0], [4, 0], [8, 0]]), [4, 0]);
  assert.deepEqual(halfWay([[3, 3], [3, 3]]), [3, 3]);
});

const WIDE = { west: -100, south: -100, east: 100, north: 100 };
const place = (type, coordinates, view = WIDE) => placeIn({ geometry: { type, coordinates } }, view);

test("each shape of the ground has a place for its name", () => {
  assert.deepEqual(place("Point", [1, 2]), [1, 2]);
  assert.deepEqual(place("LineString", [[0, 0], [2, 0]]), [1, 0]);
  assert.deepEqual(place("MultiLineString", [[[9, 9], [9, 9]], [[0, 0], [1, 0], [2, 0]]]), [1, 0]);
  assert.deepEqual(place("Polygon", [[[0, 0], [4, 0], [4, 2], [0, 0]]]), [2, 1]);
  assert.deepEqual(place("MultiPolygon", [[[[0, 0], [4, 0], [4, 2], [0, 0]]]]), [2, 1]);
  assert.equal(place("GeometryCollection", []), null);
});

test("a name is written on the part of a water that is in view, or not at all", () => {
  const view = { west: 0, south: -1, east: 10, north: 1 };
  const line = [[-9, 0], [0, 0], [5, 0], [10, 0], [50, 0]];
  assert.deepEqual(place("LineString", line, view), [5, 0]);
  assert.equal(place("LineString", [[20, 0], [30, 0]], view), null);
  assert.equal(place("Point", [20, 0], view), null);
  assert.deepEqual(place("Polygon", [[[-8, -8], [4, -8], [4, 8], [-8, 8]]], view), [2, 0]);
  assert.equal(place("Polygon", [[[20, 20], [30, 20], [30, 30]]], view), null);
});

test("what the map shows is measured as its tiles are", () => {
  // At zoom 0 the world is 256 px square: half of it each way is 180 and 66.51 degrees
  // (atan(sinh(π/2))), a quarter of the height from the middle.
  assert.equal(
    groundOf({ zoom: 0, latitude: 0, longitude: 0 }, { width: 256, height: 128 }),
    "-180.00000,-66.51326,180.00000,66.51326",
  );
});

test("a year of the slide is one filter more, and today is one less", async () => {
  const { queryAt } = await import("../../bridges/static/bridges/js/view.js");
  assert.equal(queryAt("form=pratt", "1925"), "form=pratt&as_of=1925");
  assert.equal(queryAt("as_of=1975&form=pratt", "1925"), "form=pratt&as_of=1925");
  assert.equal(queryAt("as_of=1975", ""), "");
});

test("a photograph is named by what it shows and which way the camera looked", async () => {
  const { nameOf } = await import("../../bridges/static/bridges/js/views.js");
  const photo = { kind: "photo", name: "", bridge: "Mill Lane", taken: "2019", facing: "NE" };
  assert.equal(nameOf(photo), "Photograph, Mill Lane, 2019, camera facing NE");
  assert.equal(nameOf({ ...photo, kind: "viewpoint", name: "Bank", taken: "", facing: "" }), "Viewpoint, Bank");
});
