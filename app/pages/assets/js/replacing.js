// Of a page that was read again, the parts marked `data-live` that differ take the place of those
// shown. Such parts, and those marked `data-comes`, come where they are new and go where they are
// no more. A part in which somebody types, or that is marked `data-keep`, stays as it is.

const COMES = "[data-live][id], [data-comes][id]";

// A part as it came: what counts down in it changes it here, and is no news.
const came = new WeakMap();
for (const part of document.querySelectorAll("[data-live]")) came.set(part, part.outerHTML);

/** The page that was answered; nothing where it is none of the service's, but a network's own. */
export function pageIn(text) {
  const page = new DOMParser().parseFromString(text, "text/html");
  return sheetOf(page)?.startsWith("/assets/") ? page : undefined;
}

/** The address of a page's sheet: it names the release of the program. */
export const sheetOf = (page) => page.querySelector("link[rel=stylesheet]")?.getAttribute("href");

/** Show what differs in a page that was read again; whether anything did. */
export function replaceParts(fresh) {
  const told = new Set([...fresh.querySelectorAll(COMES)].map((part) => part.id));
  const changes = [
    ...[...document.querySelectorAll(COMES)].filter((part) => !told.has(part.id)).map(takeAway),
    ...[...fresh.querySelectorAll(COMES)].filter(stands).map(bring),
    ...[...fresh.querySelectorAll("[data-live]")].filter(stands).map(replace),
  ];
  return changes.includes(true);
}

const stands = (part) => !part.parentElement?.closest("[data-live]");

// Each of these says whether it changed the page.
function takeAway(part) {
  if (isInUse(part)) return hold(part);
  part.remove();
  return true;
}

function hold(part) {
  part.dispatchEvent(new CustomEvent("part-changed", { bubbles: true }));
  return false;
}

/** A new part comes beside what it stands beside in the page that was read. */
function bring(part) {
  if (document.getElementById(part.id)) return false;
  const copy = document.importNode(part, true);
  came.set(copy, part.outerHTML);
  const [before, after] = ["previousElementSibling", "nextElementSibling"].map((step) => neighbour(part, step));
  if (before) before.after(copy);
  else after?.before(copy);
  copy.dispatchEvent(new CustomEvent("part-shown", { bubbles: true }));
  return true;
}

function neighbour(part, step) {
  for (let one = part[step]; one; one = one[step]) {
    const shown = one.id && document.getElementById(one.id);
    if (shown) return shown;
  }
  return undefined;
}

function replace(part) {
  const shown = document.getElementById(part.id);
  if (!shown || came.get(shown) === part.outerHTML || shown.outerHTML === part.outerHTML) return false;
  if (isInUse(shown)) return hold(shown);
  came.set(part, part.outerHTML);
  const focused = shown.contains(document.activeElement) ? document.activeElement.id : "";
  const open = [...shown.querySelectorAll("details[open][id]")].map((one) => one.id);
  shown.replaceWith(part);
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  part.dispatchEvent(new CustomEvent("part-shown", { bubbles: true }));
  return true;
}

function isInUse(part) {
  const typing = part.contains(document.activeElement) && document.activeElement.matches("input, textarea, select");
  return typing || part.matches("[data-keep]") || part.querySelector("dialog[open], form[data-typed]") !== null;
}
