// The organiser's pages: what a list would do, badges with fresh links, changing one official.

import { takeFiles } from "./files.js";
import { complain } from "./forms.js";
import { newId, send } from "./send.js";
import { apart, word } from "./words.js";

const WOULD = {
  "officials-file": (told) => word("would officials", { added: listed(told.added), changed: listed(told.changed), unchanged: told.unchanged }),
  "start-list-file": (told) => word("would lists", { heats: told.heats, lanes: told.lanes, added: told.heats_added, changed: told.heats_changed, unchanged: told.heats_unchanged }),
  "crew-file": (told) => [
    word("would crew", { posts: told.posts, people: told.people, unwatched: listed(told.unwatched) }),
    ...(told.apart.length ? [word("would be apart", { apart: listed(told.apart) })] : []),
  ].join(" "),
};
const TO_MIND = ["left_out", "in_two_heats", "lanes_moved", "renamed", "new_to_event", "drawn_again"];

const listed = (names) => new Intl.ListFormat(document.documentElement.lang).format(names.map(apart)) || word("nothing");

function paragraph(text, lang) {
  return Object.assign(document.createElement("p"), { textContent: text, lang: lang ?? "" });
}

document.addEventListener("file-checked", (event) => {
  const told = event.detail;
  const mind = TO_MIND.flatMap((name) => told[name] ?? []);
  const place = event.target.querySelector(".would");
  place.replaceChildren(paragraph(WOULD[event.target.id](told)), ...mind.map((one) => paragraph(one, "en")));
});
document.addEventListener("form-taken", (event) => event.target.querySelector(".would")?.replaceChildren());

const badges = document.getElementById("badges");
badges?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const officials = [...badges.elements.officials.values?.() ?? [badges.elements.officials]].filter((one) => one.checked).map((one) => one.value);
  const body = JSON.stringify({ officials, paper: badges.elements.paper.value });
  complain(badges, undefined);
  document.getElementById("badges-said").textContent = "";
  if (!officials.length) return askToTick(); // to the service, a list of nobody means everybody
  let answer;
  try {
    answer = await fetch(`/api/meets/${document.body.dataset.meet}/badges.pdf`, { method: "POST", body, headers: { "Content-Type": "application/json" } });
  } catch {
    return complain(badges, { status: 0 });
  }
  if (!answer.ok) return complain(badges, { status: answer.status, problem: await answer.json().catch(() => undefined) });
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await answer.blob());
  link.download = "badges.pdf";
  link.click();
  document.getElementById("badges-said").textContent = word("badges made");
});
function askToTick() {
  const place = badges.querySelector(".problem");
  place.replaceChildren(paragraph(word("nobody ticked")));
  place.hidden = false;
  place.focus();
}
document.getElementById("tick-all")?.addEventListener("click", () => {
  for (const box of document.querySelectorAll("input[name=officials][data-new]")) box.checked = true;
});

const one = document.getElementById("one-official");
document.addEventListener("click", (event) => {
  const told = event.target.closest("[data-change]")?.dataset;
  if (!told) return;
  one.dataset.to = one.dataset.oneTo + told.change;
  one.dataset.etag = `"v${told.version}"`;
  one.elements.name.value = told.name;
  one.elements.affiliation.value = told.affiliation;
  one.elements.active.checked = told.active === "yes";
  for (const box of one.elements.roles) box.checked = told.roles.split(" ").includes(box.value);
  document.getElementById("one-title").scrollIntoView();
  one.elements.name.focus();
});
one?.addEventListener("reset", () => {
  one.dataset.to = one.dataset.newTo;
  delete one.dataset.etag;
});

const link = document.getElementById("link");
async function showLink({ link: official, name }) {
  const answer = await send("PUT", `/api/meets/${document.body.dataset.meet}/officials/${official}/join-links/${newId()}`);
  const problem = link.querySelector(".problem");
  problem.hidden = answer.ok;
  problem.textContent = answer.ok ? "" : answer.problem?.detail ?? word("unreachable");
  document.getElementById("link-name").textContent = name;
  link.querySelector("#link-text").value = answer.ok ? `${location.origin}/join#${answer.data.token}` : "";
  link.showModal();
  link.querySelector("#link-text").select();
}
document.addEventListener("click", (event) => {
  const told = event.target.closest("[data-link]")?.dataset;
  if (told) showLink(told);
});
link?.addEventListener("close", () => (link.querySelector("#link-text").value = ""));

takeFiles();
