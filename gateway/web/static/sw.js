// Keeps the board and what it is drawn with for a reload without a link. The network is always asked first.
"use strict";

const KEPT = "dewgate";
const PATIENCE_MS = 4000;

async function fresh(request) {
  const answer = await Promise.race([
    fetch(request),
    new Promise((_, give_up) => { setTimeout(() => give_up(new Error("slow")), PATIENCE_MS); }),
  ]);
  if (answer.ok && !answer.redirected) (await caches.open(KEPT)).put(request, answer.clone());
  return answer;
}

async function kept(request) {
  try {
    return await fresh(request);
  } catch (error) {
    const found = await caches.match(request);
    if (found) return found;
    throw error;
  }
}

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { pathname, origin } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname === "/" || pathname.startsWith("/static/")) event.respondWith(kept(event.request));
});
