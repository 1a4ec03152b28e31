// Niceties of the visit form, which works without them: counts as one goes, a draft
// on the phone, more pieces and photos, the phone's position.
import { lookedAt, said } from "./counts.js";
import * as drafts from "./drafts.js";

const form = document.querySelector("form[data-log]");
if (form) start(form);

const sent = document.querySelector("[data-sent]");
if (sent) {
  const { slug, clientId } = sent.dataset;
  drafts.forgetSent({ storage: localStorage, slug, clientId, now: Date.now() });
}

function start(form) {
  const slug = form.dataset.log;
  let isLeavingToSend = false;
  let isTouched = false;

  offerDraft(form, slug);
  count(form);
  form.addEventListener("change", () => {
    isTouched = true;
    count(form);
    keep(form, slug);
  });
  form.addEventListener("input", debounced(() => keep(form, slug), 600));
  form.addEventListener("click", takeBack);
  form.addEventListener("submit", (event) => {
    isLeavingToSend = true;
    keep(form, slug);
    freshToken(form);
    if (event.submitter) event.submitter.setAttribute("aria-busy", "true");
  });
  addEventListener("beforeunload", (event) => {
    if (isTouched && !isLeavingToSend) event.preventDefault();
  });
  // A page that comes back from the browser's memory is being written in again.
  addEventListener("pageshow", () => {
    isLeavingToSend = false;
  });
  form.querySelectorAll("[data-piece]").forEach(offerMorePieces);
  position(form);
  openTarget(form);
  addEventListener("hashchange", () => openTarget(form));
  document.getElementById("errors")?.focus();
}

// -- counts

function count(form) {
  let total = 0;
  let of = 0;
  for (const group of form.querySelectorAll("[data-group]")) {
    const rows = [...group.querySelectorAll("[data-row]")];
    const rest = group.querySelector("[data-rest]")?.checked ?? false;
    const looked = lookedAt(
      rows.map((row) => ({
        answer: row.querySelector(".log-answer input:checked")?.value,
        recorded: "recorded" in row.dataset,
      })),
      rest,
    );
    group.querySelector("[data-count]").textContent = said(looked, rows.length);
    total += looked;
    of += rows.length;
  }
  form.querySelector("[data-total]").textContent = said(total, of);
}

// Tapping the chosen answer once more takes it back.
let chosenBefore = null;
addEventListener("pointerdown", (event) => {
  const input = event.target.closest?.(".log-answer")?.querySelector("input");
  chosenBefore = input?.checked ? input : null;
});

function takeBack(event) {
  const input = event.target;
  if (!input.matches?.(".log-answer input") || input !== chosenBefore) return;
  chosenBefore = null;
  input.closest("[data-row]").querySelector(".log-clear input").checked = true;
  input.form.dispatchEvent(new Event("change"));
}

// -- the draft

function keep(form, slug) {
  const entries = [...new FormData(form).entries()];
  drafts.save({ storage: localStorage, slug, entries, now: Date.now() });
}

function offerDraft(form, slug) {
  const draft = drafts.load({ storage: localStorage, slug, now: Date.now() });
  const shown = form.elements.client_id.value;
  const own = draft?.entries.find(([name]) => name === "client_id")?.[1];
  // The page already holds what it was given back after an error.
  if (!draft || own === shown || document.getElementById("errors")) return;
  const notice = document.createElement("div");
  notice.className = "notice notice-question";
  const when = new Date(draft.at).toLocaleString();
  notice.append(
    element("span", "notice-word", `A visit begun here on ${when} was not sent`),
    element("p", "", "What you typed is on this phone; photos must be chosen again."),
  );
  const actions = element("div", "actions", "");
  const bring = element("button", "button button-quiet", "Bring it back");
  const drop = element("button", "plain-button", "Discard it");
  bring.type = drop.type = "button";
  bring.addEventListener("click", () => {
    restore(form, draft.entries);
    notice.remove();
    count(form);
  });
  drop.addEventListener("click", () => {
    drafts.forget({ storage: localStorage, slug });
    notice.remove();
  });
  actions.append(bring, drop);
  notice.append(actions);
  form.before(notice);
}

function restore(form, entries) {
  const values = new Map();
  for (const [name, value] of entries) {
    if (!values.has(name)) values.set(name, []);
    values.get(name).push(value);
  }
  for (const input of form.elements) {
    if (!input.name || input.type === "file" || input.name === "csrfmiddlewaretoken") continue;
    const given = values.get(input.name) ?? [];
    if (input.type === "checkbox") input.checked = given.includes(input.value);
    else if (input.type === "radio") input.checked = input.value === (given[0] ?? "");
    else if (given.length) input.value = given[given.length - 1];
  }
  for (const row of form.querySelectorAll("[data-row]")) {
    if (row.querySelector(".log-answer input:checked")) row.closest("details").open = true;
  }
}

// -- more pieces of a member

const MOST_PIECES = 6;

function offerMorePieces(piece) {
  const pieces = piece.parentElement;
  if (piece !== [...pieces.querySelectorAll("[data-piece]")].at(-1)) return;
  const more = element("button", "button button-quiet", "Another piece");
  more.type = "button";
  more.addEventListener("click", () => {
    const last = [...pieces.querySelectorAll("[data-piece]")].at(-1);
    const [, stem, number] = last.dataset.piece.match(/^(.*-p)(\d+)$/);
    const next = Number(number) + 1;
    const copy = last.cloneNode(true);
    copy.dataset.piece = `${stem}${next}`;
    for (const part of copy.querySelectorAll("[name], [id], [for]")) {
      for (const key of ["name", "id", "for"]) {
        const old = part.getAttribute(key);
        if (old?.startsWith(last.dataset.piece)) {
          part.setAttribute(key, old.replace(last.dataset.piece, copy.dataset.piece));
        }
      }
      if (part.type === "checkbox") part.checked = false;
      else if ("value" in part) part.value = "";
    }
    copy.querySelectorAll(".field-error").forEach((error) => error.remove());
    last.after(copy);
    more.hidden = next + 1 >= MOST_PIECES;
    copy.querySelector("select").focus();
  });
  pieces.append(more);
}

// -- the phone's position, kept with the photos if asked

function position(form) {
  const where = form.querySelector("[data-where]");
  if (!("geolocation" in navigator) || !where) return;
  where.hidden = false;
  const told = form.querySelector("[data-where-said]");
  const ask = where.querySelector("[data-where-on]");
  const fill = (block) => {
    if (!ask.checked) return;
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        block.querySelector("[data-latitude]").value = coords.latitude.toFixed(6);
        block.querySelector("[data-longitude]").value = coords.longitude.toFixed(6);
        block.querySelector("[data-accuracy]").value = Math.round(coords.accuracy);
        told.textContent = `Position kept, within about ${Math.round(coords.accuracy)} m.`;
      },
      () => {
        told.textContent = "The phone gave no position; the photos are kept without it.";
      },
      { enableHighAccuracy: true, timeout: 20000, maximumAge: 60000 },
    );
  };
  form.addEventListener("change", (event) => {
    const block = event.target.closest?.("[data-block]");
    if (event.target.matches?.("[data-photo]") && block) fill(block);
    if (event.target === ask) {
      for (const one of form.querySelectorAll("[data-block]")) {
        if ([...one.querySelectorAll("[data-photo]")].some((input) => input.files.length)) {
          fill(one);
        }
      }
    }
  });
}

// -- odds and ends

// Signing in again elsewhere changes the token; the cookie always holds the right one.
function freshToken(form) {
  const name = form.dataset.csrfCookie ?? "second_crossing_csrf";
  const found = document.cookie.split("; ").find((one) => one.startsWith(`${name}=`));
  if (found) form.elements.csrfmiddlewaretoken.value = found.split("=")[1];
}

function openTarget(form) {
  const target = location.hash && form.querySelector(`#${CSS.escape(location.hash.slice(1))}`);
  const group = target?.closest?.("details");
  if (group && !group.open) {
    group.open = true;
    target.scrollIntoView();
  }
}

function element(tag, className, text) {
  const made = document.createElement(tag);
  if (className) made.className = className;
  if (text) made.textContent = text;
  return made;
}

function debounced(act, wait) {
  let timer = 0;
  return () => {
    clearTimeout(timer);
    timer = setTimeout(act, wait);
  };
}
