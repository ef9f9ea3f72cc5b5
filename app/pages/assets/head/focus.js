// Where a keyboard was in a part that is shown anew: what it was on may be gone, as a case is that
// somebody else has ruled on. Then the place goes on in the same part, and is not lost.

let last = { id: "", part: "" };

function remember(event) {
  const part = event.target.closest("[data-live]");
  last = { id: event.target.id, part: part?.id ?? "" };
}

function goOn(event) {
  const part = event.target;
  const isLost = document.activeElement === document.body || document.activeElement === null;
  if (!isLost || part.id !== last.part || document.getElementById(last.id)) return;
  const there = part.querySelector("a[href], button:not(:disabled), summary") ?? heading(part);
  there?.focus({ preventScroll: true });
  // A part that has nothing more to do is hidden, and takes no focus.
  if (document.activeElement === document.body) document.querySelector("h1[tabindex]")?.focus({ preventScroll: true });
}

const heading = (part) => document.getElementById(part.getAttribute("aria-labelledby") ?? `${part.id}-title`);

/** Keep the keyboard's place while parts of the page are replaced. */
export function keepPlace() {
  document.addEventListener("focusin", remember);
  document.addEventListener("part-shown", goOn);
}
