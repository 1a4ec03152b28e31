// Opens the field page: what is kept, who was signed in last, the screen asked for.

import { createApp } from "./app.js";
import { openStore } from "./store.js";
import { h, notice } from "./dom.js";

start();

async function start() {
  const main = document.getElementById("main");
  let store;
  try {
    store = await openStore();
  } catch (error) {
    main.replaceChildren(
      h("h1", {}, "In the field"),
      notice(
        "caution",
        "This browser keeps nothing",
        "A visit logged here could be lost, so it is not begun. A private window or a full phone does this; open the page in a plain window.",
        error?.message ?? "",
      ),
    );
    return;
  }
  const app = createApp({ store, main });
  await app.begin();
  keepShell(app);
}

// The worker keeps the page; a new release waits until nobody is in the middle of a visit.
async function keepShell(app) {
  if (!("serviceWorker" in navigator)) return;
  try {
    const kept = await navigator.serviceWorker.register("/sw.js", { scope: "/field/" });
    const waits = () => kept.waiting && navigator.serviceWorker.controller && app.newRelease(kept.waiting);
    waits();
    kept.addEventListener("updatefound", () => {
      const fresh = kept.installing;
      fresh?.addEventListener("statechange", () => fresh.state === "installed" && waits());
    });
  } catch {
    // With no signal the worker that is there goes on; without one the page still works.
  }
}
