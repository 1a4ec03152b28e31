// Pictures from the camera or the library, made safe on this phone at once. An edge.

import { whereNow } from "./position.js";

// Reads files into the visit, one after the other; returns [{ name, why }] of those
// that could not be kept. facts: what each is pinned to.
export async function addFiles({ app, draft, files, facts }) {
  const refused = [];
  const added = [];
  const most = app.rules?.most_photo_bytes ?? 40 * 1024 * 1024;
  const room = (app.rules?.most_photos ?? 60) - draft.photos.length;
  const where = app.settings.position ? whereNow({ wait: 20_000, fresh: 120_000 }) : null;
  for (const [index, file] of [...files].entries()) {
    const why = await refusal(app, file, { most, room: room - index });
    if (why) {
      refused.push({ name: file.name, why });
      continue;
    }
    try {
      added.push(await addOne({ app, draft, file, facts }));
    } catch (error) {
      refused.push({ name: file.name, why: `It could not be kept: ${error?.message ?? error}.` });
    }
  }
  // A position may take a while; the pictures are safe before it comes.
  where?.then((here) => here && place(app, draft, added, here)).catch(() => {});
  return refused;
}

async function place(app, draft, added, here) {
  for (const photo of added) {
    Object.assign(photo, {
      latitude: here.latitude,
      longitude: here.longitude,
      position_accuracy_m: here.accuracy,
      position_source: "device",
    });
  }
  if (await app.store.draft(draft.client_id)) await app.saveDraft(draft);
}

async function refusal(app, file, { most, room }) {
  if (room <= 0) return "A visit takes no more photos. Save this one and begin another.";
  if (!file.size) return "It is empty.";
  if (file.size > most) {
    return `It has ${Math.round(file.size / 1e6)} MB, and at most ${Math.floor(most / 1e6)} MB can be sent. It stays in your library; send a smaller copy.`;
  }
  const { level } = await app.space(file.size);
  return level === "full" ? "This phone has no room for it." : "";
}

async function addOne({ app, draft, file, facts }) {
  // The bytes, not the file: a file may become unreadable when its source goes away.
  const buffer = await file.arrayBuffer();
  const bytes = new Blob([buffer], { type: file.type || "image/jpeg" });
  const photo = {
    client_id: crypto.randomUUID(),
    name: file.name || "photo.jpg",
    size_bytes: bytes.size,
    sha256: await sha256(buffer),
    credit: app.owner?.credit ?? "",
    ...facts,
  };
  const small = await previewOf(bytes);
  draft.photos.push(photo);
  try {
    await app.store.addPhoto(draft, { client_id: photo.client_id, bytes, small });
  } catch (error) {
    draft.photos = draft.photos.filter((one) => one !== photo);
    throw error;
  }
  return photo;
}

async function sha256(buffer) {
  const hash = await crypto.subtle.digest("SHA-256", buffer);
  return [...new Uint8Array(hash)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

const PREVIEW_PX = 480;

// A small picture to show; null where this browser cannot read the format (HEIC).
async function previewOf(bytes) {
  try {
    const picture = await createImageBitmap(bytes);
    const scale = Math.min(1, PREVIEW_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    return await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.75));
  } catch {
    return null;
  }
}
