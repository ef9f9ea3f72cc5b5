// A form that somebody is writing in stays as it is while the page around it goes on. Where what it
// is about has changed, it says so; shown as it is now, it keeps what was written.

import { isBox } from "./fields.js";
import { refresh } from "./live.js";
import { isChanged, noteTyping } from "./typing.js";
import { word } from "./words.js";

const behind = new Set(); // ids of parts that are older than what the server told last

function formIn(part) {
  const focused = document.activeElement?.closest("form[data-act]");
  return part.contains(focused) ? focused : part.querySelector("form[data-typed]");
}

function tell({ target: part }) {
  behind.add(part.id);
  const form = formIn(part);
  if (!form || form.querySelector(".moved-on")) return;
  const note = Object.assign(document.createElement("div"), { className: "note moved-on" });
  note.setAttribute("role", "status");
  const words = Object.assign(document.createElement("p"), { textContent: word("moved on") });
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: word("show now") });
  button.addEventListener("click", () => showNow(part, form));
  note.append(words, button);
  form.prepend(note);
}

async function showNow(part, form) {
  const fields = [...form.elements].filter(isWritten);
  const orders = [...form.querySelectorAll("[data-order-kind]")];
  const { newId } = form.dataset;
  const written = new Map(fields.map((field) => [keyOf(field), held(field)]));
  const beside = Object.assign(document.createElement("blockquote"), { dir: "auto", hidden: true });
  part.after(beside);
  const here = () => document.getElementById(part.id)?.querySelector(`form[data-to="${form.dataset.to}"]`);
  // In the moment in which it is shown anew: nobody sees it empty, and no later reading takes its place.
  const shown = ({ target }) => target.id === part.id && here() && writeBack(here(), { newId, orders, written });
  document.addEventListener("part-shown", shown);
  delete form.dataset.typed;
  document.activeElement?.blur();
  await refresh();
  document.removeEventListener("part-shown", shown);
  if (!here()) return keepBeside(beside, fields);
  beside.remove();
  noteTyping(here());
}

function writeBack(form, { newId, orders, written }) {
  if (newId) form.dataset.newId = newId; // it may have been taken, and its answer lost
  form.querySelector("[data-added]")?.append(...orders);
  for (const field of [...form.elements].filter((one) => written.has(keyOf(one)))) hold(field, written.get(keyOf(field)));
  noteTyping(form);
  (form.querySelector("textarea") ?? form).focus();
}

const isWritten = (field) => field.type !== "hidden" && !field.closest("[data-order-kind]") && isChanged(field);

/** What a field is known by in the form that takes the place of its own. */
const keyOf = (field) => field.id || [field.name, field.dataset.order, isBox(field) && field.value].join("\n");

const held = (field) => (isBox(field) ? field.checked : field.value);

function hold(field, what) {
  if (isBox(field)) field.checked = what;
  else field.value = what;
  for (const name of ["input", "change"]) field.dispatchEvent(new Event(name, { bubbles: true }));
}

/** Where there is no such form any more, the words stay to be read and copied. */
function keepBeside(place, fields) {
  const words = fields.filter((field) => field.matches("textarea, input:not([type])")).map((field) => field.value.trim()).filter(Boolean);
  place.textContent = words.join("\n");
  place.hidden = !words.length;
}

/** A part that was held back is shown anew as soon as nobody is in it any more. */
function catchUp({ target, relatedTarget }) {
  const part = target.closest?.("[data-live], [data-comes]");
  if (!part || !behind.has(part.id) || part.contains(relatedTarget) || part.querySelector("form[data-typed]")) return;
  behind.delete(part.id);
  refresh();
}

/** Let no form lose what is written in it. */
export function keepWriting() {
  document.addEventListener("part-changed", tell);
  document.addEventListener("part-shown", ({ target }) => behind.delete(target.id));
  document.addEventListener("focusout", catchUp);
}
