// Keeps the zone official's page and its files, so that it opens without a network: what is kept is
// shown at once, and looked for anew behind it. One registration and one cache a meet; the page is
// kept only together with every file that it names, so a release is whole or not there. Nothing of
// the service's answers is kept here: what the meet says lies where the outbox lies.

const PAGE = self.registration.scope;
const CACHE = `zone ${new URL(PAGE).pathname}`;
const FILES = /\/assets\/[0-9a-f]+\/[\w./-]+/g;

self.addEventListener("install", (event) => event.waitUntil(renew().then(() => self.skipWaiting())));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

/** Fetch the page, then what it names, then keep all of it; resolves to the page. */
async function renew(request = PAGE) {
  const answer = await fetch(request, { credentials: "same-origin", headers: { Accept: "text/html" } });
  if (answer.status !== 200 || answer.redirected) return answer;
  const cache = await caches.open(CACHE);
  const names = new Set((await answer.clone().text()).match(FILES));
  const has = new Set((await cache.keys()).map((one) => new URL(one.url).pathname));
  const missing = [...names].filter((name) => !has.has(name));
  await cache.addAll(missing);
  await cache.put(PAGE, answer.clone());
  for (const name of has) if (name.startsWith("/assets/") && !names.has(name)) await cache.delete(name);
  return answer;
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (request.mode === "navigate" && PAGE.endsWith(address.pathname)) event.respondWith(page(event, address));
  else if (address.pathname.startsWith("/assets/")) event.respondWith(file(request));
});

async function page(event, address) {
  const kept = await (await caches.open(CACHE)).match(PAGE);
  // Another language was asked for: that is shown, and kept from then on.
  if (address.search) return renew(address.href).catch(() => kept ?? Response.error());
  if (!kept) return fetch(event.request);
  event.waitUntil(renew().catch(() => undefined));
  return kept;
}

async function file(request) {
  const kept = await caches.match(request, { cacheName: CACHE });
  return kept ?? fetch(request);
}
