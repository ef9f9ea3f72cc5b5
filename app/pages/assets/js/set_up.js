// Making a meet: the setup key goes with the two requests that need it, and is kept nowhere.

import { complain, offer } from "./complaining.js";
import { documentOf } from "./fields.js";
import { kindOf, limited, newId } from "./send.js";
import { word } from "./words.js";

const PATIENCE = 30_000;
const form = document.getElementById("new-meet");
const [meet, organiser] = [newId(), newId()]; // the same for every try

async function put(address, body) {
  const headers = { Authorization: `Bearer ${document.getElementById("key").value.trim()}`, "Content-Type": "application/json" };
  try {
    return await limited(PATIENCE, async (signal) => {
      const answer = await fetch(address, { method: "PUT", headers, body: body && JSON.stringify(body), signal });
      const told = await answer.json();
      return answer.ok ? { ok: true, data: told } : { ok: false, status: answer.status, problem: told };
    });
  } catch {
    return { ok: false, status: 0 };
  }
}

async function setUp() {
  const said = documentOf(form);
  said.organiser = { id: organiser, ...said.organiser };
  const made = await put(`/api/meets/${meet}`, said);
  if (made.ok) return goOn();
  // The meet was made as it was sent first, and the answer lost: changed since, it is another document.
  if (kindOf(made) === "id-taken") return offer(form, word("meet taken"), word("go on"), once(goOn));
  complain(form, made);
}

// A link's token is told once, so each try asks for a link of its own: one that is lost opens nothing.
async function goOn() {
  const issued = await put(`/api/meets/${meet}/officials/${organiser}/join-links/${newId()}`);
  if (!issued.ok) return complain(form, issued);
  location.assign(`/join#${issued.data.token}`);
}

const once = (act) => async () => {
  if (form.dataset.busy) return;
  form.dataset.busy = "yes";
  complain(form, undefined);
  await act();
  delete form.dataset.busy;
};

const begin = once(setUp);
form.addEventListener("submit", (event) => {
  event.preventDefault();
  begin();
});

// Most meets are where they are set up: only a zone that the service knows is put in.
const zone = form.elements.time_zone, here = Intl.DateTimeFormat().resolvedOptions().timeZone;
if (!zone.value && [...zone.list.options].some((one) => one.value === here)) zone.value = here;
