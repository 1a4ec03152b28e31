// The photographs of a visit: taken or chosen, pinned to what they show, repeated.

import { button, check, choice, field, h, notice, textArea, textInput } from "./dom.js";
import { earlier, urlOf } from "./pictures.js";
import { addFiles } from "./shots.js";
import { bytesSaid, plural, takenNow } from "./words.js";

// #/visit/<id>/photos or …/photos/<path of what they show>
export async function photos(walk, [about = ""]) {
  const { app, draft, pack, elements, home } = walk;
  const own = elements.get(about);
  const pinned = own ? { element: about } : {};
  const taken = own ? draft.photos.filter((one) => one.element === about) : draft.photos;
  const space = await app.space();
  const told = h("div", { role: "status" });
  const list = h("ul", { class: "field-list" }, await Promise.all(taken.map((one) => shot(walk, one))));
  return {
    title: own ? `Photos: ${own.name}` : "Photos",
    back: own ? [`${home}/e/${encodeURIComponent(about)}`, own.title] : [home, "The walk round"],
    said: `${own ? `Photos of ${own.name}` : "Photos"}. ${plural(taken.length, "photo")}.`,
    body: [
      space.notice,
      told,
      position(app),
      taken.length ? list : h("div", { class: "empty" }, h("p", {}, own ? "No photo of it yet." : "No photo yet. Each is kept on this phone as the camera made it.")),
      own ? "" : await toRepeat(),
    ],
    bar: h("div", { class: "field-bar-in field-bar-two" }, take("Take a photo", { capture: "environment" }), take("Choose photos", { multiple: true })),
  };

  // The input itself is the button: it opens with one tap and by keyboard.
  function take(words, attributes) {
    const input = h("input", {
      type: "file",
      accept: "image/*",
      class: "field-file",
      onchange: () => add(input.files, Boolean(attributes.capture)),
      ...attributes,
    });
    return h("label", { class: attributes.capture ? "button" : "button button-quiet" }, input, h("span", {}, words));
  }

  // Of a picture out of the library the file itself knows best when it was taken.
  async function add(files, isCamera) {
    if (!files.length) return;
    told.replaceChildren(h("p", {}, `Keeping ${plural(files.length, "photo")} …`));
    const refused = await addFiles({ app, draft, files, facts: { ...pinned, ...(isCamera ? takenNow() : {}) } });
    await app.show({ keepPlace: true });
    app.say(`${plural(draft.photos.length, "photo")} kept on this phone.`);
    for (const { name, why } of refused) document.querySelector("#step").after(notice("caution", name, why));
  }

  async function toRepeat() {
    if (!pack?.pictures.length) return "";
    const wanted = new Map(pack.viewpoints.map((one) => [one.name, one]));
    const rows = pack.pictures.filter((one) => !one.element);
    const done = new Set(draft.photos.map((one) => one.repeats));
    const items = await Promise.all(
      rows.map(async (one) => {
        const kept = await earlier(app, draft, pack, one.id);
        const viewpoint = wanted.get(one.viewpoint);
        return h(
          "li",
          {},
          h(
            "a",
            { class: "field-shot-row", href: `${home}/repeat/${one.id}` },
            kept ? h("img", { class: "field-thumb", src: kept.src, alt: "" }) : h("span", { class: "field-thumb" }),
            h("span", {}, h("span", { class: "field-row-name" }, one.viewpoint || one.caption || "A picture"), h("span", { class: "how" }, `${one.when}${viewpoint?.is_mandatory ? "; wanted each visit" : ""}${done.has(one.id) ? "; repeated now ✓" : ""}`)),
          ),
        );
      }),
    );
    return items.length ? h("section", { class: "field-section" }, h("h2", {}, "To be taken again from the same place"), h("ul", { class: "field-list" }, items)) : "";
  }
}

// Asked once, in words, and changed as easily.
function position(app) {
  if (app.settings.position === null || app.settings.position === undefined) {
    return h(
      "div",
      { class: "notice notice-plain" },
      h("p", { class: "notice-word" }, "Keep where you stood with each photo?"),
      h("p", {}, "The phone’s position goes with the photo to the society. Visitors never see it."),
      h("p", { class: "actions" }, button("Yes, keep it", () => set(true), { class: "button button-quiet" }), button("No", () => set(false), { class: "button button-quiet" })),
    );
  }
  return check("Keep where I stood with each photo", app.settings.position, (value) => app.saveSettings({ position: value }));

  async function set(value) {
    await app.saveSettings({ position: value });
    app.show({ keepPlace: true });
  }
}

async function shot(walk, photo) {
  const { app, draft, pack, home } = walk;
  const kept = await app.store.blob(photo.client_id);
  const shown = kept?.small ?? (kept?.bytes.type === "image/jpeg" ? kept.bytes : null);
  const pins = [
    ["", "The bridge as a whole"],
    ...(pack?.elements ?? []).filter((one) => one.kind !== "joint").map((one) => [`element:${one.path}`, one.name]),
    ...(pack?.elements ?? []).filter((one) => one.kind === "joint").map((one) => [`element:${one.path}`, one.name]),
    ...(pack?.viewpoints ?? []).map((one) => [`viewpoint:${one.name}`, `Viewpoint: ${one.name}`]),
    ...(draft.viewpoints ?? []).map((one) => [`viewpoint:${one.name}`, `New viewpoint: ${one.name}`]),
    ["new", "A new viewpoint …"],
  ];
  const pin = photo.element ? `element:${photo.element}` : photo.viewpoint ? `viewpoint:${photo.viewpoint}` : "";
  let timer = 0;
  return h(
    "li",
    { class: "field-shot" },
    shown ? await pair(urlOf(shown)) : h("p", { class: "empty" }, "This phone cannot show it; it is kept as it is."),
    h("p", { class: "how" }, `${photo.name}, ${bytesSaid(photo.size_bytes)}${photo.latitude === undefined ? "" : `; position kept, within about ${photo.position_accuracy_m} m`}${photo.bearing_deg === undefined ? "" : `; looking ${Math.round(photo.bearing_deg)}°`}${photo.repeats ? "; taken again from the same place" : ""}`),
    field("Of what", choice(pin, pins, (value) => pinTo(value))),
    field("What it shows", textInput(photo.caption, (value) => {
      photo.caption = value;
      clearTimeout(timer);
      timer = setTimeout(() => app.saveDraft(draft), 250);
    }, { maxlength: "300" }), { optional: "if it needs words" }),
    button("Leave this photo out", leaveOut, { class: "button button-quiet" }),
  );

  // Of a picture taken again, then and now side by side: whether they meet is seen here.
  async function pair(src) {
    const picture = h("img", { src, alt: photo.caption || "The photo just taken" });
    const old = photo.repeats && (await earlier(app, draft, pack, photo.repeats));
    if (!old) return picture;
    const then = h("img", { src: old.src, alt: `As it was, ${old.when}` });
    return h("div", { class: "field-pair" }, h("figure", {}, then, h("figcaption", { class: "how" }, old.when)), h("figure", {}, picture, h("figcaption", { class: "how" }, "now")));
  }

  async function pinTo(value) {
    if (value === "new") return app.go(`${home}/viewpoint/${photo.client_id}`);
    const [kind, name] = [value.slice(0, value.indexOf(":")), value.slice(value.indexOf(":") + 1)];
    photo.element = kind === "element" ? name : "";
    photo.viewpoint = kind === "viewpoint" ? name : "";
    await app.saveDraft(draft);
    app.say("Pinned.");
  }

  // Two taps: the first asks.
  async function leaveOut(event) {
    const asked = event.target;
    if (!asked.dataset.asked) {
      asked.dataset.asked = "yes";
      asked.textContent = "Yes, throw it away";
      app.say("Tap once more to throw this photo away.");
      return;
    }
    draft.photos = draft.photos.filter((one) => one !== photo);
    await app.store.dropPhoto(draft, photo.client_id);
    app.show({ keepPlace: true });
  }
}

// #/visit/<id>/viewpoint/<photo>: a new camera station, written for a stranger.
export async function viewpoint(walk, [id]) {
  const { app, draft, home } = walk;
  const photo = draft.photos.find((one) => one.client_id === id);
  const begun = draft.viewpoint_begun?.[id];
  let timer = 0;
  const made = begun ?? { name: "", description: "", latitude: photo?.latitude ?? null, longitude: photo?.longitude ?? null, bearing_deg: photo?.bearing_deg ?? null };
  const bearing = textInput(made.bearing_deg ?? "", (value) => { made.bearing_deg = value.trim() === "" ? null : Number(value); later(); }, { inputmode: "decimal" });
  return {
    title: "A new viewpoint",
    back: [`${home}/photos`, "Photos"],
    body: [
      h("p", {}, "Write it for somebody who has never been there: they will stand there again."),
      field("Its name", textInput(made.name, (value) => { made.name = value; later(); }, { maxlength: "120" }), { help: "“Upstream elevation from the east bank”." }),
      field("Where to stand, and what lines up", textArea(made.description, (value) => { made.description = value; later(); }), { help: "A mark to stand at, and two things that line up, one near and one far." }),
      field("Looking towards, in degrees", bearing, { optional: "if you have a compass", help: "Compasses go wrong near steel: take it off a map where you can." }),
      made.latitude === null ? h("p", { class: "how" }, "No position was kept with this photo.") : h("p", { class: "how" }, `Position: ${made.latitude}, ${made.longitude}.`),
    ],
    bar: [button("Keep this viewpoint", keep, { class: "button button-wide" })],
  };

  // Half a viewpoint is kept too: the phone may ring.
  function later() {
    clearTimeout(timer);
    timer = setTimeout(() => {
      draft.viewpoint_begun = { ...draft.viewpoint_begun, [id]: made };
      app.saveDraft(draft);
    }, 250);
  }

  async function keep() {
    clearTimeout(timer);
    const name = made.name.trim();
    if (!name || (made.bearing_deg !== null && !(made.bearing_deg >= 0 && made.bearing_deg < 360))) {
      app.say(name ? "A bearing runs from 0 to below 360 degrees." : "Give it a name first.");
      document.querySelector(name ? "[inputmode=decimal]" : "main input").focus();
      return;
    }
    draft.viewpoints = [...(draft.viewpoints ?? []).filter((one) => one.name !== name), { ...made, name }];
    Object.assign(photo, { viewpoint: name, element: "" });
    delete draft.viewpoint_begun?.[id];
    await app.saveDraft(draft);
    app.go(`${home}/photos`);
  }
}
