// Making a passkey on this device and registering it with the PIN (WebAuthn Level 2, 7.1).

import { complainIn } from "../js/complaining.js";
import { refresh } from "../js/live.js";
import { newId, send } from "../js/send.js";
import { word } from "../js/words.js";

const address = `/api/meets/${document.body.dataset.meet}/me/keys`;
const form = document.getElementById("new-passkey");
const can = isSecureContext && "PublicKeyCredential" in window && "parseCreationOptionsFromJSON" in PublicKeyCredential;

const complain = (words) => complainIn(form.querySelector(".problem"), words);

async function made() {
  const options = await send("POST", `${address}/options`);
  if (!options.ok) return { told: options };
  const publicKey = PublicKeyCredential.parseCreationOptionsFromJSON(options.data.public_key);
  try {
    const { response } = (await navigator.credentials.create({ publicKey })).toJSON();
    return { attestation_object: response.attestationObject, client_data_json: response.clientDataJSON };
  } catch {
    return {};
  }
}

async function register(event) {
  event.preventDefault();
  const button = form.querySelector("button");
  if (button.disabled) return;
  button.disabled = true;
  complain("");
  const { told, ...passkey } = await made();
  const sent = { kind: "passkey", ...passkey, device: form.elements.device.value, pin: form.elements.pin.value.trim() };
  const answer = told ?? (passkey.attestation_object ? await send("PUT", `${address}/${newId()}`, { body: sent }) : undefined);
  button.disabled = false;
  if (!answer?.ok) return complain(answer ?? word("not made"));
  form.reset();
  document.getElementById("made").textContent = word("made");
  await refresh();
}

document.getElementById("no-passkeys").hidden = can;
form.hidden = !can;
form.addEventListener("submit", register);
