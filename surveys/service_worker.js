"use strict";
// FIELD = { release, shell } is put in front of this file by surveys/offline.py.
//
// This worker only opens the page with no signal. It answers GETs for the shell and
// leaves everything else to the network; it never keeps a page with a person's name on
// it, never answers a POST, and never touches what is waiting to be sent.

const PREFIX = "field-";
const CACHE = PREFIX + FIELD.release;

self.addEventListener("install", (event) => event.waitUntil(keepShell()));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));
self.addEventListener("fetch", (event) => {
  if (isShell(event.request)) event.respondWith(shellFirst(event.request));
});
// The page asks for the new release when nobody is in the middle of a visit.
self.addEventListener("message", (event) => {
  if (event.data === "take-over") self.skipWaiting();
});

function isShell(request) {
  const url = new URL(request.url);
  const ours = request.method === "GET" && url.origin === self.location.origin;
  return ours && FIELD.shell.includes(url.pathname);
}

async function shellFirst(request) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(request, { ignoreSearch: true, ignoreVary: true });
  return kept ?? fetch(request);
}

async function keepShell() {
  const cache = await caches.open(CACHE);
  // Asked for anew, but not sent again where the browser's copy is still the same.
  const asked = FIELD.shell.map(
    (path) => new Request(path, { cache: "no-cache", credentials: "omit" }),
  );
  await cache.addAll(asked);
}

// Only caches of our own are dropped; nothing clears storage wholesale.
async function takeOver() {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith(PREFIX) && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
  await self.clients.claim();
}
