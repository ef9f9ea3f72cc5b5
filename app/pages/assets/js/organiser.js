// The organiser's pages: what a list would do, badges and cards with fresh links, changing one official.

import { complain, complainIn } from "./complaining.js";
import { takeFiles } from "./files.js";
import { refresh } from "./live.js";
import { limited, newId, send } from "./send.js";
import { apart, counted, word } from "./words.js";

const WOULD = {
  "officials-file": (told) => word("would officials", { added: listed(told.added), changed: listed(told.changed), unchanged: told.unchanged }),
  "start-list-file": (told) => word("would lists", { heats: counted("heats", told.heats), lanes: counted("lanes", told.lanes), added: told.heats_added, changed: told.heats_changed, unchanged: told.heats_unchanged }),
  "crew-file": (told) => [
    word("would crew", { posts: counted("posts", told.posts), people: counted("people", told.people), unwatched: listed(told.unwatched) }),
    ...(told.apart.length ? [word("would be apart", { apart: listed(told.apart) })] : []),
    ...(told.dropped_out.length ? [word("would pass over dropped", { names: listed(told.dropped_out) })] : []),
  ].join(" "),
  "people-file": (told) => [
    word("would people", { people: counted("people", told.people), left_out: listed(told.left_out) }),
    ...(told.pinned_left_out.length ? [word("would unbind", { names: listed(told.pinned_left_out) })] : []),
    ...(told.dropped_left_out.length ? [word("would leave dropped", { names: listed(told.dropped_left_out) })] : []),
  ].join(" "),
  "template-file": (told) => word("would template", { posts: counted("posts", told.posts) }),
  "survey-file": (told) => word("would survey", { lines: counted("lines", told.lines), zones: counted("zones", told.zones), wrong: listed(told.wrong) }),
};
const PATIENCE = 120_000; // a sheet of badges may be long, and the line slow
const TO_MIND = { "start-list-file": ["left_out", "in_two_heats", "lanes_moved", "renamed", "new_to_event", "drawn_again"] };

const listed = (names) => new Intl.ListFormat(document.documentElement.lang).format(names.map(apart)) || word("nothing");

function paragraph(text, lang) {
  return Object.assign(document.createElement("p"), { textContent: text, lang: lang ?? "" });
}

document.addEventListener("file-checked", (event) => {
  const told = event.detail;
  const mind = (TO_MIND[event.target.id] ?? []).flatMap((name) => told[name]);
  const place = event.target.querySelector(".would");
  place.replaceChildren(paragraph(WOULD[event.target.id](told)), ...mind.map((one) => paragraph(one, "en")));
});

// A search is no act that a feed would tell of: while it goes on, the page is read again.
const SEARCH_MS = 1000;
setInterval(() => document.querySelector("#search[data-running]") && refresh(), SEARCH_MS);

// Hours of one person go with all the rows of the list, as the document has it: those of whoever was
// chosen before are as they were, and somebody new is on it only when chosen. Several spans have no
// field each: they stay unless others are written.
const hoursOf = (form) => ["#hours-from", "#hours-until"].map((id) => form.querySelector(id));
const rowsOf = (form) => [...form.querySelectorAll("input[name=people]")];
const asListed = (row) => JSON.parse((row.dataset.was ??= row.value));

document.addEventListener("change", ({ target }) => {
  if (target.id !== "hours-who") return;
  const row = rowsOf(target.form).find((one) => one.dataset.official === target.value);
  const spans = (row && asListed(row).hours) ?? [];
  const { begins, ends } = spans.length === 1 ? spans[0] : {};
  hoursOf(target.form).forEach((field, at) => (field.value = ([begins, ends][at] ?? "").replace("T", " ")));
});
document.addEventListener("submit", ({ target: form }) => {
  if (form.id !== "hours-of") return;
  const [begins, ends] = hoursOf(form).map((field) => field.value.trim() || null);
  for (const row of rowsOf(form)) {
    const is = row.dataset.official === form.querySelector("#hours-who").value;
    row.disabled = "new" in row.dataset && !is;
    const was = asListed(row);
    const hours = begins || ends ? [{ begins, ends }] : was.hours.length > 1 ? was.hours : [];
    row.value = JSON.stringify(is ? { ...was, hours } : was);
  }
}, true);

const badges = document.getElementById("badges");
// The list is shown anew whenever somebody joins or is named: who was ticked stays ticked.
const ticked = new Set();
const boxes = () => [...document.querySelectorAll("input[name=officials]")];

function tick(box, is) {
  box.checked = is;
  if (is) ticked.add(box.value);
  else ticked.delete(box.value);
}

document.addEventListener("change", ({ target }) => target.matches("input[name=officials]") && tick(target, target.checked));
document.addEventListener("part-shown", () => boxes().forEach((box) => tick(box, ticked.has(box.value))));
document.getElementById("tick-all")?.addEventListener("click", () => {
  for (const box of boxes().filter((one) => "new" in one.dataset)) tick(box, true);
});

// A second sheet would have links of its own: the second press of a double one makes none.
function onSheetWanted(form, act) {
  form?.querySelector("[type=submit]").addEventListener("click", (event) => event.detail > 1 && event.preventDefault());
  form?.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (form.dataset.busy) return;
    complain(form, undefined);
    form.querySelector("[role=status]").textContent = "";
    form.dataset.busy = "yes";
    await act();
    delete form.dataset.busy;
  });
}
onSheetWanted(badges, () => {
  const officials = boxes().filter((one) => one.checked).map((one) => one.value);
  // To the service, a list of nobody means everybody.
  if (!officials.length) return complainIn(badges.querySelector(".problem"), word("nobody ticked"));
  return makeSheet(badges, "badges.pdf", officials, "badges made");
});
const cards = document.getElementById("cards");
onSheetWanted(cards, () => makeSheet(cards, "crew/briefing-cards.pdf", [], "cards made"));

async function makeSheet(form, path, officials, made) {
  const body = JSON.stringify({ officials, paper: form.elements.paper.value });
  let answer, sheet;
  try {
    await limited(PATIENCE, async (signal) => {
      answer = await fetch(`/api/meets/${document.body.dataset.meet}/${path}`, { method: "POST", body, headers: { "Content-Type": "application/json" }, signal });
      if (answer.ok) sheet = await answer.blob();
    });
  } catch {
    return complain(form, { status: 0 });
  }
  if (!sheet) return complain(form, { status: answer.status, problem: await answer.json().catch(() => undefined) });
  const link = document.createElement("a");
  link.href = URL.createObjectURL(sheet);
  link.download = path.split("/").pop();
  link.click();
  form.querySelector("[role=status]").textContent = word(made);
}

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
let pressed = 0;

// The dialog is this person's from the press on: an answer that comes late is for nobody else's.
async function showLink({ link: official, name }) {
  pressed += 1;
  const press = pressed, field = link.querySelector("#link-text");
  complainIn(link.querySelector(".problem"), "");
  document.getElementById("link-name").textContent = name;
  field.value = "";
  if (!link.open) link.showModal();
  const answer = await send("PUT", `/api/meets/${document.body.dataset.meet}/officials/${official}/join-links/${newId()}`);
  if (press !== pressed || !link.open) return;
  if (!answer.ok) return complainIn(link.querySelector(".problem"), answer);
  field.value = `${location.origin}/join#${answer.data.token}`;
  field.select();
}
document.addEventListener("click", (event) => {
  const told = event.target.closest("[data-link]")?.dataset;
  if (told) showLink(told);
});
link?.addEventListener("close", () => (link.querySelector("#link-text").value = ""));

const anew = document.getElementById("anew");
const buttons = () => anew.querySelectorAll("button");
document.addEventListener("click", (event) => {
  const told = event.target.closest("[data-anew]")?.dataset;
  if (!told) return;
  complainIn(anew.querySelector(".problem"), "");
  document.getElementById("anew-name").textContent = told.name;
  Object.assign(anew.dataset, { official: told.anew, name: told.name });
  anew.showModal();
});
anew?.addEventListener("cancel", (event) => anew.dataset.busy && event.preventDefault());
document.getElementById("anew-do")?.addEventListener("click", async () => {
  const { official, name } = anew.dataset;
  anew.dataset.busy = "yes";
  for (const button of buttons()) button.disabled = true;
  const answer = await send("DELETE", `/api/meets/${document.body.dataset.meet}/officials/${official}/pin`);
  for (const button of buttons()) button.disabled = false;
  delete anew.dataset.busy;
  if (!answer.ok) {
    if (!anew.open) anew.showModal(); // a browser lets nobody be held for ever
    return complainIn(anew.querySelector(".problem"), answer);
  }
  anew.close();
  showLink({ link: official, name });
});

takeFiles();
