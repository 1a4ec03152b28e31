// A bridge that is not on the record: where it is, and as much as one knows.

import { button, choice, field, h, notice, textArea, textInput } from "./dom.js";
import { whereNow } from "./position.js";
import { throwAway } from "./throw_away.js";
import { newDraft } from "./visit.js";
import { dayOf, plural } from "./words.js";

const FORMS = [
  ["", "not known"], ["pratt", "Pratt"], ["half-hip-pratt", "half-hip Pratt"], ["parker", "Parker"], ["warren", "Warren"],
  ["warren-with-verticals", "Warren with verticals"], ["howe", "Howe"], ["king-post", "king post"], ["queen-post", "queen post"],
  ["bowstring", "bowstring"], ["lenticular", "lenticular"], ["lattice", "lattice"], ["burr-arch", "Burr arch truss"],
  ["stone-arch", "stone arch"], ["concrete-arch", "concrete arch"], ["plate-girder", "plate girder"], ["beam", "rolled beam"],
  ["suspension", "suspension"], ["other", "something else"],
];
const MATERIALS = [["", "not known"], ["wrought-iron", "wrought iron"], ["cast-and-wrought-iron", "cast and wrought iron"], ["steel", "steel"], ["timber", "timber"], ["stone", "stone"], ["concrete", "concrete"]];
const STATUSES = [["in-service", "Open to traffic"], ["foot-only", "Open on foot only"], ["closed", "Closed"], ["bypassed", "Bypassed"], ["stored", "Taken down and stored"]];

// #/find: begins one.
export async function newFind(app) {
  if (!app.owner) return { title: "Sign in once first", back: ["#/", "To the start"], body: [h("p", {}, "What you find is kept under your name.")] };
  const begun = (await app.store.drafts()).find((one) => one.owner === app.owner.user_id && isUntouched(one));
  if (begun) {
    location.replace(`#/visit/${begun.client_id}`);
    return null;
  }
  const draft = newDraft({ id: crypto.randomUUID(), owner: app.owner.user_id, ownerName: app.owner.username, pack: null, date: dayOf(new Date()), people: app.settings.people || app.owner.credit || "", now: Date.now() });
  draft.find = { name: "", latitude: null, longitude: null, status: "in-service", form: "", material: "", road: "", crossing: "", town: "", county: "" };
  draft.bridge_name = "A new find";
  await app.saveDraft(draft);
  await app.count();
  location.replace(`#/visit/${draft.client_id}`);
  return null;
}

// Opened and left before anything was said: taken up again, so that none pile up.
function isUntouched({ find: facts, notes, photos, is_danger }) {
  return Boolean(facts) && !notes && !photos.length && !is_danger && facts.latitude === null && ["name", "road", "crossing", "town", "county", "form", "material"].every((one) => !facts[one]);
}

export async function find(walk) {
  const { app, draft, home } = walk;
  const facts = draft.find;
  const where = h("p", { role: "status", class: "how" });
  let timer = 0;
  const latitude = place("latitude", "Latitude");
  const longitude = place("longitude", "Longitude");
  tell();
  return {
    title: "A bridge not on the record",
    back: ["#/", "To the start"],
    said: "A bridge not on the record. Its position first, then what you know.",
    body: [
      notice("caution", "Before you go near", "Stay on public ground; what cannot be reached safely need not be."),
      h("p", { class: "actions" }, button("Use where I stand", here, { class: "button" })),
      where,
      h("details", { class: "field-details" }, h("summary", {}, "Or type its position"), latitude, longitude),
      text("name", "Its name", "Or what people call it; “unnamed” will do."),
      text("road", "What it carries"),
      text("crossing", "What it crosses"),
      text("town", "Nearest town"),
      text("county", "County"),
      field("Its outline", choice(facts.form, FORMS, keep("form"))),
      field("Mostly of", choice(facts.material, MATERIALS, keep("material"))),
      field("Its use", choice(facts.status, STATUSES, keep("status"))),
      field("What you see, in your own words", textArea(draft.notes, (value) => { draft.notes = value; later(); }), { help: "Spans, panels, pins or rivets, plates and their words, what is missing." }),
      h("p", { class: "actions" }, h("a", { class: "button button-quiet", href: `${home}/photos` }, draft.photos.length ? `Photos, ${plural(draft.photos.length, "taken", "taken")}` : "Photos"), h("a", { class: "button button-quiet", href: `${home}/danger` }, "Danger here now"), throwAway(app, draft)),
    ],
    bar: [h("a", { class: "button button-wide", href: `${home}/finish` }, "Finish and save")],
    leave: () => { if (timer) { clearTimeout(timer); app.saveDraft(draft).catch(() => {}); } },
  };

  function text(name, label, help = "") {
    return field(label, textInput(facts[name], keep(name), { maxlength: "160" }), { help });
  }

  function place(name, label) {
    return field(label, textInput(facts[name] ?? "", (value) => {
      const degrees = value.trim() === "" ? null : Number(value);
      facts[name] = Number.isFinite(degrees) ? degrees : null;
      facts.position_accuracy_m = null;
      tell();
      later();
    }, { inputmode: "text", "data-place": name }), { help: name === "latitude" ? "Degrees, such as 41.2013." : "Degrees; west is below nought, such as -77.4052." });
  }

  function keep(name) {
    return (value) => {
      facts[name] = value;
      if (name === "name") draft.bridge_name = value.trim() || "A new find";
      later();
    };
  }

  function later() {
    clearTimeout(timer);
    timer = setTimeout(() => { timer = 0; app.saveDraft(draft); }, 250);
  }

  async function here() {
    where.textContent = "Looking for where you are …";
    const found = await whereNow({ fresh: 0 });
    if (!found) {
      where.textContent = "The phone gave no position. Type it, or come back to this.";
      return;
    }
    Object.assign(facts, { latitude: found.latitude, longitude: found.longitude, position_accuracy_m: found.accuracy });
    document.querySelector("[data-place=latitude]").value = found.latitude;
    document.querySelector("[data-place=longitude]").value = found.longitude;
    await app.saveDraft(draft);
    tell();
  }

  function tell() {
    const has = facts.latitude !== null && facts.longitude !== null;
    const poor = facts.position_accuracy_m > 50 ? " That is rough: wait under open sky and try again." : "";
    where.textContent = has
      ? `Position kept: ${facts.latitude}, ${facts.longitude}${facts.position_accuracy_m ? `, within about ${facts.position_accuracy_m} m.${poor}` : "."}`
      : "No position yet. It is the one thing a new find needs.";
  }
}
