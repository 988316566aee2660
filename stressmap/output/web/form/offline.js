// The service worker: keeps every file of the form on the phone. FILES and VERSION are written above it.
const OWN = `stressmap-form ${self.registration.scope} `;
const NAME = OWN + VERSION;

// All files of one version or none, and none from a cache on the way.
self.addEventListener("install", (event) => {
  const load = async () => {
    const cache = await caches.open(NAME);
    await cache.addAll(FILES.map((file) => new Request(file, { cache: "reload" })));
    await self.skipWaiting();
  };
  event.waitUntil(load());
});

self.addEventListener("activate", (event) => {
  const clean = async () => {
    const old = (await caches.keys()).filter((name) => name.startsWith(OWN) && name !== NAME);
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
  };
  event.waitUntil(clean());
});

self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET") return;
  const answer = async () => {
    const cache = await caches.open(NAME);
    const page = event.request.mode === "navigate" ? await cache.match("index.html") : null;
    return page || (await cache.match(event.request, { ignoreSearch: true })) || fetch(event.request);
  };
  event.respondWith(answer());
});
