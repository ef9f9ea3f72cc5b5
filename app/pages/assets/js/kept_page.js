// The page that a worker keeps on a phone is one official's. Whoever joins there after them must not
// see it nor write in their name, also where the network goes in the same minute: the page is dropped
// when they join, and each page asks who joined last before it shows itself.

const name = (meet) => `joined ${meet}`;

/** Take back what the worker keeps of a page. */
export async function forgetPage(address) {
  if (!isSecureContext || !("serviceWorker" in navigator)) return;
  const known = await navigator.serviceWorker.getRegistration(address);
  if (known?.scope.endsWith(address)) await known.unregister();
  for (const cache of await caches.keys()) if (cache.includes(address)) await caches.delete(cache);
}

/** Note who joined a meet in this browser, for its other windows too. */
export function noteJoined(meet, official) {
  try {
    localStorage.setItem(name(meet), official);
  } catch {
    // A browser that keeps nothing keeps no page either.
  }
}

/** Whether somebody else has joined since an official's page was made. */
export function isAnothers(meet, official) {
  try {
    return (localStorage.getItem(name(meet)) ?? official) !== official;
  } catch {
    return false;
  }
}

/** Do something when somebody joins in another window, or when a page that was left comes back. */
export function whenJoined(meet, look) {
  addEventListener("storage", (event) => event.key === name(meet) && look());
  addEventListener("pageshow", (event) => event.persisted && look());
}
