// Opens pages at the kit without a network. Served as /kit/worker.js, so it reaches these pages and no others; the
// pages themselves put into the caches what it answers with.

// Without an answer in this time a kept page is shown: a network that is there may lead nowhere.
const PATIENCE_MS = 4000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" || url.pathname.startsWith("/static/")) event.respondWith(newestOf(request));
});

/** From the house; what is kept where it does not answer. */
async function newestOf(request) {
  const kept = await caches.match(request, { ignoreVary: true, ignoreSearch: true });
  const fresh = fetch(request).catch(() => null);
  if (!kept) return (await fresh) ?? Response.error();
  const answer = await Promise.race([fresh, new Promise((done) => setTimeout(done, PATIENCE_MS))]);
  return answer && answer.status < 500 ? answer : kept;
}
