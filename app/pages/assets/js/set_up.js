// Making a meet: the setup key goes with the two requests that need it, and is kept nowhere.

import { complain, offer } from "./complaining.js";
import { documentOf } from "./fields.js";
import { kindOf, newId, send } from "./send.js";
import { word } from "./words.js";

const form = document.getElementById("new-meet");
const [meet, organiser] = [newId(), newId()]; // the same for every try

const put = (address, body) => send("PUT", address, { body, authorization: `Bearer ${document.getElementById("key").value.trim()}` });

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
