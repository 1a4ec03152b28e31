// What is typed into the visit form, kept on this phone until the server has it.
// Pure: the storage, the clock and the form's entries are passed in.

const PREFIX = "visit-draft:";
const DAYS_KEPT = 30;
const NOT_KEPT = new Set(["csrfmiddlewaretoken", "action"]);

export function save({ storage, slug, entries, now }) {
  const kept = entries.filter(
    ([name, value]) => typeof value === "string" && !NOT_KEPT.has(name),
  );
  const draft = { at: now, entries: kept };
  try {
    storage.setItem(PREFIX + slug, JSON.stringify(draft));
  } catch {
    return false;
  }
  return true;
}

export function load({ storage, slug, now }) {
  try {
    const draft = JSON.parse(storage.getItem(PREFIX + slug));
    const age = now - draft.at;
    return age < DAYS_KEPT * 24 * 60 * 60 * 1000 ? draft : null;
  } catch {
    return null;
  }
}

export function forget({ storage, slug }) {
  try {
    storage.removeItem(PREFIX + slug);
  } catch {
    // A browser that keeps nothing has nothing to forget.
  }
}

// The draft of a visit that the server has: its form id is the visit's.
export function forgetSent({ storage, slug, clientId, now }) {
  const draft = load({ storage, slug, now });
  const own = draft?.entries.some(
    ([name, value]) => name === "client_id" && value === clientId,
  );
  if (own) forget({ storage, slug });
}
