// Forms that send documents. In the page:
//   <form data-act="PUT" data-to="/api/…/rulings/{new}" data-etag='"v3"' data-then="refresh"
//         data-sign="Confirm the case of lane 4" data-shows="id of the part that is signed about">
// A choice that is signed for what it does has its own `data-shows`, and maybe its own words.
// What its fields are, fields.js says. {new} is an id that stays the same until the form has been
// taken, so sending it twice does nothing twice. `data-etag-of` is the id of the part with the ETag,
// where what is looked at is shown apart from the form.

import { complain, offer } from "./complaining.js";
import { documentOf, saidIn } from "./fields.js";
import { refresh } from "./live.js";
import { kindOf, newId, send } from "./send.js";
import { signed } from "./signing.js";
import { word } from "./words.js";

async function act(form, submitter) {
  if (form.dataset.busy) return;
  form.dataset.busy = "yes";
  complain(form, undefined);
  form.dataset.newId ??= newId();
  const chosen = form.querySelector("input[data-shows]:checked");
  const told = { ...form.dataset, ...chosen?.dataset, ...submitter?.dataset };
  let answer;
  try {
    answer = await ask(form, submitter, told);
  } catch {
    answer = { ok: false };
  } finally {
    delete form.dataset.busy;
  }
  if (answer === null) return;
  if (answer.ok) return taken(form, told, answer);
  if (told.to.includes("{new}") && kindOf(answer) === "id-taken") return tellTaken(form, told);
  complain(form, answer);
}

function ask(form, submitter, told) {
  const address = told.to.replace("{new}", told.newId);
  const etag = told.etagOf ? document.getElementById(told.etagOf).dataset.etag : told.etag;
  const body = documentOf(form, submitter);
  if (told.sign) return signed(told.act, address, body, { etag, summary: told.sign, told: saidIn(form), shows: document.getElementById(told.shows ?? "") });
  const has = told.act !== "DELETE" && told.body !== "none";
  return send(told.act, address, { body: has ? body : undefined, etag });
}

// An id that was chosen here belongs to what was sent first: only its answer was lost, and the form
// was changed since. It goes on as if that answer had come. Sent under another id, it would be a
// second thing of its kind that nobody meant.
function tellTaken(form, told) {
  const answer = { ok: true, status: 200, data: { id: told.newId } };
  offer(form, word("taken first"), word("show taken"), () => taken(form, told, answer));
}

async function taken(form, told, answer) {
  complain(form, undefined);
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

/** A time of day says nothing without its day, and another day than was put in nothing without its time. */
function askForBoth(field) {
  const day = document.getElementById(field.dataset.day ?? "");
  if (day) day.required = field.value !== "";
  const time = field.type === "date" && field.id && document.querySelector(`[data-day="${field.id}"]`);
  if (!time) return;
  time.dataset.must ??= time.required ? "yes" : "";
  time.required = time.dataset.must === "yes" || !["", field.defaultValue].includes(field.value);
}

const textOf = (button) => button.dataset.text ?? button.textContent.trim();

function fillIn(button) {
  const { fill } = button.dataset, text = textOf(button);
  const field = document.getElementById(fill);
  const common = [...document.querySelectorAll(`[data-fill="${fill}"]`)].map(textOf);
  const typed = field.value.trim();
  // One common reason takes the place of another, and none that of what somebody typed.
  field.value = typed && !common.includes(typed) ? `${typed} ${text}` : text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.focus();
}

/** Let every form with `data-act` send what it says, now and after parts were replaced. */
export function listen() {
  document.addEventListener("submit", (event) => {
    if (!event.target.matches("form[data-act]")) return;
    event.preventDefault();
    act(event.target, event.submitter);
  });
  document.addEventListener("input", ({ target }) => askForBoth(target));
  document.addEventListener("click", ({ target }) => {
    const common = target.closest("[data-fill]");
    if (common) fillIn(common);
  });
}
