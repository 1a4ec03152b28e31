// A visit being written: its answers, and the document it becomes. Pure.
//
// draft.answers is { path: { answer, certainty, reason, note, marks, change } }.
// Elements and groups are those of the pack, as surveys/pack.py writes them.

import { stateOf, faultOf } from "./change.js";

const SAME = "same";
export const CHANGED = "changed";
export const NOT_SEEN = "not-seen";

export function newDraft({ id, owner, ownerName, pack, date, people = "", access = "", now }) {
  return {
    client_id: id,
    owner,
    owner_name: ownerName,
    slug: pack?.slug ?? "",
    bridge_name: pack?.name ?? "",
    date,
    basis: "in-person",
    people,
    access,
    not_reached: "",
    notes: "",
    is_danger: false,
    danger_note: "",
    answers_to: "",
    answers: {},
    photos: [],
    viewpoints: [],
    find: null,
    started_at: now,
    updated_at: now,
  };
}

// Tapping the chosen answer once more takes it back; what was written stays. base is
// what it was compared with: the observation that the phone showed.
export function setAnswer(draft, path, answer, base = null) {
  const entry = draft.answers[path] ?? {};
  const taken = entry.answer === answer ? "" : answer;
  draft.answers[path] = { ...entry, answer: taken, base, by_rest: false };
  return draft.answers[path];
}

export function answerOf(draft, path) {
  return draft.answers[path]?.answer ?? "";
}

export function unanswered(draft, group, elements) {
  return group.rows.filter((path) => !answerOf(draft, path) && elements.get(path)?.is_recorded);
}

// "The rest the same as last time": only of what was recorded before and was in sight.
export function closeGroup(draft, group, elements, outOfSight = new Set()) {
  const said = unanswered(draft, group, elements);
  for (const path of said) {
    const answer = outOfSight.has(path) ? NOT_SEEN : SAME;
    draft.answers[path] = { ...draft.answers[path], answer, base: elements.get(path).base, by_rest: true };
  }
  return said;
}

export function takeBack(draft, paths) {
  for (const path of paths) draft.answers[path] = { ...draft.answers[path], answer: "", by_rest: false };
}

export function looked(draft, rows) {
  return rows.filter((path) => answerOf(draft, path)).length;
}

export function lookedSaid(draft, rows) {
  return `${looked(draft, rows)} of ${rows.length} looked at`;
}

export function elementsOf(pack) {
  return new Map((pack?.elements ?? []).map((element) => [element.path, element]));
}

export function saysSomething(draft) {
  const words = [draft.notes, draft.not_reached, draft.danger_note];
  return (
    Object.values(draft.answers).some((entry) => entry.answer) ||
    draft.photos.length > 0 ||
    Boolean(draft.find) ||
    words.some((text) => text?.trim())
  );
}

// A find says where it is, or it cannot be put anywhere.
export function findFault(draft) {
  if (!draft.find) return "";
  const { latitude, longitude } = draft.find;
  const within = Math.abs(latitude) <= 90 && Math.abs(longitude) <= 180;
  return latitude !== null && longitude !== null && within ? "" : "A new find needs a position: go back and keep where it is.";
}

// What must be put right before the visit is saved: [{ path, message }].
export function faults(draft, pack) {
  const found = [];
  for (const element of pack?.elements ?? []) {
    const entry = draft.answers[element.path];
    if (!entry) continue;
    if (!entry.answer && written(entry)) {
      found.push({ path: element.path, message: "You wrote something here: choose an answer for it." });
    }
    const message = entry.answer === CHANGED ? faultOf(element, entry.change) : "";
    if (message) found.push({ path: element.path, message });
  }
  return found;
}

function written(entry) {
  return [entry.note, entry.marks, entry.reason, entry.change?.fields?.description].some((text) =>
    text?.trim(),
  );
}

// The document that is sent, word for word as the server keeps it.
export function documentOf(draft, pack) {
  const made = {
    client_id: draft.client_id,
    date: draft.date,
    basis: draft.basis,
    observations: observations(draft, pack),
    photos: draft.photos.map(photoOf),
  };
  if (draft.find) made.find = kept(draft.find);
  else made.bridge = draft.slug;
  for (const name of ["people", "access", "not_reached", "notes"]) {
    if (draft[name]?.trim()) made[name] = draft[name].trim();
  }
  if (draft.is_danger) made.is_danger = true;
  if (draft.is_danger && draft.danger_note.trim()) made.danger_note = draft.danger_note.trim();
  if (draft.answers_to) made.answers_to = draft.answers_to;
  const used = new Set(draft.photos.map((photo) => photo.viewpoint));
  const viewpoints = (draft.viewpoints ?? []).filter((one) => used.has(one.name));
  if (viewpoints.length) made.viewpoints = viewpoints.map(kept);
  return made;
}

function observations(draft, pack) {
  const said = [];
  for (const element of pack?.elements ?? []) {
    const entry = draft.answers[element.path];
    if (!entry?.answer) continue;
    const row = { element: element.path, answer: entry.answer };
    const base = entry.base ?? element.base;
    if (base !== null) row.compared_with = base;
    if (entry.certainty) row.certainty = entry.certainty;
    if (entry.answer === CHANGED) row.state = stateOf(element, entry.change);
    if (entry.answer === NOT_SEEN && entry.reason?.trim()) row.reason = entry.reason.trim();
    for (const name of ["note", "marks"]) {
      if (entry[name]?.trim()) row[name] = entry[name].trim();
    }
    said.push(row);
  }
  return said;
}

const PHOTO_FIELDS = [
  "client_id", "name", "size_bytes", "sha256", "element", "viewpoint", "repeats", "caption",
  "credit", "taken", "taken_at", "latitude", "longitude", "position_accuracy_m", "position_source",
  "bearing_deg",
];

function photoOf(photo) {
  const made = {};
  for (const name of PHOTO_FIELDS) {
    const value = photo[name];
    if (value !== undefined && value !== null && value !== "") made[name] = value;
  }
  return made;
}

function kept(facts) {
  return Object.fromEntries(
    Object.entries(facts).filter(([, value]) => value !== "" && value !== null && value !== undefined),
  );
}

export function itemOf(draft, pack, now) {
  return {
    client_id: draft.client_id,
    owner: draft.owner,
    owner_name: draft.owner_name,
    bridge_name: draft.bridge_name,
    date: draft.date,
    payload: documentOf(draft, pack),
    draft,
    photos: draft.photos.map(({ client_id, name, size_bytes }) => ({
      client_id, name, size_bytes, offset: 0, is_complete: false,
    })),
    queued_at: now,
    state: "waiting",
    message: "",
    errors: [],
  };
}

// A visit that was sent back, opened again to be corrected: a new id that names it.
export function draftFrom({ question, id, owner, ownerName, pack, now }) {
  const sent = question.submitted ?? {};
  const draft = newDraft({ id, owner, ownerName, pack, date: sent.date ?? question.date, now });
  for (const name of ["basis", "people", "access", "not_reached", "notes", "danger_note"]) {
    draft[name] = sent[name] ?? draft[name];
  }
  draft.slug ||= question.bridge;
  draft.bridge_name ||= question.bridge_name;
  draft.is_danger = Boolean(sent.is_danger);
  draft.answers_to = question.visit;
  draft.question = [question.question, ...question.observations.map((one) => `${one.name}: ${one.question}`)].filter(Boolean).join(" ");
  for (const row of sent.observations ?? []) {
    const { element, answer, certainty = "", reason = "", note = "", marks = "", state } = row;
    draft.answers[element] = { answer, certainty, reason, note, marks };
    if (state) draft.answers[element].change = { whole: state, fields: { description: state.description ?? "" } };
  }
  return draft;
}
