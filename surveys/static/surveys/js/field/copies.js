// A copy of everything that is only on this phone, as one file, and back from it. Pure:
// the store is passed in.

import { NotOurs, readZip, writeZip } from "./zip.js";

const LIST = "visits.json";
const KIND = "second-crossing-field-copy";

// Returns { blob, name, visits, photos }. Drafts go along as drafts.
export async function makeCopy(store, now) {
  const items = await store.outbox();
  const drafts = await store.drafts();
  const files = [];
  const kept = [];
  for (const { client_id, name } of [...items, ...drafts].flatMap((one) => one.photos)) {
    const held = await store.blob(client_id);
    if (!held) continue;
    const suffix = /\.(\w{1,5})$/.exec(name ?? "")?.[1]?.toLowerCase() ?? "jpg";
    const path = `photos/${client_id}.${suffix}`;
    files.push({ name: path, blob: held.bytes });
    kept.push({ client_id, path, type: held.bytes.type });
  }
  const list = { kind: KIND, version: 1, made_at: new Date(now).toISOString(), items, drafts, photos: kept };
  files.unshift({ name: LIST, blob: new Blob([JSON.stringify(list, null, 1)], { type: "application/json" }) });
  return { blob: await writeZip(files), name: `visits-${new Date(now).toISOString().slice(0, 10)}.zip`, visits: items.length + drafts.length, photos: kept.length };
}

// Puts what a copy holds beside what is here; what is here already stays as it is.
// Returns { visits, known }. Raises NotOurs.
export async function loadCopy(store, blob) {
  const files = await readZip(blob);
  const listed = files.get(LIST);
  let list = null;
  try {
    list = JSON.parse(await listed?.text());
  } catch {
    list = null;
  }
  if (list?.kind !== KIND || list.version !== 1) throw new NotOurs("This is not a copy that this page saved.");
  const here = new Set([...(await store.outbox()), ...(await store.drafts())].map((one) => one.client_id));
  const items = list.items.filter((one) => !here.has(one.client_id));
  const drafts = list.drafts.filter((one) => !here.has(one.client_id));
  const wanted = new Set([...items, ...drafts].flatMap((one) => one.photos.map((photo) => photo.client_id)));
  const blobs = [];
  for (const { client_id, path, type } of list.photos) {
    if (!wanted.has(client_id)) continue;
    const body = files.get(path);
    if (!body) throw new NotOurs(`A picture is missing from this file: ${path}.`);
    blobs.push({ client_id, bytes: new Blob([await body.arrayBuffer()], { type }), small: null });
  }
  await store.load(items, blobs, drafts);
  return { visits: items.length + drafts.length, known: list.items.length + list.drafts.length - items.length - drafts.length };
}
