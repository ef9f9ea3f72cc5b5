// The results desk: files of finish lists, protests, orders, and a word where what somebody looks at
// changes under their hands.

import { followChoices } from "./choices.js";
import { takeFiles } from "./files.js";
import { listenToOrders } from "./orders.js";
import { word } from "./words.js";

followChoices();
takeFiles();
listenToOrders();

const print = document.getElementById("print");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}

document.addEventListener("file-checked", ({ target, detail }) => {
  if (!detail.lines) return;
  const table = document.createElement("table");
  table.className = "result";
  table.createCaption().textContent = word("list gives");
  const head = table.createTHead().insertRow();
  for (const key of ["place", "lane", "team", "time", "notation"])
    head.append(Object.assign(document.createElement("th"), { scope: "col", textContent: word(key) }));
  const body = table.createTBody();
  for (const line of detail.lines) {
    const row = body.insertRow();
    for (const text of [line.place ?? "–", line.lane, line.team_name, line.time, line.annotation]) {
      const cell = row.insertCell();
      cell.textContent = text;
      cell.dir = "auto";
    }
  }
  target.querySelector(".file-seen").append(table);
});

// A form that signs what stands in another part says so where that has changed since it was begun.
const seen = new Map();
function noteChanges() {
  for (const form of document.querySelectorAll("form[data-etag-of]")) {
    const etag = document.getElementById(form.dataset.etagOf)?.dataset.etag;
    const note = form.querySelector(".changed-note");
    if (note && seen.has(form) && seen.get(form) !== etag && form.dataset.typed) {
      note.textContent = word("result changed");
      note.hidden = false;
    }
    seen.set(form, etag);
  }
}
document.addEventListener("page-refreshed", noteChanges);
document.addEventListener("form-taken", (event) => {
  const note = event.target.querySelector?.(".changed-note");
  if (note) note.hidden = true;
});
noteChanges();
