// What is signed is shown first, as the server would record it; then the PIN, or a passkey.

import { complainIn } from "./complaining.js";
import { kindOf, send } from "./send.js";
import { word } from "./words.js";

const dialog = document.getElementById("signing");
const AGAIN = new Set(["pin-refused", "too-many-tries", "signature-refused"]);

/**
 * Send a document that is signed; `shows` is the part of the page that it is about. Resolves to the answer, or to null where nothing was signed.
 * A refusal of the PIN stays in the dialog, so that nobody has to begin again.
 */
export async function signed(method, address, body, { etag, summary = "", told = [], shows } = {}) {
  const shown = await send(method, `${address}?check=true`, { body, etag });
  // Where nothing can be shown, sending it would be refused alike: that answer has the words.
  if (!shown.ok || !shown.data?.canonical) return shown;
  fill(summary, told, shown.data, shows);
  const key = await passkey();
  part("button[value=passkey]").hidden = !key;
  dialog.showModal();
  part("input[name=pin]").focus();
  try {
    return await untilSigned(method, address, body, etag, shown.data, key);
  } finally {
    dialog.close();
    part("input[name=pin]").value = "";
  }
}

const part = (selector) => dialog.querySelector(selector);

function fill(summary, told, shown, shows) {
  part(".what").textContent = summary;
  part(".told").replaceChildren(...told.flatMap(([name, text]) => [
    Object.assign(document.createElement("dt"), { textContent: name }),
    Object.assign(document.createElement("dd"), { textContent: text, dir: "auto" }),
  ]));
  part(".told").hidden = !told.length;
  part(".shows").replaceChildren(...(shows ? [copyOf(shows)] : []));
  part(".statement").textContent = JSON.stringify(shown.statement, null, 2);
  part(".digest").textContent = shown.sha256.slice(0, 16);
  complain("");
}

// An id is a place on the page: a copy has none.
function copyOf(shows) {
  const copy = shows.cloneNode(true);
  for (const one of [copy, ...copy.querySelectorAll("*")]) for (const name of ["id", "data-live", "aria-labelledby"]) one.removeAttribute(name);
  return copy;
}

const complain = (told) => complainIn(part(".problem"), told);

async function untilSigned(method, address, body, etag, shown, key) {
  for (;;) {
    const how = await chosen();
    if (how === "back") return null;
    const proof = how === "pin" ? { pin: part("input[name=pin]").value } : await underWay(withPasskey(key, shown));
    if (!proof) continue;
    const sent = { ...body, ...proof, shown_at: shown.shown_at };
    if (how === "pin") sent.statement_sha256 = shown.sha256;
    const answer = await underWay(send(method, address, { body: sent, etag }));
    if (answer.status !== 0 && !AGAIN.has(kindOf(answer)) && !isAboutPin(answer)) return answer;
    complain(answer);
  }
}

const isAboutPin = (answer) => (answer.problem?.errors ?? []).some((one) => one.pointer === "/pin");

const hold = (event) => event.preventDefault();

/** What a signature waits for. Until it is known whether that was taken, nobody goes back. */
async function underWay(work) {
  const buttons = dialog.querySelectorAll("button");
  for (const button of buttons) button.disabled = true;
  dialog.addEventListener("cancel", hold);
  const answer = await work;
  dialog.removeEventListener("cancel", hold);
  for (const button of buttons) button.disabled = false;
  // A browser lets nobody be held for ever: a second Escape closes the dialog all the same.
  if (!dialog.open) dialog.showModal();
  return answer;
}

function chosen() {
  return new Promise((resolve) => {
    const done = (how) => {
      form.removeEventListener("submit", onSubmit);
      dialog.removeEventListener("click", onClick);
      dialog.removeEventListener("close", onClose);
      resolve(how);
    };
    const form = part("form");
    const onSubmit = (event) => (event.preventDefault(), done("pin"));
    const onClose = () => done("back"); // by Escape, or by the gesture that a phone has for it
    const onClick = (event) => {
      const how = event.target.closest("button[type=button]")?.value;
      if (how) done(how);
    };
    form.addEventListener("submit", onSubmit);
    dialog.addEventListener("click", onClick);
    dialog.addEventListener("close", onClose);
  });
}

/** This official's passkeys that still count, where this browser can use any; else undefined. */
async function passkey() {
  if (!window.PublicKeyCredential || !isSecureContext) return undefined;
  const keys = await send("GET", `/api/meets/${document.body.dataset.meet}/me/keys`);
  const good = (keys.data ?? []).filter((one) => one.kind === "passkey" && !one.revoked_from);
  return good.length ? good : undefined;
}

const fromBase64 = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) => letter.charCodeAt(0));

async function withPasskey(keys, shown) {
  const challenge = Uint8Array.from(shown.sha256.match(/../g), (pair) => parseInt(pair, 16));
  const allowCredentials = keys.map((one) => ({ type: "public-key", id: fromBase64(one.credential) }));
  try {
    const made = await navigator.credentials.get({ publicKey: { challenge, allowCredentials, userVerification: "required" } });
    const { response, id } = made.toJSON();
    const key = keys.find((one) => one.credential === id)?.id;
    return {
      device_signature: {
        key,
        authenticator_data: response.authenticatorData,
        client_data_json: response.clientDataJSON,
        signature: response.signature,
      },
    };
  } catch {
    complain(word("no passkey"));
    return undefined;
  }
}
