// What is wrong, said where it is looked for; what was typed stays.

import { isBox } from "./fields.js";
import { kindOf } from "./send.js";
import { has, word } from "./words.js";

/** Why something was not done, in one sentence. */
export const reasonOf = (answer) => answer.problem?.detail ?? word(answer.status === 0 ? "unreachable" : "odd");

/** Say something in a place for problems, and lead there; without words the place is hidden. */
export function complainIn(place, words) {
  place.textContent = words;
  place.hidden = !words;
  if (words) place.focus();
}

function placeIn(form) {
  const place = form.querySelector(":scope > .problem:not(.changed-note)") ?? form.insertBefore(Object.assign(document.createElement("div"), { className: "problem", tabIndex: -1 }), form.firstChild);
  place.setAttribute("role", "alert");
  return place;
}

const paragraph = (textContent) => Object.assign(document.createElement("p"), { textContent });

/** Say above the form why it was not taken, with a way to each field at fault. */
export function complain(form, answer) {
  form.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
  const place = placeIn(form);
  place.replaceChildren();
  place.hidden = !answer;
  if (!answer) return;
  // The service says in English what is wrong; who reads another language is told its kind first.
  const kind = kindOf(answer), first = paragraph(reasonOf(answer));
  if (kind && document.documentElement.lang !== "en" && has(`problem ${kind}`)) place.append(paragraph(word(`problem ${kind}`)));
  if (answer.problem) first.lang = "en";
  if (kind === "stale") first.append(" ", word("changed"));
  place.append(first);
  for (const error of answer.problem?.errors ?? []) pointAt(form, place, error);
  place.focus();
  form.dispatchEvent(new CustomEvent("form-refused", { bubbles: true, detail: answer }));
}

function pointAt(form, place, error) {
  const named = form.elements[error.pointer.slice(1).replaceAll("/", ".")];
  // Boxes of one name are a list of fields: the way leads to the first.
  const field = named instanceof RadioNodeList ? named[0] : named;
  if (!(field instanceof Element)) return;
  if (field.type !== "radio") field.setAttribute("aria-invalid", "true"); // not of a radio's role (WAI-ARIA 1.2)
  field.id ||= `field-${field.name}`;
  const title = isBox(field) ? field.closest("fieldset")?.querySelector("legend") : field.labels?.[0];
  const text = title?.textContent.trim() ?? error.detail;
  const line = document.createElement("p");
  line.append(Object.assign(document.createElement("a"), { href: `#${field.id}`, textContent: text }));
  place.append(line);
}

/** Say above the form what has happened, with the one thing that is left to do about it. */
export function offer(form, words, label, act) {
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: label });
  button.addEventListener("click", act);
  const place = placeIn(form);
  place.replaceChildren(paragraph(words), button);
  place.hidden = false;
  place.focus();
}
