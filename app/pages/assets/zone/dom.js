// Elements made of names, attributes and what is in them; text stays text.

const SVG = "http://www.w3.org/2000/svg";

function made(element, attributes, inside) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...inside.flat(4).filter((one) => one !== undefined && one !== null && one !== false && one !== ""));
  return element;
}

/** An element of the page. */
export const h = (tag, attributes = {}, ...inside) => made(document.createElement(tag), attributes, inside);

/** An element of a drawing. */
export const s = (tag, attributes = {}, ...inside) => made(document.createElementNS(SVG, tag), attributes, inside);

/** A button that does what `act` names; `value` goes with it. */
export const does = (act, value, attributes, ...inside) =>
  h("button", { type: "button", "data-do": act, "data-with": value, ...attributes }, ...inside);

/** Put `inside` into a place if it differs from what stands there; focus stays where it was. */
export function show(place, ...inside) {
  const fresh = place.cloneNode(false);
  fresh.append(...inside.flat(4).filter(Boolean));
  if (fresh.innerHTML === place.innerHTML) return;
  const focused = place.contains(document.activeElement) && way(document.activeElement);
  const open = [...place.querySelectorAll("details[open][id]")].map((one) => one.id);
  place.replaceChildren(...fresh.childNodes);
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  if (focused) place.querySelector(focused)?.focus({ preventScroll: true });
}

// How an element is found again in what takes its place.
function way({ id, dataset }) {
  if (id) return `#${CSS.escape(id)}`;
  return dataset.do && `[data-do="${CSS.escape(dataset.do)}"][data-with="${CSS.escape(dataset.with)}"]`;
}
