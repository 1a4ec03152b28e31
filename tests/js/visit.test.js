// The visit form's pure parts: counts and drafts.

import assert from "node:assert/strict";
import { test } from "node:test";

import { lookedAt, said } from "../../surveys/static/surveys/js/counts.js";
import { forget, forgetSent, load, save } from "../../surveys/static/surveys/js/drafts.js";

const DAY_MS = 24 * 60 * 60 * 1000;

function memory() {
  const held = new Map();
  return {
    getItem: (name) => held.get(name) ?? null,
    setItem: (name, value) => held.set(name, value),
    removeItem: (name) => held.delete(name),
  };
}

test("what is answered is looked at, and the rest only where it was recorded", () => {
  const rows = [
    { answer: "same", recorded: true },
    { answer: "not-seen", recorded: false },
    { answer: "", recorded: true },
    { answer: undefined, recorded: false },
  ];
  assert.equal(lookedAt(rows, false), 2);
  assert.equal(lookedAt(rows, true), 3);
  assert.equal(said(7, 31), "7 of 31 looked at");
});

test("a draft comes back as it was typed, without token and files", () => {
  const storage = memory();
  const entries = [
    ["client_id", "a"],
    ["e1", "changed"],
    ["e1-f-flags", "bent"],
    ["e1-f-flags", "loose"],
    ["csrfmiddlewaretoken", "secret"],
    ["ph0-file", { name: "a.jpg" }],
  ];
  save({ storage, slug: "mill", entries, now: 0 });
  assert.deepEqual(load({ storage, slug: "mill", now: DAY_MS }).entries, entries.slice(0, 4));
  assert.equal(load({ storage, slug: "other", now: DAY_MS }), null);
});

test("a draft is forgotten after a month, and when asked", () => {
  const storage = memory();
  save({ storage, slug: "mill", entries: [["client_id", "a"]], now: 0 });
  assert.equal(load({ storage, slug: "mill", now: 31 * DAY_MS }), null);
  forget({ storage, slug: "mill" });
  assert.equal(load({ storage, slug: "mill", now: 0 }), null);
});

test("only the draft of the visit that was sent is forgotten", () => {
  const storage = memory();
  save({ storage, slug: "mill", entries: [["client_id", "a"]], now: 0 });
  forgetSent({ storage, slug: "mill", clientId: "b", now: 0 });
  assert.ok(load({ storage, slug: "mill", now: 0 }));
  forgetSent({ storage, slug: "mill", clientId: "a", now: 0 });
  assert.equal(load({ storage, slug: "mill", now: 0 }), null);
});

test("a phone that keeps nothing costs the draft and nothing else", () => {
  const refusing = () => {
    throw new Error("quota");
  };
  const storage = { getItem: refusing, setItem: refusing, removeItem: refusing };
  assert.equal(save({ storage, slug: "mill", entries: [], now: 0 }), false);
  assert.equal(load({ storage, slug: "mill", now: 0 }), null);
  forget({ storage, slug: "mill" });
});
