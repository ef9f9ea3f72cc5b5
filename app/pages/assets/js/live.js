// What others do appears by itself on the pages of whoever has joined: the page is read again
// (keeping_up.js), and of what came, the parts that differ take the place of those shown
// (replacing.js), so nothing is missed and nothing stands twice.

import { keepUp } from "./keeping_up.js";
import { pageIn, replaceParts } from "./replacing.js";
import { word } from "./words.js";

const REFUSALS = [401, 403, 404];
const line = document.getElementById("line");
let kept, leaving = false;

/** Read the page again and show what differs. */
export const refresh = () => kept.look();

async function read(answer) {
  const page = pageIn(await answer.text());
  if (!page || !(answer.ok || REFUSALS.includes(answer.status))) return undefined;
  const isMine = answer.ok && page.body.dataset.who === document.body.dataset.who;
  return isMine ? { page } : { over: "ended" };
}

function show({ page }) {
  document.body.dataset.now = page.body.dataset.now ?? "";
  document.dispatchEvent(new CustomEvent("time-told"));
  const differs = replaceParts(page);
  document.dispatchEvent(new CustomEvent("page-refreshed"));
  return differs;
}

function tell(key) {
  if (leaving) return;
  if (line) {
    line.dataset.state = key;
    if (line.textContent !== word(key)) line.textContent = word(key);
  }
  if (key === "ended") leave();
}

/**
 * The session has ended, or is somebody else's by now: what was shown here is not for whoever
 * looks next. What is typed would be lost with it, so then it stays, and is said to be over.
 */
function leave() {
  if (!document.querySelector("form[data-typed], dialog[open]")) location.reload();
}

function signOff() {
  leaving = true;
  kept.stop();
}

/** Follow the meet while this page is to be seen: a server gives a session a few feeds at once. */
export function live() {
  const { meet } = document.body.dataset;
  kept = keepUp({ read, show, touched: tell, meet });
  // A browser that signs off is on its way: the end of its session is no news to it.
  document.addEventListener("submit", ({ target }) => target.matches("form.leave") && signOff());
}
