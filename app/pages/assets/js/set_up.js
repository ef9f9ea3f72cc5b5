// Making a meet: the setup key goes with the two requests that need it, and is kept nowhere.

import { documentOf, complain } from "./forms.js";
import { newId } from "./send.js";

const form = document.getElementById("new-meet");
const [meet, organiser, link] = [newId(), newId(), newId()]; // the same for every try

async function put(address, body) {
  const headers = { Authorization: `Bearer ${document.getElementById("key").value.trim()}`, "Content-Type": "application/json" };
  try {
    const answer = await fetch(address, { method: "PUT", headers, body: body && JSON.stringify(body) });
    const told = await answer.json();
    return answer.ok ? { ok: true, data: told } : { ok: false, status: answer.status, problem: told };
  } catch {
    return { ok: false, status: 0 };
  }
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  complain(form, undefined);
  const said = documentOf(form);
  said.organiser = { id: organiser, ...said.organiser };
  const made = await put(`/api/meets/${meet}`, said);
  if (!made.ok) return complain(form, made);
  const issued = await put(`/api/meets/${meet}/officials/${organiser}/join-links/${link}`);
  if (!issued.ok) return complain(form, issued);
  location.assign(`/join#${issued.data.token}`);
});
