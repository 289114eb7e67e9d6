// Answers for the page of a weigh-in when there is no signal: with the form that the page
// laid by, which names nobody. Everything else goes where it always went.
"use strict";

const KEPT = "weigh-in";
// A connection that says nothing for so long is none.
const PATIENCE_MS = 5000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function page(request) {
  const patience = new AbortController();
  const late = setTimeout(() => patience.abort(), PATIENCE_MS);
  try {
    return await fetch(request, { signal: patience.signal });
  } catch (gone) {
    const kept = await caches.match("/weigh-in/shell", { cacheName: KEPT });
    if (kept) return kept;
    throw gone;
  } finally {
    clearTimeout(late);
  }
}

async function look(request) {
  return (await caches.match(request, { cacheName: KEPT })) || fetch(request);
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { pathname, origin } = new URL(request.url);
  if (origin !== self.location.origin || request.method !== "GET") return;
  if (request.mode === "navigate" && pathname === "/weigh-in") event.respondWith(page(request));
  else if (pathname.startsWith("/look/")) event.respondWith(look(request));
});
