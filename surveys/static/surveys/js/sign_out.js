// Before signing out: whether visits are still only on this phone. Nothing is wiped by
// signing out, and without this script one is signed out all the same.

const NAME = "second-crossing-field";
const PATIENCE_MS = 1500;

for (const form of document.querySelectorAll("form[data-sign-out]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const count = await Promise.race([waiting().catch(() => 0), nothingAfter(PATIENCE_MS)]);
    if (count) ask(form, count);
    else form.submit();
  });
}

function nothingAfter(ms) {
  return new Promise((resolve) => setTimeout(resolve, ms, 0));
}

// How many visits are begun or not yet sent; a phone that keeps none is left as it is.
async function waiting() {
  const db = await opened();
  try {
    const work = db.transaction(["drafts", "outbox"], "readonly");
    const counts = ["drafts", "outbox"].map((name) => answered(work.objectStore(name).count()));
    return (await Promise.all(counts)).reduce((sum, one) => sum + one, 0);
  } finally {
    db.close();
  }
}

function opened() {
  const request = indexedDB.open(NAME);
  request.onupgradeneeded = () => request.transaction.abort();
  return answered(request);
}

function answered(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function ask(form, count) {
  const dialog = element("dialog", { class: "asked", "aria-labelledby": "sign-out-asked" });
  const words = count === 1 ? "1 visit is only on this phone" : `${count} visits are only on this phone`;
  const first = element("a", { class: "button", href: "/field/#/outbox" }, "See what waits");
  const out = element("button", { class: "button button-quiet", type: "button" }, "Sign out all the same");
  const stay = element("button", { class: "button button-quiet", type: "button" }, "Stay signed in");
  out.addEventListener("click", () => form.submit());
  stay.addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => dialog.remove());
  const actions = element("p", { class: "actions" });
  actions.append(first, out, stay);
  dialog.append(
    element("h2", { id: "sign-out-asked" }, words),
    element("p", {}, "Signing out takes nothing away. What waits stays here, and is sent when whoever wrote it signs in again on this phone."),
    actions,
  );
  document.body.append(dialog);
  dialog.showModal();
}

function element(tag, attributes, words = "") {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.textContent = words;
  return made;
}
