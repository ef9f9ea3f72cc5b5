// Orders of a decision: those that are ticked and those that are put together become the document,
// and what they would move is asked for and shown before anything is signed.

import { reasonOf } from "./complaining.js";
import { numberIn } from "./fields.js";
import { send } from "./send.js";
import { word } from "./words.js";

let asking;

function orderIn(item) {
  const order = { order: item.dataset.orderKind };
  for (const field of item.querySelectorAll("[data-part]")) {
    if (field.type === "checkbox") {
      if (field.checked) (order[field.dataset.part] ??= []).push(field.value);
    } else if (field.value.trim() !== "") {
      order[field.dataset.part] = field.dataset.as === "number" ? numberIn(field) : field.value.trim();
    }
  }
  return order;
}

function gather(part) {
  const ticked = [...part.querySelectorAll("[data-order]:checked")].map((one) => JSON.parse(one.dataset.order));
  return [...ticked, ...[...part.querySelectorAll("[data-order-kind]")].map(orderIn)];
}

const make = (name, text, lang) => Object.assign(document.createElement(name), { textContent: text, ...(lang && { lang }) });

function show(part, answer) {
  const place = part.querySelector("[data-foreseen]");
  place.replaceChildren();
  place.hidden = false;
  if (!answer.ok) {
    const problem = make("p", reasonOf(answer), answer.problem && "en");
    return place.append(problem);
  }
  place.append(make("h3", word("would move")));
  const { moves, too_late: tooLate } = answer.data;
  const list = document.createElement("ul");
  list.append(...moves.map((one) => make("li", one.sentence, "en")));
  if (moves.length) place.append(list);
  else if (!tooLate.length) place.append(make("p", word("moves nothing")));
  place.append(...tooLate.map((one) => make("p", one, "en")));
}

async function look(part) {
  const orders = gather(part);
  const asked = asking;
  if (!orders.length || !part.dataset.consequences) return;
  const answer = await send("POST", part.dataset.consequences, { body: { orders } });
  if (asked === asking) show(part, answer);
}

let soon;
function lookSoon(part) {
  part.querySelector("[data-as=json]").value = JSON.stringify(gather(part));
  // What was foreseen of other orders, or still comes, is not to be signed with these.
  part.querySelector("[data-foreseen]").hidden = true;
  asking = {};
  clearTimeout(soon);
  soon = setTimeout(look, 250, part);
}

function add(part, chooser) {
  const template = part.querySelector(`template[data-kind="${chooser.value}"]`);
  chooser.value = "";
  if (!template) return;
  const item = template.content.cloneNode(true).firstElementChild;
  part.querySelector("[data-added]").append(item);
  item.querySelector("select, input").focus();
}

/** Follow every builder of orders on the page, now and after parts were replaced. */
export function listenToOrders() {
  document.addEventListener("input", (event) => {
    const part = event.target.closest("[data-orders]");
    if (!part) return;
    if (event.target.matches("[data-another]")) add(part, event.target);
    lookSoon(part);
  });
  document.addEventListener("click", (event) => {
    const item = event.target.closest("[data-drop]")?.closest("[data-order-kind]");
    if (!item) return;
    const another = item.closest("[data-orders]").querySelector("[data-another]");
    item.remove();
    another.focus();
    another.dispatchEvent(new Event("input", { bubbles: true })); // what the form says has changed
  });
}
