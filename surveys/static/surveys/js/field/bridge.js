// Arriving at a bridge: what is asked, how to be careful, and beginning a visit.

import { button, choice, field, h, notice, textArea, textInput } from "./dom.js";
import { signIn } from "./home.js";
import { groupsToBegin } from "./parts.js";
import { draftFrom, newDraft } from "./visit.js";
import { bytesSaid, dayOf } from "./words.js";

const ACCESS = ["public road", "public footpath or bank", "owner's permission, written", "owner's permission, spoken"];

export async function bridge(app, [slug]) {
  const owner = app.owner;
  const kept = owner && (await app.store.pack(owner.user_id, slug));
  if (!kept) return notTaken(app, slug);
  const pack = kept.bridge;
  const drafts = (await app.store.drafts()).filter((one) => one.slug === slug && one.owner === owner.user_id);
  const questions = ((await app.store.fact(`questions-${owner.user_id}`)) ?? []).filter((one) => one.bridge === slug);
  const today = dayOf(new Date());
  const facts = { date: today, people: app.settings.people || owner.credit || owner.username, access: app.settings.access || ACCESS[0] };
  return {
    title: pack.name,
    back: ["#/", "Bridges with you"],
    said: `${pack.name}. Begin a visit, or see what is asked.`,
    body: [
      h("p", { class: "lede" }, `${pack.road} over ${pack.crossing}`),
      h("p", { class: "how" }, `${pack.number}, ${pack.place}. ${pack.status}. Last visit ${pack.last_visit || "none"}; taken ${app.age(kept.taken_at)}, ${bytesSaid(kept.bytes)}.`),
      await careful(app, pack, today),
      await Promise.all(questions.map((one) => asked(app, one, pack))),
      measure(pack),
      drafts.map((one) =>
        notice(
          "question",
          `A visit of ${one.date} is not finished`,
          h("p", {}, h("a", { class: "button button-quiet", href: `#/visit/${one.client_id}` }, "Go on with it")),
        ),
      ),
      details(facts),
      h("section", { class: "field-section" }, h("h2", {}, "The walk round"), groupsToBegin(pack, (key) => beginAt(key))),
      h(
        "p",
        { class: "actions" },
        button("Take it afresh", () => app.go(`#/take/${slug}`), { class: "button button-quiet" }),
        button("Leave it behind", () => leave(app, slug, pack), { class: "button button-quiet" }),
      ),
    ],
    bar: h("div", { class: "field-bar-in field-bar-two" }, toBegin(app, pack, facts, todays(drafts, facts))),
  };

  // What was begun today is gone on with: nobody means to log one visit as two.
  function beginAt(key) {
    const step = `/g/${encodeURIComponent(key)}`;
    const mine = todays(drafts, facts);
    return mine ? app.go(`#/visit/${mine.client_id}${step}`) : begin(app, pack, facts, step);
  }
}

function todays(drafts, { date }) {
  return drafts.find((one) => one.date === date);
}

function notTaken(app, slug) {
  return {
    title: "Not taken along",
    back: ["#/", "Bridges with you"],
    body: [
      h("p", {}, "This bridge is not on this phone, or was taken along under another name."),
      h(
        "p",
        { class: "actions" },
        app.owner && app.signedIn !== false
          ? h("a", { class: "button", href: `#/take/${slug}` }, "Take it along now")
          : h("a", { class: "button", href: signIn() }, "Sign in"),
      ),
    ],
  };
}

// Once a day, on arrival, and in one breath.
async function careful(app, pack, today) {
  const closed = pack.is_closed
    ? h("p", {}, h("strong", {}, "This bridge is closed. "), "Do not go onto it: record what can be seen from where anyone may stand.")
    : "";
  const access = pack.access_notes ? h("p", {}, pack.access_notes) : "";
  const seen = await app.store.fact("careful");
  if (seen === today && !closed && !access) return "";
  await app.store.setFact("careful", today);
  const words =
    seen === today
      ? ""
      : h("p", {}, "Stay on public ground or where the owner lets you. Keep out of the traffic, the water and from under a loose deck; do not climb. Two people are better than one. What cannot be reached safely is worth recording as such.");
  return h("div", { class: "notice notice-caution" }, h("p", { class: "notice-word" }, "Before you go near"), closed, words, access);
}

// What a reviewer asks: answered in words here, or by saying it all anew.
async function asked(app, one, pack) {
  // What is typed is on the disk a breath later, as everything here.
  const words = (await app.store.fact(begun(one))) ?? {};
  let timer = 0;
  const rows = [
    ...(one.question ? [{ key: "", about: "the whole visit", question: one.question }] : []),
    ...one.observations.map(({ id, name, question }) => ({ key: id, about: name, question })),
  ];
  return h(
    "div",
    { class: "notice notice-question" },
    h("p", { class: "notice-word" }, `A reviewer asks about your visit of ${one.date}`),
    rows.map(({ key, about, question }) =>
      field(`${question}`, textArea(words[key] ?? "", (value) => keep(key, value)), { help: `About ${about}.` }),
    ),
    h(
      "p",
      { class: "actions" },
      button("Answer in these words", () => send(), { class: "button button-quiet" }),
      button("Correct what I sent", () => answer(app, one, pack), { class: "button button-quiet" }),
    ),
  );

  function keep(key, value) {
    words[key] = value;
    clearTimeout(timer);
    timer = setTimeout(() => app.store.setFact(begun(one), words), 250);
  }

  function send() {
    clearTimeout(timer);
    return reply(app, one, words);
  }
}

function begun(question) {
  return `reply-${question.visit}`;
}

async function reply(app, question, words) {
  const { "": text = "", ...rest } = words;
  const answers = Object.entries(rest)
    .filter(([, said]) => said.trim())
    .map(([id, said]) => ({ observation: Number(id), text: said.trim() }));
  if (!text.trim() && !answers.length) {
    app.say("Write an answer first.");
    return;
  }
  const id = crypto.randomUUID();
  const payload = { client_id: id, answers };
  if (text.trim()) payload.text = text.trim();
  await app.store.queue({
    client_id: id,
    kind: "reply",
    visit: question.visit,
    owner: app.owner.user_id,
    owner_name: app.owner.username,
    bridge_name: question.bridge_name,
    date: question.date,
    payload,
    photos: [],
    queued_at: Date.now(),
    state: "waiting",
    message: "",
    errors: [],
  });
  const name = `questions-${app.owner.user_id}`;
  const left = ((await app.store.fact(name)) ?? []).filter((one) => one.visit !== question.visit);
  await app.store.setFact(name, left);
  await app.store.setFact(begun(question), null);
  app.go("#/outbox");
  app.say("Your answer is saved on this phone, and is sent as soon as there is a signal.");
  app.send();
}

async function answer(app, question, pack) {
  const draft = draftFrom({
    question,
    id: crypto.randomUUID(),
    owner: app.owner.user_id,
    ownerName: app.owner.username,
    pack,
    now: Date.now(),
  });
  await app.saveDraft(draft);
  app.go(`#/visit/${draft.client_id}`);
}

function measure(pack) {
  if (!pack.measure_next?.length) return "";
  return h(
    "section",
    { class: "field-section" },
    h("h2", {}, "What to measure, most useful first"),
    h("ol", { class: "field-measure" }, pack.measure_next.map((one) => h("li", {}, one.words))),
  );
}

function details(facts) {
  return h(
    "details",
    { class: "field-details" },
    h("summary", {}, h("span", { "data-facts": "" }, said(facts)), h("span", { class: "field-change" }, " Change")),
    field("Date", textInput(facts.date, keep("date"), { inputmode: "numeric", autocomplete: "off" }), {
      help: "As 2019-06-02; add ~ where it is about then.",
    }),
    field("Who is there", textInput(facts.people, keep("people"), { autocomplete: "name", maxlength: "300" })),
    field("How you got to it", choice(facts.access, ACCESS.map((one) => [one, one]), keep("access"))),
  );

  function keep(name) {
    return (value) => {
      facts[name] = value;
      document.querySelector("[data-facts]").textContent = said(facts);
    };
  }
}

function said({ date, people, access }) {
  return [date, people || "nobody named", access].join("; ");
}

// One tap where nothing has changed, and one to go on with what was begun today.
function toBegin(app, pack, facts, mine) {
  const start = () => begin(app, pack, facts);
  if (mine) {
    return [
      button("Begin another visit", start, { class: "button button-quiet" }),
      h("a", { class: "button", href: `#/visit/${mine.client_id}` }, "Go on with today’s"),
    ];
  }
  return [
    button("Nothing has changed", () => begin(app, pack, facts, "/same"), { class: "button button-quiet" }),
    button("Begin the visit", start),
  ];
}

// step: where in the visit to go to.
async function begin(app, pack, facts, step = "") {
  const draft = newDraft({
    id: crypto.randomUUID(),
    owner: app.owner.user_id,
    ownerName: app.owner.username,
    pack,
    now: Date.now(),
    ...facts,
  });
  await app.saveDraft(draft);
  await app.saveSettings({ people: facts.people, access: facts.access });
  await app.count();
  app.go(`#/visit/${draft.client_id}${step}`);
}

async function leave(app, slug, pack) {
  await app.store.dropPack(app.owner.user_id, slug);
  app.say(`${pack.name} is left behind. Visits you logged of it are kept.`);
  app.go("#/");
}
