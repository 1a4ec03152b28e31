// Sending: exactly once, from wherever the server stands, and nothing let go too soon.

import assert from "node:assert/strict";
import { test } from "node:test";

import { loadCopy, makeCopy } from "../../surveys/static/surveys/js/field/copies.js";
import { crc32, NotOurs } from "../../surveys/static/surveys/js/field/zip.js";
import { createSender, mayUploadNow, nextTryMs, spaceLeft } from "../../surveys/static/surveys/js/field/sync.js";

const BYTES = new Blob([new Uint8Array(600_000).fill(7)]);

function item(more = {}) {
  const photos = [{ client_id: "p1", name: "deck.jpg", size_bytes: BYTES.size, offset: 0, is_complete: false }];
  return { client_id: "v1", owner: 1, bridge_name: "Mill Lane", date: "2024-05-04", payload: { client_id: "v1", photos: [{ client_id: "p1" }] }, photos, queued_at: 1, state: "waiting", errors: [], ...more };
}

function storeOf(...items) {
  const held = new Map(items.map((one) => [one.client_id, one]));
  return {
    held,
    receipts: [],
    outbox: async () => [...held.values()],
    saveItem: async (one) => held.set(one.client_id, one),
    blob: async () => ({ bytes: BYTES }),
    async finish(one, receipt) {
      held.delete(one.client_id);
      this.receipts.push(receipt);
    },
  };
}

// A server of the same rules; faults(n, path) may lose a request, before or after.
function server({ user = 1, faults = () => "" } = {}) {
  const state = { visits: new Map(), photos: new Map([["p1", 0]]), asked: 0, user, posts: 0, pieces: [] };
  const json = (status, body) => new Response(JSON.stringify(body), { status });
  const stand = () => ({ client_id: "p1", offset: state.photos.get("p1"), is_complete: state.photos.get("p1") === BYTES.size });
  function answer(path, options) {
    if (path === "/api/session/") return json(200, { user_id: state.user, csrf_token: "t" });
    if (state.user === null) return json(401, { errors: [{ field: "", code: "not_authenticated", message: "" }] });
    if (options.headers["X-Expected-User"] !== String(state.user)) return json(409, { errors: [{ field: "", code: "other_person", message: "" }] });
    if (path === "/api/visits/") {
      state.posts += 1;
      const isNew = !state.visits.has("v1");
      state.visits.set("v1", options.body);
      return json(isNew ? 201 : 200, { client_id: "v1", photos: [stand()], url: "/visits/v1/", set_aside: [] });
    }
    const offset = Number(options.headers["Upload-Offset"]);
    if (offset !== state.photos.get("p1")) return json(409, { errors: [{ field: "Upload-Offset", code: "offset", message: "" }], ...stand() });
    state.pieces.push(offset);
    state.photos.set("p1", offset + options.body.size);
    return json(200, stand());
  }
  async function fetch(path, options = {}) {
    const fault = faults(state.asked++, path);
    if (fault === "before") throw new TypeError("Failed to fetch");
    const made = answer(path, options);
    if (fault === "after") throw new TypeError("Failed to fetch");
    if (typeof fault === "object") return fault.answer();
    return made;
  }
  return { state, fetch };
}

const send = (store, fetch, more = {}) => createSender({ store, fetch, now: () => 5, ...more }).send();

test("a visit and its photo leave the phone when the server holds all of them", async () => {
  const [store, site] = [storeOf(item()), server()];
  const report = await send(store, site.fetch);
  assert.deepEqual([report.sent, store.held.size, site.state.photos.get("p1")], [1, 0, BYTES.size]);
  assert.deepEqual(site.state.pieces, [0, 262_144, 524_288]);
  assert.equal(store.receipts[0].url, "/visits/v1/");
});

test("whatever request is lost, before or after it was heard, all arrives once", async () => {
  for (const kind of ["before", "after"]) {
    for (let lost = 0; lost < 6; lost += 1) {
      const [store, site] = [storeOf(item()), server({ faults: (n) => (n === lost ? kind : "") })];
      await send(store, site.fetch);
      await send(store, site.fetch);
      assert.deepEqual([store.held.size, site.state.photos.get("p1"), site.state.pieces.length], [0, BYTES.size, 3], `${kind} ${lost}`);
    }
  }
});

test("a sign-in page that answers 200 is no receipt", async () => {
  const store = storeOf(item());
  const html = () => new Response("<html>Sign in</html>", { status: 200 });
  const site = server({ faults: (_, path) => (path === "/api/visits/" ? { answer: html } : "") });
  const report = await send(store, site.fetch);
  assert.deepEqual([report.sent, store.held.size], [0, 1]);
});

test("signed out, or signed in as somebody else, everything stays", async () => {
  for (const user of [null, 2]) {
    const [store, site] = [storeOf(item()), server({ user })];
    const report = await send(store, site.fetch);
    assert.deepEqual([report.sent, store.held.size, site.state.visits.size], [0, 1, 0]);
    assert.equal(user === null ? report.why : report.others, user === null ? "signed-out" : 1);
  }
});

test("what the server cannot take is kept with its faults and holds up nothing else", async () => {
  const [bad, good] = [item({ client_id: "v0", photos: [] }), item()];
  const site = server();
  const errors = [{ field: "date", code: "future", message: "A visit cannot be dated in the future." }];
  const fetch = (path, options) =>
    options?.body?.includes?.('"v0"') || JSON.stringify(options?.body ?? "").includes("v0")
      ? Promise.resolve(new Response(JSON.stringify({ errors }), { status: 400 }))
      : site.fetch(path, options);
  bad.payload = { client_id: "v0", photos: [] };
  const store = storeOf(bad, good);
  const report = await send(store, fetch);
  assert.deepEqual([report.sent, report.kept], [1, 1]);
  assert.deepEqual([store.held.get("v0").state, store.held.get("v0").errors], ["refused", errors]);
});

test("photos wait for wifi when asked to, and the visit does not", async () => {
  const [store, site] = [storeOf(item()), server()];
  await send(store, site.fetch, { mayUpload: () => false });
  assert.ok(site.state.visits.has("v1") && store.held.get("v1").is_delivered);
  assert.deepEqual(site.state.pieces, []);
  assert.ok(mayUploadNow({ wait: true, connection: { type: "wifi" } }));
  assert.ok(!mayUploadNow({ wait: true, connection: { type: "cellular" } }));
  assert.ok(!mayUploadNow({ wait: true }) && mayUploadNow({ wait: true, asked: true }) && mayUploadNow({ wait: false }));
});

test("a picture that the site does not take stays on the phone", async () => {
  const store = storeOf(item());
  const body = { client_id: "v1", photos: [], url: "/visits/v1/", set_aside: [{ field: "photos.0.size_bytes", code: "size", message: "Too large." }] };
  const site = server({ faults: (_, path) => (path === "/api/visits/" ? { answer: () => new Response(JSON.stringify(body), { status: 201 }) } : "") });
  await send(store, site.fetch);
  assert.deepEqual([store.held.get("v1").state, store.held.get("v1").photos[0].left_out], ["left-out", "Too large."]);
});

test("waiting grows and stops growing; a full phone is told of beforehand", () => {
  assert.deepEqual([1, 2, 3, 20].map(nextTryMs), [15_000, 30_000, 60_000, 600_000]);
  assert.equal(spaceLeft({ quota: 1e9, usage: 1e8 }).level, "plenty");
  assert.equal(spaceLeft({ quota: 1e9, usage: 8e8 }).level, "low");
  assert.equal(spaceLeft({ quota: 1e9, usage: 9.9e8 }).level, "full");
  assert.equal(spaceLeft({}).level, "unknown");
});

test("a copy holds every visit and picture, and another phone takes it once", async () => {
  const from = phone([item({ draft: {} })], [{ client_id: "d1", photos: [] }]);
  const copy = await makeCopy(from, Date.UTC(2024, 4, 4));
  assert.deepEqual([copy.name, copy.visits, copy.photos], ["visits-2024-05-04.zip", 2, 1]);
  const to = phone([], []);
  assert.deepEqual(await loadCopy(to, copy.blob), { visits: 2, known: 0 });
  assert.deepEqual(await loadCopy(to, copy.blob), { visits: 0, known: 2 });
  assert.equal((await to.blob("p1")).bytes.size, BYTES.size);
});

test("a copy that was cut short or altered is refused whole", async () => {
  const { blob } = await makeCopy(phone([item()], []), 0);
  const bytes = new Uint8Array(await blob.arrayBuffer());
  const short = new Blob([bytes.slice(0, bytes.length - 9)]);
  bytes[5000] ^= 1;
  for (const broken of [short, new Blob([bytes]), new Blob(["not a zip at all, no"])]) {
    const to = phone([], []);
    await assert.rejects(loadCopy(to, broken), NotOurs);
    assert.equal((await to.outbox()).length, 0);
  }
});

test("sums are those of the standard", () => {
  // The check value of CRC-32/ISO-HDLC for "123456789" is CBF43926.
  assert.equal(crc32(new TextEncoder().encode("123456789")), 0xcbf43926);
});

function phone(items, drafts) {
  const held = { items: [...items], drafts: [...drafts], blobs: new Map(items.length ? [["p1", { client_id: "p1", bytes: BYTES }]] : []) };
  return {
    outbox: async () => held.items,
    drafts: async () => held.drafts,
    blob: async (id) => held.blobs.get(id),
    load: async (more, blobs, begun) => {
      held.items.push(...more);
      held.drafts.push(...begun);
      for (const one of blobs) held.blobs.set(one.client_id, one);
    },
  };
}
