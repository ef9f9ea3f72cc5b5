// This phone's own key: it signs each report at the moment of writing, without a network. Its private
// half cannot be taken out of the browser, not even by this page. Browsers make one on https alone;
// without one the server attests what came in.

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
