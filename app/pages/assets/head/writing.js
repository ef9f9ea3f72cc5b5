// A form that somebody is writing in stays as it is while the page around it goes on. Where what it
// is about has changed, it says so; shown as it is now, it keeps what was written.

import { refresh } from "../js/live.js";
import { word } from "../js/words.js";

function tell(event) {
  const form = event.target.querySelector("form[data-act]");
  if (!form || form.querySelector(".moved-on")) return;
  const note = Object.assign(document.createElement("div"), { className: "note moved-on" });
  note.setAttribute("role", "status");
  const words = Object.assign(document.createElement("p"), { textContent: word("moved on") });
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: word("show now") });
  button.addEventListener("click", () => showNow(event.target.id, form));
  note.append(words, button);
  form.prepend(note);
}

async function showNow(part, form) {
  const kept = written(form);
  delete form.dataset.typed;
  document.activeElement?.blur();
  await refresh();
  const fresh = document.getElementById(part)?.querySelector(`#${form.id}`);
  if (!fresh) return keepBeside(part, kept);
  for (const [name, value] of kept) put(fresh, name, value);
  fresh.dataset.typed = "yes";
  fresh.dispatchEvent(new Event("change", { bubbles: true }));
  (fresh.querySelector("textarea") ?? fresh).focus();
}

function written(form) {
  const fields = [...form.elements].filter((field) => field.name && field.type !== "hidden" && !field.disabled);
  return fields.filter((field) => field.type !== "radio" || field.checked).map((field) => [field.name, field.type === "checkbox" ? field.checked : field.value]);
}

function put(form, name, value) {
  for (const field of form.querySelectorAll(`[name="${name}"]`)) {
    if (field.type === "radio") field.checked = field.value === value;
    else if (field.type === "checkbox") field.checked = value;
    else field.value = value;
  }
}

/** Where there is no such form any more, the words stay to be read and copied. */
function keepBeside(part, kept) {
  const words = kept.map(([_name, value]) => value).filter((value) => typeof value === "string" && value.includes(" "));
  if (!words.length) return;
  const left = Object.assign(document.createElement("blockquote"), { dir: "auto", textContent: words.join("\n") });
  document.getElementById(part)?.after(left);
}

/** Let no form lose what is written in it. */
export function keepWriting() {
  document.addEventListener("part-changed", tell);
}
