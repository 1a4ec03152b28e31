// What one meets together: each with what was last seen and four answers.

import { button, drawingOf, h, svg } from "./dom.js";
import { earlier } from "./pictures.js";
import { CHANGED, NOT_SEEN, answerOf, closeGroup, looked, lookedSaid, setAnswer, takeBack, unanswered } from "./visit.js";

const SIGNS = { same: "✓", changed: "≠", gone: "×", "not-seen": "?" };
const WHY = ["too far off", "brush", "water", "not safe to go", "closed off", "covered over", "dark"];

export async function group(walk, [key, chosen = ""]) {
  const { app, draft, pack, elements, home } = walk;
  const index = pack.groups.findIndex((one) => one.key === key);
  const own = pack.groups[index];
  if (!own) return { title: "No such part", back: [home, "The walk round"], body: [] };
  const pictures = await picturesOf(walk, own);
  const count = h("p", { class: "field-progress", role: "status" });
  const plan = own.drawing ? drawing() : null;
  const rows = new Map(own.rows.map((path) => [path, row(elements.get(path))]));
  const bar = h("div", { class: "field-bar-in" });
  refresh();
  return {
    title: own.title,
    back: [home, "The walk round"],
    said: `${own.title}. ${lookedSaid(draft, own.rows)}.`,
    at: chosen ? idOf(chosen) : "",
    body: [
      count,
      plan ? h("div", { class: "field-drawing", tabindex: "0", role: "region", "aria-label": `Drawing of the ${own.title.toLowerCase()}: tap a bar or a joint` }, plan) : "",
      plan ? h("p", { class: "how" }, "Tap a bar, or a joint. ✓ same, ≠ changed, × gone, ? not seen.") : "",
      sections(),
    ],
    bar,
  };

  // Members stand under their roles, everything else in one list.
  function sections() {
    if (!own.line) return h("div", { class: "field-rows" }, [...rows.values()]);
    const roles = new Map();
    for (const path of own.rows) {
      const role = elements.get(path).role_title ?? "";
      if (!roles.has(role)) roles.set(role, []);
      roles.get(role).push(rows.get(path));
    }
    return [...roles].map(([role, members]) =>
      h("details", { class: "field-role", open: Boolean(chosen) && members.some((one) => one.id === idOf(chosen)) }, h("summary", {}, role || "Others", h("span", { class: "how" }, ` ${members.length}`)), members),
    );
  }

  function row(element) {
    const node = h("fieldset", { class: "field-element", id: idOf(element.path), tabindex: "-1" });
    fill(node, element);
    return node;
  }

  function fill(node, element) {
    const entry = draft.answers[element.path] ?? {};
    const picture = pictures.get(element.path);
    node.replaceChildren(
      h(
        "legend",
        {},
        h("span", { class: "log-name" }, element.title),
        h("span", { class: "log-last" }, ` ${element.last_words}`),
        element.last_seen ? h("span", { class: "how" }, `last seen ${element.last_seen}${element.certainty && element.certainty !== "sure" ? `, ${element.certainty === "guess" ? "a guess" : "probably"}` : ""}`) : "",
      ),
      picture ? h("img", { class: "field-thumb", src: picture.src, alt: `As it was in ${picture.when}: ${picture.caption}` }) : "",
      answers(element, entry, node),
      entry.answer === NOT_SEEN ? why(element, entry) : "",
      entry.answer ? h("a", { class: "field-more", href: editor(element) }, moreSaid(entry)) : "",
    );
  }

  function answers(element, entry, node) {
    return h(
      "div",
      { class: "field-answers" },
      element.answers.map(([value, words]) => {
        const made = button(
          [h("span", { class: "sign", "aria-hidden": "true" }, entry.answer === value ? SIGNS[value] : ""), h("span", {}, words)],
          () => choose(element, value, node),
          { class: `field-answer is-${value}`, "aria-pressed": String(entry.answer === value) },
        );
        made.setAttribute("aria-label", `${words}: ${element.title}`);
        return made;
      }),
    );
  }

  async function choose(element, value, node) {
    const entry = setAnswer(draft, element.path, value, element.base);
    await app.saveDraft(draft);
    if (entry.answer === CHANGED) {
      app.go(editor(element));
      return;
    }
    fill(node, element);
    node.querySelector(`.is-${value}`)?.focus({ preventScroll: true });
    refresh();
    app.say(`${element.title}: ${entry.answer ? entry.answer.replace("-", " ") : "taken back"}. ${lookedSaid(draft, own.rows)}.`);
  }

  function why(element, entry) {
    return h(
      "div",
      { class: "field-picks", role: "group", "aria-label": `Why ${element.title} could not be seen` },
      WHY.map((words) =>
        button(
          words,
          async (event) => {
            entry.reason = entry.reason === words ? "" : words;
            await app.saveDraft(draft);
            const node = event.target.closest("fieldset");
            fill(node, element);
            [...node.querySelectorAll(".field-picks button")].find((one) => one.textContent === words)?.focus();
          },
          { class: "field-pick", "aria-pressed": String(entry.reason === words) },
        ),
      ),
    );
  }

  function editor(element) {
    return `${home}/e/${encodeURIComponent(element.path)}`;
  }

  function refresh() {
    count.textContent = lookedSaid(draft, own.rows);
    if (plan) mark(plan);
    const open = unanswered(draft, own, elements);
    const next = pack.groups.slice(index + 1).find((one) => looked(draft, one.rows) < one.rows.length);
    const onward = next ? `${home}/g/${encodeURIComponent(next.key)}` : `${home}/finish`;
    bar.replaceChildren(
      open.length
        ? button(looked(draft, own.rows) ? `The other ${open.length} the same` : `All ${open.length} the same`, () => close(onward), { class: "button button-wide" })
        : h("a", { class: "button button-wide", href: onward }, next ? `On to: ${next.title}` : "Finish and save"),
      h(
        "div",
        { class: "field-bar-in field-bar-two" },
        open.length > 1 ? button("Some out of sight", () => hide(onward), { class: "button button-quiet" }) : "",
        h("a", { class: "button button-quiet", href: `${home}/photos` }, draft.photos.length ? `Photos, ${draft.photos.length}` : "Photos"),
      ),
    );
  }

  async function close(onward, outOfSight = new Set()) {
    const said = closeGroup(draft, own, elements, outOfSight);
    try {
      await app.saveDraft(draft);
    } catch (error) {
      takeBack(draft, said);
      throw error;
    }
    app.go(onward);
  }

  // Only what was in sight is the same: the rest is ticked off one by one.
  function hide(onward) {
    const open = unanswered(draft, own, elements);
    const hidden = new Set();
    const list = h(
      "ul",
      { class: "field-list field-checks" },
      open.map((path) => {
        const box = h("input", { type: "checkbox", onchange: () => (box.checked ? hidden.add(path) : hidden.delete(path)) });
        return h("li", {}, h("label", { class: "check-row" }, box, h("span", {}, elements.get(path).title)));
      }),
    );
    const heading = h("h2", { tabindex: "-1" }, "Tick what you could not see");
    document.getElementById("main").append(h("section", { class: "field-section" }, heading, list));
    heading.focus();
    heading.scrollIntoView();
    bar.replaceChildren(button("Record the rest as the same", () => close(onward, hidden), { class: "button button-wide" }));
  }

  // -- the drawing

  function drawing() {
    const plan = drawingOf(own.drawing);
    plan.addEventListener("click", (event) => {
      const bar = event.target.closest("a.bar");
      if (!bar) return;
      event.preventDefault();
      app.go(`${home}/e/${encodeURIComponent(bar.getAttribute("href").slice("#bar:".length))}/drawing`);
    });
    addJoints(plan);
    return plan;
  }

  function addJoints(plan) {
    const skeleton = pack.skeletons[own.line.split("/")[0]];
    const circles = plan.querySelectorAll("circle[r='5']");
    Object.keys(skeleton?.joints ?? {}).forEach((name, at) => {
      const path = `${own.line}/${name}`;
      if (!circles[at] || !elements.has(path)) return;
      const joint = svg("a", { href: `#bar:${path}`, class: "bar joint", "aria-label": `joint ${name}`, "data-joint": name });
      joint.append(
        svg("circle", { cx: circles[at].getAttribute("cx"), cy: circles[at].getAttribute("cy"), r: 13, fill: "#000", "fill-opacity": 0 }),
      );
      plan.append(joint);
    });
  }

  function mark(plan) {
    plan.querySelector("[data-marks]")?.remove();
    const marks = svg("g", { "data-marks": "", "aria-hidden": "true", "pointer-events": "none" });
    for (const bar of plan.querySelectorAll("a.bar")) {
      const path = bar.getAttribute("href").slice("#bar:".length);
      const answer = answerOf(draft, path);
      bar.classList.toggle("is-answered", Boolean(answer));
      const at = middleOf(bar);
      if (!answer || !at) continue;
      marks.append(
        svg("circle", { cx: at[0], cy: at[1], r: 9, class: `mark-${answer}`, "stroke-width": 1.5 }),
        svg("text", { x: at[0], y: at[1] + 5, "text-anchor": "middle", "font-size": 14, "font-weight": 700, class: `mark-word-${answer}` }, SIGNS[answer] ?? ""),
      );
    }
    plan.append(marks);
  }
}

// The middle of a bar's tap line, or of a joint's circle, in the drawing's own units.
function middleOf(bar) {
  const circle = bar.matches(".joint") && bar.querySelector("circle");
  if (circle) return [Number(circle.getAttribute("cx")), Number(circle.getAttribute("cy"))];
  const numbers = bar.querySelector(".tap")?.getAttribute("d")?.match(/-?\d+(?:\.\d+)?/g)?.map(Number);
  return numbers?.length === 4 ? [(numbers[0] + numbers[2]) / 2, (numbers[1] + numbers[3]) / 2] : null;
}

function moreSaid(entry) {
  if (entry.answer === CHANGED) return "What it is now";
  return entry.note || entry.marks || entry.certainty ? "What you wrote of it" : "A note, a mark, a question";
}

export function idOf(path) {
  return `at-${path.replaceAll("/", "-")}`;
}

async function picturesOf({ app, draft, pack, elements }, own) {
  const found = new Map();
  for (const path of own.rows) {
    const { picture } = elements.get(path);
    const kept = picture && (await earlier(app, draft, pack, picture));
    if (kept) found.set(path, kept);
  }
  return found;
}
