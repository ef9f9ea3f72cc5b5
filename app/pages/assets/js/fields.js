// What the fields of a form hold, as a document has it and as somebody reads it before signing. Names
// are paths into the document (`observation.baton.metres`); `data-as` says what a field is: number,
// boolean, json, list (a box ticked or not; its item a text, a number or json), lines (an item a
// line), instant (the meet's own time of day; `data-day` is the id of the field with the day). Empty
// fields are left out, and so is what is disabled. Fields inside `data-row` make an object of a list of
// that name; a row without what it `data-needs` is left out. `data-rows` names a list that may be empty.

import { seen } from "./seen.js";
import { instantAt } from "./times.js";

/** A number as people type it. */
export const numberIn = (field) => Number(field.value.replace(",", "."));

const READ = {
  number: numberIn,
  boolean: (field) => (field.type === "checkbox" ? field.checked : field.value === "true"),
  json: (field) => JSON.parse(field.value),
  lines: (field) => seen(field.value).split("\n").map((line) => line.trim()).filter(Boolean),
  instant: (field) => instantAt(document.body.dataset.zone, document.getElementById(field.dataset.day).value, field.value),
};
const read = (field, as = field.dataset.as) => (READ[as] ?? ((one) => seen(one.value)))(field);

/** What a form says, as a document. */
export function documentOf(form, submitter) {
  const said = {}, rows = new Map();
  for (const field of form.elements) {
    if (!field.name || field.matches("button, :disabled")) continue;
    const row = field.closest("[data-row]");
    if (row && !rows.has(row)) rows.set(row, {});
    putField(row ? rows.get(row) : said, field);
  }
  for (const list of form.querySelectorAll("[data-rows]")) put(said, list.dataset.rows, [], true);
  for (const [row, one] of rows) if (!row.dataset.needs || row.dataset.needs in one) put(said, row.dataset.row, [one], true);
  if (submitter?.name) put(said, submitter.name, read(submitter));
  return said;
}

function putField(said, field) {
  const { as, item } = field.dataset;
  if (as === "boolean" && field.type === "checkbox") put(said, field.name, field.checked);
  else if (isBox(field) && !field.checked) {
    if (as === "list") put(said, field.name, [], true);
  } else if (field.value.trim() === "") return;
  else if (as === "list") put(said, field.name, [read(field, item ?? "")], true);
  else put(said, field.name, read(field));
}

function put(into, path, value, adds = false) {
  const steps = path.split(".");
  const last = steps.pop();
  let at = into;
  for (const step of steps) at = at[step] ??= {};
  at[last] = adds ? [...(at[last] ?? []), ...value] : value;
}

/** Whether a field is ticked or not, rather than typed. */
export const isBox = (field) => ["checkbox", "radio"].includes(field.type);

const nameOf = (element) => element?.firstChild?.textContent.trim() ?? "";

// Orders of a decision have no name of their own: together they are one field.
const isSaid = (field) => (field.name || field.matches("[data-order], [data-part]")) && field.type !== "hidden" && !field.matches("button, fieldset, :disabled");

function wordsOf(field) {
  const [label] = field.labels ?? [];
  if (!isBox(field)) return [nameOf(label), field.selectedOptions?.[0].textContent.trim() ?? field.value.trim()];
  return [nameOf(field.closest("fieldset")?.querySelector("legend")), field.checked ? label?.textContent.trim() : ""];
}

/** What somebody chose and typed, in the words of the page: looked at before it is signed. */
export const saidIn = (form) => [...form.elements].filter(isSaid).map(wordsOf).filter(([, text]) => text);
