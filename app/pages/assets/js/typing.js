// Whether somebody writes in a form: `data-typed` says so while it is other than it came. A part with
// such a form stays as it is (replacing.js), and nobody leaves the page without being asked.

import { isBox } from "./fields.js";

/** Whether a field holds something else than it came with. */
export function isChanged(field) {
  if (isBox(field)) return field.checked !== field.defaultChecked;
  if (field.matches("select")) return field.selectedIndex !== Math.max(0, [...field.options].findIndex((one) => one.defaultSelected));
  return field.matches("input, textarea") && (field.value !== field.defaultValue || field.validity.badInput);
}

/** Say of a form whether it is other than it came; an order that was added is a change in itself. */
export function noteTyping(form) {
  const typed = [...form.elements].some(isChanged) || form.querySelector("[data-order-kind]") !== null;
  if (typed) form.dataset.typed = "yes";
  else delete form.dataset.typed;
}

/** Follow what is typed in every form that sends something. */
export function followTyping() {
  document.addEventListener("input", ({ target }) => {
    const form = target.closest("form[data-act]");
    if (form) noteTyping(form);
  });
  document.addEventListener("reset", ({ target }) => setTimeout(noteTyping, 0, target));
  addEventListener("beforeunload", (event) => {
    if (document.querySelector("form[data-typed]")) event.preventDefault();
  });
}
