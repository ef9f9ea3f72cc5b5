// Public pages have no session and no feed: they read themselves again every ten seconds while they
// are to be seen, and say when they did so last.

import { keepUp } from "./keeping_up.js";
import { pageIn, replaceParts, sheetOf } from "./replacing.js";
import { serverNow } from "./times.js";
import { word } from "./words.js";

const EVERY = 10_000;
// A countdown ends up to one second early here: what a window's end has changed is there to be read
// two seconds later.
const LAG = 2000;
const { lang } = document.documentElement;
const time = new Intl.DateTimeFormat(lang, { timeStyle: "medium", hourCycle: "h23", timeZone: document.body.dataset.zone });
let known;

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

async function read(answer) {
  if (!answer.ok) return undefined;
  const [version, date] = ["ETag", "Date"].map((name) => answer.headers.get(name));
  if (version === known) return { version, date };
  const page = pageIn(await answer.text());
  return page && { version, date, page };
}

function show({ version, date, page }) {
  learnTime(date);
  // Another release of the program: its scripts and sheets belong to its pages.
  if (page && sheetOf(page) !== sheetOf(document)) return location.reload();
  if (page) replaceParts(page);
  known = version;
  document.dispatchEvent(new CustomEvent("page-refreshed"));
  return page !== undefined;
}

/** Keep the page up to date while it is to be seen. */
export function poll() {
  keepUp({ cache: "no-cache", read, show, touched: tell, every: EVERY, lag: LAG });
}
