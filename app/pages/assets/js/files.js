// Files that are looked at first and loaded then. In the page:
//   <form data-file="PUT" data-to="/api/…/result" data-etag-of="result" data-largest="262144">
//     <p class="drop"><label>… <input type="file"></label></p>
//     <div class="problem" …></div> <div class="file-seen"></div>
//     <button type="submit" class="main" disabled>
// A file that is chosen, or dropped on the form, is sent with `check=true`: what is wrong with it
// stands in a table, by row and column as a spreadsheet counts them. Where nothing is, the form says
// `file-checked` with the answer, for the page to show what the file would do, and can be sent.

import { complain } from "./complaining.js";
import { refresh } from "./live.js";
import { send } from "./send.js";
import { counted, word } from "./words.js";

const KINDS = { xlsx: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" };
const chosen = new WeakMap(); // of a form: the file that was looked at, and is good
const newest = new WeakMap(); // the file chosen last: what is answered about an earlier one is late

const kindOf = (file) => KINDS[file.name.split(".").at(-1).toLowerCase()] ?? "text/csv";
const button = (form) => form.querySelector("button[type=submit]");
const seen = (form) => form.querySelector(".file-seen");

function ask(form, file, check) {
  const { file: method, to, etag, etagOf } = form.dataset;
  const known = etagOf ? document.getElementById(etagOf)?.dataset.etag : etag;
  return send(method, check ? `${to}?check=true` : to, { body: file, etag: known, type: kindOf(file), within: 120_000 });
}

// What an earlier file would have done is not said of this one.
function show(form, node) {
  form.querySelector(".would")?.replaceChildren();
  seen(form).replaceChildren(...(node ? [node] : []));
}

function tell(form, text) {
  show(form, Object.assign(document.createElement("p"), { textContent: text }));
}

async function look(form, file) {
  if (!file) return;
  chosen.delete(form);
  newest.set(form, file);
  complain(form, undefined);
  button(form).disabled = true;
  if (file.size > Number(form.dataset.largest || Infinity)) return tell(form, word("file too large"));
  tell(form, word("file looked at", { name: file.name }));
  const answer = await ask(form, file, true);
  if (newest.get(form) !== file) return;
  const problems = answer.data?.problems ?? answer.problem?.problems ?? [];
  if (problems.length) return show(form, asTable(problems, file));
  if (!answer.ok) {
    show(form);
    return complain(form, answer);
  }
  chosen.set(form, file);
  button(form).disabled = false;
  tell(form, word("file good", { name: file.name }));
  form.dispatchEvent(new CustomEvent("file-checked", { bubbles: true, detail: answer.data }));
  lead(form, button(form));
}

// Whoever has gone on to another field meanwhile stays there.
function lead(form, to) {
  const focused = document.activeElement;
  if (!focused || focused === document.body || form?.contains(focused)) to.focus();
}

/** The problems of a file in a table: where, and what to write instead. */
function asTable(problems, file) {
  const table = document.createElement("table");
  table.className = "problems";
  table.createCaption().textContent = counted("file problems", problems.length, { name: file.name });
  table.caption.tabIndex = -1;
  const head = table.createTHead().insertRow();
  for (const key of ["row", "column", "what to mend"]) {
    const cell = Object.assign(document.createElement("th"), { scope: "col", textContent: word(key) });
    head.append(cell);
  }
  const body = table.createTBody();
  const inRows = [...problems].sort((one, other) => (one.row ?? 0) - (other.row ?? 0));
  for (const { row, column, problem } of inRows) {
    const line = body.insertRow();
    for (const text of [row ?? "", column ?? "", problem]) line.insertCell().textContent = text;
    line.cells[0].className = "number";
    for (const cell of line.cells) cell.lang = "en";
  }
  requestAnimationFrame(() => lead(table.closest("form"), table.caption));
  return table;
}

async function load(form) {
  const file = chosen.get(form);
  if (!file || form.dataset.busy) return;
  form.dataset.busy = "yes";
  const answer = await ask(form, file, false);
  delete form.dataset.busy;
  if (!answer.ok) return complain(form, answer);
  chosen.delete(form);
  form.reset();
  button(form).disabled = true;
  tell(form, word("file loaded", { name: file.name }));
  form.dispatchEvent(new CustomEvent("form-taken", { bubbles: true, detail: answer }));
  await refresh();
}

/** Let every form with `data-file` look at files and load them. */
export function takeFiles() {
  const formOf = (event) => event.target.closest?.("form[data-file]");
  document.addEventListener("change", (event) => {
    if (event.target.type === "file" && formOf(event)) look(formOf(event), event.target.files[0]);
  });
  document.addEventListener("submit", (event) => {
    if (!formOf(event)) return;
    event.preventDefault();
    load(formOf(event));
  });
  for (const name of ["dragover", "dragleave", "drop"]) {
    document.addEventListener(name, (event) => {
      const form = formOf(event);
      if (!form) return;
      event.preventDefault();
      form.classList.toggle("over", name === "dragover");
      if (name === "drop") look(form, event.dataTransfer.files[0]);
    });
  }
  // On a slow line a file may have been chosen before this was listening.
  for (const field of document.querySelectorAll("form[data-file] input[type=file]")) look(field.form, field.files[0]);
}
