// Orders of a decision: what is ticked, what is put together of parts, and what all of it would move
// as the server works it out before anything is signed.

import { send } from "./send.js";
import { word } from "./words.js";

const numbers = new WeakMap(); // of the last question a builder asked: an older answer is not shown

function element(name, text, more = {}) {
  return Object.assign(document.createElement(name), { textContent: text, ...more });
}

const ticked = (builder) =>
  [...builder.querySelectorAll("input[name=orders]:checked")].map((box) => JSON.parse(box.value));

async function look(builder) {
  const place = builder.querySelector(".moves");
  const asked = (numbers.get(builder) ?? 0) + 1;
  numbers.set(builder, asked);
  const orders = ticked(builder);
  if (!orders.length) return place.replaceChildren();
  const answer = await send("POST", builder.dataset.look, { body: { orders } });
  if (numbers.get(builder) !== asked) return;
  if (answer.ok) place.replaceChildren(...told(answer.data));
  else {
    const words = answer.problem?.detail ?? word("unreachable");
    place.replaceChildren(element("p", words, { className: "problem", lang: answer.problem ? "en" : "" }));
  }
}

function told({ moves, too_late: late }) {
  if (!moves.length && !late.length) return [element("p", word("moves nothing"))];
  const parts = moves.length ? [element("p", word("would be ordered")), list(moves.map((move) => move.sentence))] : [];
  return late.length ? [...parts, element("p", word("too late")), list(late)] : parts;
}

function list(sentences) {
  const all = document.createElement("ul");
  all.append(...sentences.map((text) => element("li", text, { lang: "en" })));
  return all;
}

const kindOf = (builder) => builder.querySelector("[data-further]").value;

function offerParts(builder) {
  const kind = kindOf(builder);
  builder.querySelector("[data-for]").hidden = !kind;
  for (const part of builder.querySelectorAll("[data-kinds]")) part.hidden = !part.dataset.kinds.split("|").includes(kind);
}

/** The order that the parts make, and its words: the kind, and what was chosen or typed. */
function made(builder) {
  const further = builder.querySelector("[data-further]");
  const order = { order: further.value };
  const words = [further.selectedOptions[0].textContent];
  for (const part of builder.querySelectorAll("[data-part]")) {
    if (part.closest("[hidden]") || !part.value.trim() || (part.type === "checkbox" && !part.checked)) continue;
    const value = "number" in part.dataset ? Number(part.value) : part.value.trim();
    const key = part.dataset.part;
    order[key] = "many" in part.dataset ? [...(order[key] ?? []), value] : value;
    words.push((part.selectedOptions?.[0] ?? part.labels[0] ?? part).textContent.trim() + (part.matches("input:not([type=checkbox])") ? `: ${part.value.trim()}` : ""));
  }
  return { order, words: words.join(" · ") };
}

function add(builder) {
  const { order, words } = made(builder);
  if (!order.order) return;
  const box = element("input", "", { type: "checkbox", name: "orders", value: JSON.stringify(order), checked: true });
  Object.assign(box.dataset, { as: "list", item: "json" });
  const label = element("label", "", { className: "pick" });
  label.append(box, element("bdi", words));
  builder.querySelector(".added").append(label);
  box.focus();
  look(builder);
}

/** Let every builder of orders on the page show what its orders would move. */
export function buildOrders() {
  document.addEventListener("change", (event) => {
    const builder = event.target.closest?.(".orders");
    if (!builder) return;
    if (event.target.matches("[data-further]")) offerParts(builder);
    else if (event.target.name === "orders") look(builder);
  });
  document.addEventListener("click", (event) => {
    const builder = event.target.closest("[data-add]")?.closest(".orders");
    if (builder) add(builder);
  });
}
