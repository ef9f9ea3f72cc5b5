// Public pages have no session and no feed: they read themselves again every ten seconds while they
// are to be seen, and say when they did so last.

import { replaceParts } from "./replacing.js";
import { serverNow } from "./times.js";
import { word } from "./words.js";

const EVERY = 10_000;
const { lang } = document.documentElement;
const time = new Intl.DateTimeFormat(lang, { timeStyle: "medium", hourCycle: "h23", timeZone: document.body.dataset.zone });
let known, reading = false, again;

/** A time of day of the meet, as the page's language writes it. */
export const timeOfDay = (instant) => time.format(instant);

function tell(key) {
  const line = document.getElementById("touch");
  line.closest("p").hidden = false;
  line.dataset.state = key;
  if (line.textContent !== word(key)) line.textContent = word(key);
  if (key === "in touch") document.getElementById("touched").textContent = word("read at", { time: timeOfDay(serverNow()) });
}

// The page may have been kept on its way for some seconds, so its own time would be old; the answer
// to this question is not. `Date` names whole seconds: rather one less is left than one too many.
function learnTime(date) {
  const told = Date.parse(date ?? "");
  if (Number.isNaN(told)) return;
  document.body.dataset.now = new Date(told + 1000).toISOString();
  document.dispatchEvent(new CustomEvent("time-told"));
}

async function readAgain() {
  let answer, text;
  try {
    answer = await fetch(location.href.split("#")[0], { headers: { Accept: "text/html" }, cache: "no-cache" });
    if (answer.ok && answer.headers.get("ETag") !== known) text = await answer.text();
  } catch {
    return tell("out of touch");
  }
  if (!answer.ok) return tell("out of touch");
  learnTime(answer.headers.get("Date"));
  if (text !== undefined) show(text);
  known = answer.headers.get("ETag");
  document.dispatchEvent(new CustomEvent("page-refreshed"));
  tell("in touch");
}

function show(text) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const sheet = (page) => page.querySelector("link[rel=stylesheet]")?.getAttribute("href");
  // Another release of the program: its scripts and sheets belong to its pages.
  if (sheet(fresh) !== sheet(document)) return location.reload();
  replaceParts(fresh);
}

async function look() {
  if (reading || document.hidden) return;
  reading = true;
  clearTimeout(again);
  await readAgain();
  reading = false;
  again = setTimeout(look, EVERY);
}

/** Keep the page up to date while it is to be seen. */
export function poll() {
  look();
  document.addEventListener("visibilitychange", look);
  document.addEventListener("time-over", look);
  for (const name of ["online", "pageshow"]) addEventListener(name, look);
}
