// Keeps the page for when there is no network. A new version is fetched when there is one, and shown at the next start.
const KEPT = "punchready-VERSION";
const FILES = ["./", "manifest.webmanifest", "icon.svg"];
self.addEventListener("install", (event) => event.waitUntil(caches.open(KEPT).then((c) => c.addAll(FILES)).then(() => self.skipWaiting())));
self.addEventListener("activate", (event) =>
  event.waitUntil(
    caches.keys().then((names) => Promise.all(names.filter((n) => n.startsWith("punchready-") && n !== KEPT).map((n) => caches.delete(n)))).then(() => self.clients.claim()),
  ),
);
self.addEventListener("fetch", (event) => {
  if (event.request.method === "GET") {
    event.respondWith(caches.match(event.request, { ignoreSearch: true }).then((kept) => kept ?? fetch(event.request)));
  }
});
