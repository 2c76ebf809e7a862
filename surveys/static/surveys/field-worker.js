// Caches the technician's pages with their files, so that the pages open without a connection.
// The network comes first: a cached page is shown only without a connection.

const KEPT = "field-pages";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function answered(request) {
  const kept = await caches.open(KEPT);
  try {
    const response = await fetch(request);
    if (response.ok && !response.redirected) await kept.put(request, response.clone());
    return response;
  } catch (error) {
    const found = (await kept.match(request)) || (await kept.match(request, { ignoreSearch: true }));
    if (found) return found;
    throw error;
  }
}

self.addEventListener("fetch", (event) => {
  const { pathname, origin } = new URL(event.request.url);
  const ours = pathname.startsWith("/field/") || pathname.startsWith("/static/") || pathname === "/jsi18n/";
  if (event.request.method === "GET" && origin === self.location.origin && ours) event.respondWith(answered(event.request));
});
