// A vehicle driven across the truss on the page, with the forces following, and the
// influence line of the bar that is chosen. Without this file the page shows one place.

import { forcesUnder, jointLoads, stops, usedPart } from "./statics.js";

const NOTHING = 0.05;
const WHEEL = 8;
const BODY = 17;
const LINE_HEIGHT = 46;
const SECONDS_ACROSS = 9;
const WORDS = { tension: "pulled", compression: "pushed" };

const data = JSON.parse(document.getElementById("drive-data").textContent);
const box = document.querySelector("[data-drive]");
const svg = box.querySelector("[data-stage]");
const controls = box.querySelector("[data-controls]");
const part = (name) => box.querySelector(`[data-${name}]`);
const place = part("place");
const { truss } = data;
const still = matchMedia("(prefers-reduced-motion: reduce)");

const left = Number(svg.dataset.left);
const scale = Number(svg.dataset.scale);
const side = Number(svg.dataset.side);
const base = Number(svg.dataset.base);
const px = (feet) => side + (feet - left) * scale;
const feet = (at) => left + (at - side) / scale;

const bars = new Map();
for (const group of svg.querySelectorAll("[data-bar]")) {
  const label = svg.querySelector(`[data-label="${CSS.escape(group.dataset.bar)}"]`);
  bars.set(group.dataset.bar, { group, label });
}
const deck = svg
  .querySelector(".deck")
  .getAttribute("d")
  .slice(1)
  .split("L")
  .slice(1, -1)
  .map((pair) => pair.split(" ").map(Number));

const state = { ...data.start, timer: 0 };
const vehicle = () => data.vehicles[state.vehicle];
const number = (value, places = 1) => Math.abs(value).toFixed(places);
function signed(value, places = 1) {
  const text = number(value, places);
  if (Number(text) === 0) return text;
  return `${value > 0 ? "+" : "−"}${text}`;
}

function deckY(x) {
  if (x <= deck[0][0]) return deck[0][1];
  for (let i = 1; i < deck.length; i += 1) {
    const [ax, ay] = deck[i - 1];
    const [bx, by] = deck[i];
    if (x <= bx) return ay + ((by - ay) * (x - ax)) / (bx - ax || 1);
  }
  return deck[deck.length - 1][1];
}

function element(name, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function actionOf(kip, isSlack) {
  if (isSlack) return "slack";
  if (Math.abs(kip) < NOTHING) return "zero";
  return kip > 0 ? "tension" : "compression";
}

function breadthOf(kip, action) {
  const share = data.mostKip ? Math.min(Math.abs(kip) / data.mostKip, 1) : 0;
  if (action === "compression") return 5 + 8 * share;
  if (action === "tension") return 1.6 + 5.5 * share;
  return 2;
}

function drawBars(force, slack) {
  truss.names.forEach((name, m) => {
    const bar = bars.get(name);
    if (!bar) return;
    const kip = force ? force[m] : 0;
    const action = actionOf(kip, slack.includes(m));
    const breadth = breadthOf(kip, action);
    const chosen = name === state.chosen ? " is-chosen" : "";
    bar.group.setAttribute("class", `stage-bar is-${action}${chosen}`);
    bar.group.children[1].setAttribute("stroke-width", breadth.toFixed(2));
    bar.group.children[2].setAttribute(
      "stroke-width",
      Math.max(breadth * 0.42, 1.8).toFixed(2),
    );
    bar.label.textContent = Math.abs(kip) < NOTHING ? "" : signed(kip);
  });
}

function drawVehicle(places) {
  const xs = places.map(px);
  const from = Math.min(...xs) - 13;
  const to = Math.max(...xs) + 13;
  const top = Math.min(...xs.map(deckY)) - 2 * WHEEL - BODY;
  const nose = state.heading > 0 ? to : from;
  const slant = BODY / 2 - 3;
  const h = state.heading;
  part("vehicle").replaceChildren(
    element("rect", {
      class: "body", x: from, y: top, width: to - from, height: BODY, rx: 3,
      "stroke-width": 1.6,
    }),
    element("path", {
      class: "nose", d: `M${nose} ${top + 3}l${9 * h} ${slant}l${-9 * h} ${slant}z`,
    }),
    ...xs.map((x) =>
      element("circle", {
        class: "wheel", cx: x, cy: deckY(x) - WHEEL, r: WHEEL - 1, "stroke-width": 1.6,
      }),
    ),
  );
}

function drawLine() {
  const line = truss.line[truss.names.indexOf(state.chosen)];
  const most = Math.max(...line.map(Math.abs));
  const unit = most > 1e-9 ? LINE_HEIGHT / most : 0;
  const first = deck[0][0];
  const last = deck[deck.length - 1][0];
  const shape = line.map((value, i) => `L${deck[i][0]} ${base - value * unit}`).join("");
  const texts = line.flatMap((value, i) => {
    if (Math.abs(value) <= 0.005) return [];
    const y = base - value * unit + (value > 0 ? -7 : 17);
    const text = element("text", {
      x: deck[i][0], y, "text-anchor": "middle", "font-size": 13,
    });
    text.textContent = signed(value, 2);
    return [text];
  });
  part("line").replaceChildren(
    element("path", {
      class: "line-area", d: `M${first} ${base}${shape}L${last} ${base}Z`,
      "stroke-width": 1.8,
    }),
    element("path", { class: "line-base", d: `M${first} ${base}H${last}`, "stroke-width": 1 }),
    ...texts,
  );
  const pick = line.reduce((a, v, i) => (Math.abs(v) > Math.abs(line[a]) ? i : a), 0);
  part("chosen").textContent = state.chosen;
  part("line-words").textContent =
    most < 1e-6
      ? `No load on the deck does anything to ${state.chosen} as the truss stands.`
      : `A ton on the floor at ${truss.joints[pick]} ` +
        `${line[pick] > 0 ? "pulls" : "pushes"} ${state.chosen} ` +
        `with ${number(line[pick], 2)} tons.`;
}

function said(settled) {
  const gone = Math.round(state.front - truss.x[0]);
  const at = `${Math.abs(gone)} ft ${gone < 0 ? "short of" : "from"} ${truss.joints[0]}`;
  const who = `one ${state.vehicle} vehicle of ${vehicle().tons} tons`;
  part("place-words").textContent = `${who}, its front axle ${at},`;
  if (!settled) {
    return "With the vehicle here no set of taut rods carries the load: the truss, as " +
      "recorded, could not stand under it.";
  }
  const { force, slack } = settled;
  const load = jointLoads(settled.places, vehicle().kip, truss.x);
  const isOn = load.some((one) => one > 0);
  const used = force.map((kip, m) => usedPart(kip, data.limits[m]) ?? 0);
  const most = used.reduce((a, v, m) => (v > used[a] ? m : a), 0);
  const m = truss.names.indexOf(state.chosen);
  const action = WORDS[actionOf(force[m], slack.includes(m))];
  const own = action
    ? `${state.chosen} is ${action} with ${number(force[m])} kip`
    : `${state.chosen} carries nothing`;
  const idle = slack.map((one) => truss.names[one]);
  const rods = idle.length ? ` Slack: ${idle.join(", ")}.` : "";
  const where = isOn ? "" : " The vehicle is off the span.";
  const hardest = used[most]
    ? ` Hardest worked: ${truss.names[most]}, at ${Math.round(100 * used[most])}% of its allowable.`
    : "";
  return `${own}.${hardest}${rods}${where}`;
}

let held = null;
let speaking = 0;
function show() {
  const settled = forcesUnder(truss, vehicle(), state.front, state.heading);
  drawBars(settled && settled.force, settled ? settled.slack : []);
  drawVehicle(vehicle().behind.map((one) => state.front - state.heading * one));
  place.value = state.front;
  const words = said(settled);
  place.setAttribute("aria-valuetext", `${Math.round(state.front - truss.x[0])} feet`);
  part("now").textContent = words;
  // Spoken once the vehicle stands still, so that no step of a drag talks over another.
  clearTimeout(speaking);
  speaking = setTimeout(() => {
    part("spoken").textContent = words;
  }, 600);
}

function bounds() {
  const long = Math.max(...vehicle().behind);
  const first = truss.x[0];
  const last = truss.x[truss.x.length - 1];
  return state.heading > 0 ? [first, last + long] : [first - long, last];
}

// On a narrow screen the drawing scrolls after the vehicle.
const scroller = svg.parentElement;
function follow() {
  const spare = scroller.scrollWidth - scroller.clientWidth;
  if (spare <= 0) return;
  const middle = vehicle().behind.reduce(
    (sum, one) => sum + state.front - state.heading * one,
    0,
  ) / vehicle().behind.length;
  const size = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
  scroller.scrollLeft = px(middle) * size - scroller.clientWidth / 2;
}

function limit() {
  const [least, most] = bounds();
  place.min = least;
  place.max = most;
  state.front = Math.min(Math.max(state.front, least), most);
}

function go(front) {
  state.front = front;
  limit();
  show();
  if (held === null) follow();
}

function stop() {
  cancelAnimationFrame(state.timer);
  clearTimeout(state.timer);
  state.timer = 0;
  part("across").textContent = "Drive across";
}

function step(by) {
  const every = stops(truss, vehicle(), 1 * state.heading).sort((a, b) => a - b);
  const next = by > 0
    ? every.find((one) => one > state.front + 1e-6)
    : every.reverse().find((one) => one < state.front - 1e-6);
  if (next !== undefined) go(next);
}

// Smooth, or, for who asked for less motion, from one stop to the next.
function drive() {
  const [least, most] = bounds();
  const from = state.heading > 0 ? least : most;
  part("across").textContent = "Stop";
  if (still.matches) {
    const every = stops(truss, vehicle(), state.heading);
    const walk = (i) => {
      if (i >= every.length) return stop();
      go(every[i]);
      state.timer = setTimeout(walk, 900, i + 1);
      return undefined;
    };
    walk(0);
    return;
  }
  const begun = performance.now();
  const frame = (now) => {
    const part_ = Math.min((now - begun) / (1000 * SECONDS_ACROSS), 1);
    go(from + state.heading * part_ * (most - least));
    if (part_ < 1) state.timer = requestAnimationFrame(frame);
    else stop();
  };
  state.timer = requestAnimationFrame(frame);
}

function choose(name) {
  if (!bars.has(name)) return;
  state.chosen = name;
  part("member").value = name;
  drawLine();
  show();
}

// The vehicle is taken hold of, or a place on the deck is pointed at.
function at(event) {
  const point = new DOMPoint(event.clientX, event.clientY);
  return feet(point.matrixTransform(svg.getScreenCTM().inverse()).x);
}
part("vehicle").addEventListener("pointerdown", (event) => {
  stop();
  held = at(event) - state.front;
  part("vehicle").setPointerCapture(event.pointerId);
  event.preventDefault();
});
part("vehicle").addEventListener("pointermove", (event) => {
  if (held !== null) go(at(event) - held);
});
for (const end of ["pointerup", "pointercancel"]) {
  part("vehicle").addEventListener(end, () => {
    held = null;
  });
}

for (const [name, { group }] of bars) {
  group.addEventListener("click", () => choose(name));
}
// A bar chosen in the other drawing, or in the table, is chosen here too.
for (const bar of document.querySelectorAll("a.bar[data-bar]")) {
  bar.addEventListener("click", () => choose(bar.dataset.bar));
}
for (const link of document.querySelectorAll("a[data-line-of]")) {
  link.addEventListener("click", (event) => {
    event.preventDefault();
    choose(link.dataset.lineOf);
    box.scrollIntoView({ behavior: still.matches ? "auto" : "smooth" });
    part("member").focus({ preventScroll: true });
  });
}
place.addEventListener("input", () => {
  stop();
  go(Number(place.value));
});
part("back").addEventListener("click", () => {
  stop();
  step(-1);
});
part("on").addEventListener("click", () => {
  stop();
  step(1);
});
part("across").addEventListener("click", () => {
  if (state.timer) stop();
  else drive();
});
part("which").addEventListener("change", (event) => {
  stop();
  state.vehicle = event.target.value;
  go(state.front);
});
part("turn").addEventListener("click", () => {
  stop();
  const behind = Math.max(...vehicle().behind);
  // Turned about its middle, so that it stays where it was.
  state.front -= state.heading * behind;
  state.heading = -state.heading;
  go(state.front);
});
part("member").addEventListener("change", (event) => choose(event.target.value));

controls.hidden = false;
svg.classList.add("is-live");
go(state.front);
