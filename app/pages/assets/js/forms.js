// Forms that send documents. In the page:
//   <form data-act="PUT" data-to="/api/…/rulings/{new}" data-etag='"v3"' data-then="refresh"
//         data-sign="Confirm the case of lane 4">
// Names are paths into the document (`observation.baton.metres`); `data-as` says what a field is:
// number, boolean, json, list (a box ticked or not; its item a text, a number or json), lines (an
// item a line), instant (the meet's own time of day; `data-day` is the id of the field with the
// day). Empty fields are left out, and so is what is disabled. {new} is an id that stays the same
// until the form has been taken, so sending it twice does nothing twice. `data-etag-of` is the id of
// the part with the ETag, where what is looked at is shown apart from the form.

import { send, kindOf, newId } from "./send.js";
import { signed } from "./signing.js";
import { refresh } from "./live.js";
import { instantAt } from "./times.js";
import { has, word } from "./words.js";

const READ = {
  number: (field) => Number(field.value.replace(",", ".")),
  boolean: (field) => (field.type === "checkbox" ? field.checked : field.value === "true"),
  json: (field) => JSON.parse(field.value),
  lines: (field) => field.value.split("\n").map((line) => line.trim()).filter(Boolean),
  instant: (field) => instantAt(document.body.dataset.zone, document.getElementById(field.dataset.day).value, field.value),
};
const ITEM = { number: (field) => Number(field.value), json: READ.json };

/** What a form says, as a document. */
export function documentOf(form, submitter) {
  const said = {};
  for (const field of form.elements) {
    if (!field.name || field.matches("button, :disabled")) continue;
    const as = field.dataset.as;
    if (as === "boolean" && field.type === "checkbox") put(said, field.name, field.checked);
    else if (["checkbox", "radio"].includes(field.type) && !field.checked) {
      if (as === "list") put(said, field.name, [], true);
    } else if (field.value.trim() === "") continue;
    else if (as === "list") put(said, field.name, [(ITEM[field.dataset.item] ?? ((one) => one.value))(field)], true);
    else put(said, field.name, (READ[as] ?? ((one) => one.value))(field));
  }
  if (submitter?.name) put(said, submitter.name, READ[submitter.dataset.as]?.(submitter) ?? submitter.value);
  return said;
}

function put(into, path, value, adds = false) {
  const steps = path.split(".");
  const last = steps.pop();
  let at = into;
  for (const step of steps) at = at[step] ??= {};
  at[last] = adds ? [...(at[last] ?? []), ...value] : value;
}

const nameOf = (element) => element?.firstChild?.textContent.trim() ?? "";

// Orders of a decision have no name of their own: together they are one field.
const isSaid = (field) => (field.name || field.matches("[data-order], [data-part]")) && field.type !== "hidden" && !field.matches("button, fieldset, :disabled");

function wordsOf(field) {
  const [label] = field.labels ?? [];
  if (!["checkbox", "radio"].includes(field.type)) return [nameOf(label), field.selectedOptions?.[0].textContent.trim() ?? field.value.trim()];
  return [nameOf(field.closest("fieldset")?.querySelector("legend")), field.checked ? label?.textContent.trim() : ""];
}

/** What somebody chose and typed, in the words of the page: looked at before it is signed. */
const saidIn = (form) => [...form.elements].filter(isSaid).map(wordsOf).filter(([, text]) => text);

async function act(form, submitter) {
  if (form.dataset.busy) return;
  form.dataset.busy = "yes";
  complain(form, undefined);
  form.dataset.newId ??= newId();
  const told = { ...form.dataset, ...submitter?.dataset };
  const address = told.to.replace("{new}", form.dataset.newId);
  if (told.etagOf) told.etag = document.getElementById(told.etagOf).dataset.etag;
  let answer;
  try {
    const body = documentOf(form, submitter);
    const has = told.act !== "DELETE" && told.body !== "none";
    answer = told.sign
      ? await signed(told.act, address, body, { etag: told.etag, summary: told.sign, told: saidIn(form) })
      : await send(told.act, address, { body: has ? body : undefined, etag: told.etag });
  } catch {
    answer = { status: 0, ok: false, problem: { detail: word("odd") } };
  } finally {
    delete form.dataset.busy;
  }
  if (answer === null) return;
  if (!answer.ok) return complain(form, answer);
  delete form.dataset.newId;
  delete form.dataset.typed;
  form.dispatchEvent(new CustomEvent("form-taken", { bubbles: true, detail: answer }));
  await then(form, told.then ?? "refresh", answer);
}

async function then(form, what, answer) {
  if (what === "refresh") {
    form.reset();
    document.activeElement?.blur?.();
    await refresh();
  } else if (what === "reload") location.reload();
  else if (what.startsWith("/")) location.assign(what.replace("{id}", answer.data?.id ?? ""));
}

/** Say what is wrong above the form, with a way to each field at fault; what was typed stays. */
export function complain(form, answer) {
  form.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
  const place = form.querySelector(":scope > .problem") ?? form.insertBefore(Object.assign(document.createElement("div"), { className: "problem", tabIndex: -1 }), form.firstChild);
  place.setAttribute("role", "alert");
  place.replaceChildren();
  place.hidden = !answer;
  if (!answer) return;
  // The service says in English what is wrong; who reads another language is told its kind first.
  const kind = kindOf(answer), first = document.createElement("p");
  if (kind && document.documentElement.lang !== "en" && has(`problem ${kind}`)) place.append(Object.assign(document.createElement("p"), { textContent: word(`problem ${kind}`) }));
  first.textContent = answer.problem?.detail ?? word(answer.status === 0 ? "unreachable" : "odd");
  if (answer.problem) first.lang = "en";
  if (kind === "stale") first.append(" ", word("changed"));
  place.append(first);
  for (const error of answer.problem?.errors ?? []) {
    const field = form.elements[error.pointer.slice(1).replaceAll("/", ".")];
    if (!(field instanceof Element)) continue;
    field.setAttribute("aria-invalid", "true");
    field.id ||= `field-${field.name}`;
    const link = Object.assign(document.createElement("a"), { href: `#${field.id}`, textContent: field.labels?.[0]?.textContent.trim() ?? error.detail });
    const line = document.createElement("p");
    line.append(link);
    place.append(line);
  }
  place.focus();
  form.dispatchEvent(new CustomEvent("form-refused", { bubbles: true, detail: answer }));
}

/** Let every form with `data-act` send what it says, now and after parts were replaced. */
export function listen() {
  document.addEventListener("submit", (event) => {
    if (!event.target.matches("form[data-act]")) return;
    event.preventDefault();
    act(event.target, event.submitter);
  });
  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-act]");
    if (form) form.dataset.typed = "yes";
  });
  document.addEventListener("click", (event) => {
    const common = event.target.closest("[data-fill]");
    if (!common) return;
    const field = document.getElementById(common.dataset.fill);
    field.value = common.dataset.text ?? common.textContent.trim();
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  });
}
