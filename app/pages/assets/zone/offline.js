// Opening again without a network: on https a worker keeps this page and its files. Over plain http
// browsers have no such thing, and the page says to be kept open.

export const canWork = () => isSecureContext && "serviceWorker" in navigator;

const scope = () => location.pathname;

/** Let the worker keep this page; it looks for a newer one by itself. */
export async function keepPage() {
  if (!canWork()) return;
  try {
    await navigator.serviceWorker.register("/worker.js", { scope: scope() });
    await navigator.storage?.persist?.();
  } catch {
    // A browser that refuses, as in a private window, opens the page with a network only.
  }
}

/** Take back what the worker keeps: the page shows whose phone this is. */
export async function forgetPage() {
  if (!canWork()) return;
  const known = await navigator.serviceWorker.getRegistration(scope());
  if (known?.scope.endsWith(scope())) await known.unregister();
  for (const name of await caches.keys()) if (name.includes(scope())) await caches.delete(name);
}
