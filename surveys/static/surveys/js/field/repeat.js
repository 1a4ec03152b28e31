// Repeat photography: the old picture laid over the live camera until they meet; where
// there is no live camera, the old picture stands beside with what to line up.

import { button, h, notice, svg } from "./dom.js";
import { earlier } from "./pictures.js";
import { headingNow, whereNow } from "./position.js";
import { addFiles } from "./shots.js";
import { bearingTo, compassSaid, dayOf, distanceSaid, metresBetween, takenNow } from "./words.js";

const STRENGTHS = [0, 0.25, 0.5, 0.75];

export async function repeat(walk, [id]) {
  const { app, draft, pack, home } = walk;
  const old = await earlier(app, draft, pack, id);
  const facts = pack?.pictures.find((one) => one.id === id);
  if (!facts) return { title: "That picture is not on this phone", back: [`${home}/photos`, "Photos"], body: [] };
  const station = pack.viewpoints.find((one) => one.name === facts.viewpoint);
  const bearing = facts.bearing_deg ?? station?.bearing_deg ?? null;
  const stage = h("div", { class: "field-stage" });
  const status = h("p", { role: "status", class: "how" });
  const video = h("video", { playsinline: true, muted: true, "aria-label": "What the camera sees" });
  const over = old ? h("img", { class: "field-over", src: old.src, alt: "" }) : "";
  const lines = h("li", { hidden: true }, "Switch on the grid of your camera. What the lines cross in this picture, they cross in yours.");
  const strengths = old ? strength() : notice("question", "The old picture is not on this phone", "Take the bridge along again with a signal to have it.");
  const instead = h("p", { class: "actions" }, fromFile("Use the phone’s own camera"), fromFile("Choose one taken already", true));
  const bar = h("div", { class: "field-bar-in" });
  const shutter = button("Take it", shoot, { class: "button button-wide", disabled: true });
  let stream = null;
  let left = false;
  bar.append(shutter);
  return {
    title: facts.viewpoint || facts.caption || "The same picture again",
    back: [`${home}/photos`, "Photos"],
    said: `Take it again: ${facts.viewpoint || facts.caption}.`,
    body: [
      hints(),
      stage,
      status,
      strengths,
      instead,
    ],
    bar,
    shown: start,
    leave: stop,
  };

  function hints() {
    const rows = [
      station?.description,
      bearing === null ? "" : `Looking ${compassSaid(bearing)}, ${Math.round(bearing)}°.`,
      "Line up one thing near with one far, left and right, before you take it. Hold it level, no zoom.",
    ].filter(Boolean);
    const far = h("li", { hidden: true });
    if (station?.latitude !== null && station?.latitude !== undefined && app.settings.position) {
      whereNow({ wait: 10_000 }).then((here) => {
        if (!here) return;
        const metres = metresBetween(here, station);
        far.hidden = false;
        far.textContent = metres < here.accuracy ? `You are there, within about ${here.accuracy} m.` : `${distanceSaid(metres)} ${compassSaid(bearingTo(here, station))} of you, within about ${here.accuracy} m.`;
      });
    }
    return h("ul", { class: "field-hints" }, rows.map((one) => h("li", {}, one)), lines, far);
  }

  async function start() {
    if (!navigator.mediaDevices?.getUserMedia) return beside("This browser gives no live camera.");
    try {
      const found = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" }, width: { ideal: 4096 }, height: { ideal: 3072 } }, audio: false });
      if (left) return found.getTracks().forEach((track) => track.stop());
      stream = found;
      video.srcObject = stream;
      await video.play();
      stage.replaceChildren(video, over);
      show(0.5);
      shutter.disabled = false;
      status.textContent = "The old picture lies over what the camera sees.";
    } catch {
      beside("The live camera cannot be used here.");
    }
    return null;
  }

  // The old picture beside: looked at, and matched by eye in the phone's own camera.
  function beside(why) {
    if (left) return;
    if (old) {
      stage.replaceChildren(h("div", { class: "field-gridded" }, h("img", { class: "field-beside", src: old.src, alt: `As it was, ${facts.when}: ${facts.caption}` }), thirds()));
      strengths.hidden = true;
      lines.hidden = false;
    } else stage.hidden = true;
    status.textContent = `${why} ${old ? "Look at the old picture, then take" : "Take"} it with the phone’s own camera.`;
    instead.hidden = true;
    bar.replaceChildren(fromFile("Take it with the phone’s camera", false, "button button-wide"), fromFile("Choose one taken already", true));
  }

  // Thirds, as the cameras of phones draw them.
  function thirds() {
    const grid = svg("svg", { viewBox: "0 0 3 3", preserveAspectRatio: "none", "aria-hidden": "true" });
    for (const width of [3, 1]) {
      grid.append(svg("path", { d: "M1 0V3M2 0V3M0 1H3M0 2H3", fill: "none", stroke: width === 3 ? "#000" : "#fff", "stroke-width": width, "stroke-opacity": width === 3 ? 0.45 : 1, "vector-effect": "non-scaling-stroke" }));
    }
    return grid;
  }

  function strength() {
    const slider = h("input", { type: "range", min: "0", max: "100", value: "50", id: "strength", oninput: () => show(slider.value / 100) });
    return h(
      "div",
      { class: "field-strength" },
      h("label", { for: "strength" }, "How strongly the old picture shows"),
      slider,
      // Taps do what the slider does by dragging.
      h("div", { class: "field-picks" }, STRENGTHS.map((part) => button(part ? `${part * 100}%` : "Camera only", () => { slider.value = part * 100; show(part); }, { class: "field-pick" }))),
    );
  }

  function show(part) {
    if (over) over.style.opacity = String(part);
  }

  async function shoot() {
    shutter.disabled = true;
    const heading = bearing === null && app.settings.position ? headingNow() : null;
    const file = await frame();
    await keep([file], { ...takenNow(), heading: await heading });
  }

  // A still at the camera's full size where the browser gives one, else the frame shown.
  async function frame() {
    const [track] = stream.getVideoTracks();
    const direction = dayOf(new Date());
    try {
      if ("ImageCapture" in globalThis) {
        const blob = await new ImageCapture(track).takePhoto();
        return new File([blob], `repeat-${direction}.jpg`, { type: blob.type || "image/jpeg" });
      }
    } catch {
      // Some cameras give no stills; the frame that is shown is one.
    }
    const canvas = document.createElement("canvas");
    canvas.width = video.videoWidth;
    canvas.height = video.videoHeight;
    canvas.getContext("2d").drawImage(video, 0, 0);
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.92));
    return new File([blob], `repeat-${direction}.jpg`, { type: "image/jpeg" });
  }

  function fromFile(words, isLibrary = false, look = "button button-quiet") {
    const input = h("input", { type: "file", accept: "image/*", class: "field-file", capture: isLibrary ? false : "environment", onchange: () => input.files.length && keep(input.files, isLibrary ? {} : takenNow()) });
    return h("label", { class: look }, input, h("span", {}, words));
  }

  async function keep(files, { heading = null, ...when }) {
    const made = {
      repeats: id,
      viewpoint: facts.viewpoint || "",
      element: facts.element || "",
      caption: facts.viewpoint ? "" : facts.caption,
      ...when,
    };
    // What the station says of the direction, not what a compass near steel would.
    if (bearing !== null) made.bearing_deg = bearing;
    else if (heading !== null) made.bearing_deg = heading;
    const refused = await addFiles({ app, draft, files, facts: made });
    if (refused.length) {
      status.replaceChildren(notice("caution", refused[0].name, refused[0].why));
      shutter.disabled = !stream;
      return;
    }
    app.go(`${home}/photos`);
    app.say("Taken again. The two stand as a pair.");
  }

  function stop() {
    left = true;
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
  }
}
