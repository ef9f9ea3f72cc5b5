// Of a page that was read again, the parts marked `data-live` that differ take the place of those
// shown. A part in which somebody types, or that is marked `data-keep`, stays as it is.

// A part as it came: what counts down in it changes it here, and is no news.
const came = new WeakMap();
for (const part of document.querySelectorAll("[data-live]")) came.set(part, part.outerHTML);

/** Show what differs in a page that was read again. */
export function replaceParts(fresh) {
  for (const part of fresh.querySelectorAll("[data-live]")) {
    if (!part.parentElement?.closest("[data-live]")) replace(part);
  }
}

function replace(part) {
  const shown = document.getElementById(part.id);
  if (!shown || came.get(shown) === part.outerHTML || shown.outerHTML === part.outerHTML) return;
  if (isInUse(shown)) {
    shown.dispatchEvent(new CustomEvent("part-changed", { bubbles: true }));
    return;
  }
  came.set(part, part.outerHTML);
  const focused = shown.contains(document.activeElement) ? document.activeElement.id : "";
  const open = [...shown.querySelectorAll("details[open][id]")].map((one) => one.id);
  shown.replaceWith(part);
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  part.dispatchEvent(new CustomEvent("part-shown", { bubbles: true }));
}

function isInUse(part) {
  const typing = part.contains(document.activeElement) && document.activeElement.matches("input, textarea, select");
  return typing || part.matches("[data-keep]") || part.querySelector("dialog[open], form[data-typed]") !== null;
}
