// The page of one appeal: orders, who is named for the panel, and what belongs to a verdict.

import { listenToOrders } from "../js/orders.js";

const version = () => document.getElementById("version").dataset.etag;

/** A form in which somebody types keeps the version that it was begun with: the server then says it. */
function followVersion() {
  for (const form of document.querySelectorAll("form[data-follows]:not([data-typed])")) form.dataset.etag = version();
}

/** The panel's document is made of the seat that is chosen beside each name. */
function seat(form) {
  const place = form.querySelector("[data-seated]");
  place.replaceChildren();
  for (const one of form.querySelectorAll("select[data-official]")) {
    const name = { chair: "chair", member: "members", substitute: "substitutes" }[one.value];
    if (!name) continue;
    const field = Object.assign(document.createElement("input"), { type: "hidden", name, value: one.dataset.official });
    if (name !== "chair") field.dataset.as = "list";
    place.append(field);
  }
}

function settle(form) {
  const chosen = form.querySelector("[name=verdict]:checked")?.value;
  for (const part of form.querySelectorAll("[data-verdict]")) {
    part.hidden = part.dataset.verdict !== chosen;
    part.querySelectorAll("input, textarea, select").forEach((field) => (field.disabled = part.hidden));
  }
}

function settleAll() {
  document.querySelectorAll("form[data-panel]").forEach(seat);
  document.querySelectorAll("form[data-decides]").forEach(settle);
  followVersion();
}

document.addEventListener("change", (event) => {
  const form = event.target.form;
  if (form?.matches("[data-panel]")) seat(form);
  if (form?.matches("[data-decides]")) settle(form);
});
document.addEventListener("part-shown", settleAll);
document.addEventListener("page-refreshed", followVersion);
// Whoever was told that it has changed, and sends it again, means it as it is now.
document.addEventListener("form-refused", ({ target }) => target.matches("form[data-follows]") && (target.dataset.etag = version()));
listenToOrders();
settleAll();
