// What browsers let a phone do on https alone. A key of its own: it signs each report at the moment of
// writing, without a network, and its private half cannot be taken out, not even by this page; without
// one the server attests what came in. And opening again without a network: a worker keeps the page and
// its files. Over plain http there is neither, and the page says so.

import { newId, send } from "../js/send.js";

const KIND = { name: "ECDSA", namedCurve: "P-256" };

export const canHaveKey = () => isSecureContext && Boolean(self.crypto?.subtle);

/** Make the key if there is none, and register it with the PIN; resolves to the server's answer. */
export async function setUpKey(store, { meet, official, pin, device }) {
  let key = await store.get("key");
  if (!key || key.official !== official) {
    const pair = await crypto.subtle.generateKey(KIND, false, ["sign", "verify"]);
    key = { id: newId(), official, pair, registered: false };
    await store.keep("key", key);
  }
  const jwk = await crypto.subtle.exportKey("jwk", key.pair.publicKey);
  const public_key = { kty: jwk.kty, crv: jwk.crv, x: jwk.x, y: jwk.y };
  const answer = await send("PUT", `/api/meets/${meet}/me/keys/${key.id}`, { body: { kind: "phone key", public_key, device, pin }, within: 20_000 });
  if (answer.ok) await store.keep("key", { ...key, registered: true });
  return answer;
}

/** Forget a key that the server does not count any more; true where it was. */
export async function dropRevoked(store, key, meet) {
  const told = await send("GET", `/api/meets/${meet}/me/keys`, { within: 20_000 });
  if (!told.ok) return false;
  const known = told.data.find((one) => one.id === key.id);
  if (known && !known.revoked_from) return false;
  await store.keep("key", undefined);
  return true;
}

// RFC 8785 for what a report holds: text, whole numbers, metres, true, false, null. JSON.stringify
// writes numbers and texts as it asks; only the names need their order.
const canonical = (value) =>
  Array.isArray(value) ? `[${value.map(canonical).join(",")}]`
  : value !== null && typeof value === "object"
    ? `{${Object.keys(value).sort().map((name) => `${JSON.stringify(name)}:${canonical(value[name])}`).join(",")}}`
    : JSON.stringify(value);

/** A report with this phone's signature, as it is sent; as it was where there is no key for it. */
export async function signedReport(key, document, { meet, report, official }) {
  if (!key?.registered || key.official !== official || !canHaveKey()) return document;
  const text = new TextEncoder().encode(canonical({ ...document, act: "report", meet, report }));
  const made = await crypto.subtle.sign({ name: "ECDSA", hash: "SHA-256" }, key.pair.privateKey, text);
  const signature = btoa(String.fromCharCode(...new Uint8Array(made))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
  return { ...document, signature: { key: key.id, signature } };
}

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
