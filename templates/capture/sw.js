// Keeps the floor pages open without network. Assets come from the cache, pages from the network within three seconds,
// else from the kept shell. It holds no name, no token and no data: those are in the page's own store.
"use strict";
const CACHE = "qcapp-{{ version }}";
const KEPT = {{ kept|safe }};
const SHELLS = {{ shells|safe }};
const PATIENCE = 3000;

async function fill(only) {
  const cache = await caches.open(CACHE);
  await cache.addAll(only.map((url) => new Request(url, { cache: "reload" })));
}

async function missing() {
  const cache = await caches.open(CACHE);
  const found = await Promise.all(KEPT.map((url) => cache.match(url)));
  return KEPT.filter((url, i) => !found[i]);
}

async function forgetOlder() {
  for (const name of await caches.keys()) if (name.startsWith("qcapp-") && name !== CACHE) await caches.delete(name);
}

self.addEventListener("install", (event) => event.waitUntil(fill(KEPT)));
self.addEventListener("activate", (event) => event.waitUntil(forgetOlder().then(() => self.clients.claim())));
self.addEventListener("message", (event) => {
  // A new version never takes over by itself: somebody taps when nothing is half entered.
  if (event.data === "take over") self.skipWaiting();
  if (event.data === "check") event.waitUntil(missing().then((urls) => (urls.length ? fill(urls) : null)).catch(() => {}));
});

function shellFor(path) {
  if (path === "/floor/") return SHELLS.floor;
  if (path === "/floor/setup/") return SHELLS.setup;
  if (/^\/floor\/lots\/[^/]+\/$/.test(path)) return SHELLS.lot;
  if (/^\/units\/[^/]+\/weld\/$/.test(path)) return SHELLS.weld;
  return /^\/units\/[^/]+\/bench\/$/.test(path) ? SHELLS.bench : null;
}

async function page(request, shell) {
  try {
    // A redirect goes on to the browser as it is: it is the way to the sign-in.
    return await fetch(request, { signal: AbortSignal.timeout(PATIENCE) });
  } catch (error) {
    const kept = await (await caches.open(CACHE)).match(shell);
    if (kept) return kept;
    throw error;
  }
}

async function asset(request) {
  const kept = await (await caches.open(CACHE)).match(request);
  return kept ?? fetch(request);
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  const shell = request.mode === "navigate" ? shellFor(url.pathname) : null;
  if (shell) event.respondWith(page(request, shell));
  else if (KEPT.includes(url.pathname)) event.respondWith(asset(request));
});
