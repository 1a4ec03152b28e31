// Pictures kept on this phone, given an address while a screen shows them. An edge.

let shown = [];

export function urlOf(blob) {
  const made = URL.createObjectURL(blob);
  shown.push(made);
  return made;
}

// What the screen before used, to be given back when the next one stands.
export function addresses() {
  const before = shown;
  shown = [];
  return before;
}

// { src, when, caption } of an earlier picture taken along, or null.
export async function earlier(app, draft, pack, id) {
  const facts = pack?.pictures.find((one) => one.id === id);
  const kept = facts && (await app.store.picture(draft.owner, id));
  return kept ? { ...facts, src: urlOf(kept.blob) } : null;
}
