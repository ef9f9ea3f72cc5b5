// Opening a personal link: whose is it, then the tap that uses it.

import { complainIn } from "./complaining.js";
import { forgetPage, noteJoined } from "./kept_page.js";
import { newId, send } from "./send.js";
import { word } from "./words.js";

const by = (id) => document.getElementById(id);
const session = newId(); // the same for every try, so a lost answer costs nothing
let token = location.hash.slice(1);

const complain = (form, words) => complainIn(by(form).querySelector(".problem"), words);

async function look() {
  by("looking").hidden = false;
  by("no-link").hidden = true;
  const told = await send("POST", "/api/join/look", { body: { token } });
  by("looking").hidden = true;
  if (!told.ok) {
    by("no-link").hidden = false;
    return complain("no-link", told);
  }
  const { name, roles, meet_name: meet, has_pin: hasPin, is_used: isUsed } = told.data;
  by("whose").textContent = name;
  by("roles").textContent = roles.map((role) => word(role)).join(", ");
  by("which-meet").textContent = meet;
  by("first-time").hidden = hasPin;
  by("not-first").hidden = !hasPin;
  by("pin").autocomplete = hasPin ? "current-password" : "new-password";
  by("pin").setAttribute("aria-describedby", hasPin ? "not-first" : "first-time");
  by("join").hidden = false;
  complain("join", isUsed ? word("used") : "");
}

by("by-hand").addEventListener("submit", (event) => {
  event.preventDefault();
  token = by("link").value.trim().split("#").at(-1);
  look();
});

by("join").addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = by("join").querySelector("button");
  button.disabled = true;
  complain("join", "");
  const body = { token, session, pin: by("pin").value.trim(), device: by("device").value };
  const told = await send("POST", "/join", { body });
  button.disabled = false;
  if (!told.ok) return complain("join", told);
  const { meet, official, address } = told.data;
  noteJoined(meet, official);
  await forgetPage(`/meets/${meet}/zone`).catch(() => undefined);
  location.replace(address);
});

addEventListener("hashchange", () => {
  token = location.hash.slice(1);
  look();
});

if (token) look();
else {
  by("looking").hidden = true;
  by("no-link").hidden = false;
}
