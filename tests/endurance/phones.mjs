// Many phones sending at once, each with the field page's own sender. Reads what to do
// from standard input, writes what happened to standard output, both JSON.
//
// in:  { url, visits, phones: [{ user, cookie, slug }] }
// out: [{ left, why, tries, ms, statuses, visits: [id], photos: [{ id, sha256 }] }]
//
// Like the page, a phone whose connection broke off tries again by itself, here sooner.

import { createHash, randomBytes, randomUUID } from "node:crypto";

import { createSender } from "../../surveys/static/surveys/js/field/sync.js";

const asked = JSON.parse(await new Response(process.stdin).text());
const MOST_TRIES = 5;
const JPEG = Buffer.from(asked.jpeg, "base64");

const results = await Promise.all(asked.phones.map((one) => phone(one)));
process.stdout.write(JSON.stringify(results));

async function phone({ user, cookie, slug }) {
  const held = new Map();
  const blobs = new Map();
  const visits = [];
  const photos = [];
  for (let n = 0; n < asked.visits; n += 1) {
    const id = randomUUID();
    const rows = Array.from({ length: 1 + (n % 3) }, () => {
      // A picture, and after it as many bytes again as no other has.
      const bytes = Buffer.concat([JPEG, randomBytes(40_000 + Math.floor(Math.random() * 400_000))]);
      const photo = { client_id: randomUUID(), name: `${n}.jpg`, size_bytes: bytes.length, sha256: createHash("sha256").update(bytes).digest("hex") };
      blobs.set(photo.client_id, { bytes: new Blob([bytes]) });
      photos.push({ id: photo.client_id, sha256: photo.sha256 });
      return photo;
    });
    visits.push(id);
    const payload = { client_id: id, bridge: slug, date: "2024-05-04", notes: `Visit ${n}`, observations: [{ element: "limit", answer: "same" }], photos: rows };
    held.set(id, {
      client_id: id, owner: user, payload, state: "waiting", errors: [], queued_at: n,
      photos: rows.map(({ client_id, name, size_bytes }) => ({ client_id, name, size_bytes, offset: 0, is_complete: false })),
    });
  }
  const store = {
    outbox: async () => [...held.values()],
    saveItem: async (item) => void held.set(item.client_id, item),
    blob: async (id) => blobs.get(id),
    finish: async (item) => void held.delete(item.client_id),
  };
  const statuses = {};
  let jar = cookie;
  async function fetchHere(path, options = {}) {
    const answer = await fetch(asked.url + path, { ...options, headers: { ...options.headers, Cookie: jar } });
    statuses[answer.status] = (statuses[answer.status] ?? 0) + 1;
    const set = answer.headers.getSetCookie().map((one) => one.split(";")[0]);
    if (set.length) jar = [cookie, ...set].join("; ");
    return answer;
  }
  const start = performance.now();
  const sender = createSender({ store, fetch: fetchHere, now: () => Date.now() });
  let tries = 0;
  while (held.size && tries < MOST_TRIES) {
    if (tries) await new Promise((done) => setTimeout(done, 500));
    await sender.send();
    tries += 1;
  }
  const why = [...held.values()].map((item) => item.message || item.state);
  return { left: held.size, why, tries, ms: performance.now() - start, statuses, visits, photos };
}
