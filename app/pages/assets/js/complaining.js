// What is wrong, said where it is looked for; what was typed stays.

import { isBox } from "./fields.js";
import { asSentence, kindOf, reasonsIn } from "./send.js";
import { has, word } from "./words.js";

/** Why something was not done, in one sentence. */
export const reasonOf = (answer) => (answer.problem ? reasonsIn(answer.problem) : word(answer.status === 0 ? "unreachable" : "odd"));

/** Say something in a place for problems, words or an answer's, and lead there; without words the place is hidden. */
export function complainIn(place, told) {
  if (typeof told === "string") place.textContent = told;
  else place.replaceChildren(...reason(told));
  place.hidden = !told;
  if (told) place.focus();
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
  const kind = kindOf(answer), errors = answer.problem?.errors ?? [];
  const isOfFields = kind === "malformed" && errors.length > 0;
  if (has(`problem ${kind}`) && (isOfFields || document.documentElement.lang !== "en")) place.append(paragraph(word(`problem ${kind}`)));
  if (!isOfFields) place.append(lineOf(reason(answer)));
  for (const error of errors) {
    const way = wayTo(form, error);
    const why = isOfFields && inEnglish(asSentence(error.detail));
    if (!way && !why) continue;
    place.append(lineOf([way, way && why && ": ", why].filter(Boolean)));
  }
  place.focus();
  form.dispatchEvent(new CustomEvent("form-refused", { bubbles: true, detail: answer }));
}

function lineOf(parts) {
  const line = document.createElement("p");
  line.append(...parts);
  return line;
}

const reason = (answer) => [answer.problem ? inEnglish(reasonOf(answer)) : reasonOf(answer), ...(kindOf(answer) === "stale" ? [" ", word("changed")] : [])];

const inEnglish = (textContent) => Object.assign(document.createElement("span"), { lang: "en", textContent });

/** Mark the field at fault; a link that leads to it, or nothing where the form has no such field. */
function wayTo(form, error) {
  const named = form.elements[error.pointer.slice(1).replaceAll("/", ".")];
  // Boxes of one name are a list of fields: the way leads to the first.
  const field = named instanceof RadioNodeList ? named[0] : named;
  if (!(field instanceof Element)) return undefined;
  if (field.type !== "radio") field.setAttribute("aria-invalid", "true"); // not of a radio's role (WAI-ARIA 1.2)
  field.id ||= `field-${field.name}`;
  const title = isBox(field) ? field.closest("fieldset")?.querySelector("legend") : field.labels?.[0];
  return Object.assign(document.createElement("a"), { href: `#${field.id}`, textContent: title?.textContent.trim() ?? error.detail });
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
