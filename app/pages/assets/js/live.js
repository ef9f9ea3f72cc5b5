// What others do appears by itself: the record's live feed says that something happened, and the
// page is read again. Of what came, the parts that differ take the place of those shown
// (replacing.js), so nothing is missed and nothing stands twice.

import { replaceParts } from "./replacing.js";
import { word } from "./words.js";

const meet = document.body.dataset.meet;
const line = document.getElementById("line");
let stream, again, wait = 1000, reading, owed = false;

function tell(key) {
  if (!line) return;
  line.dataset.state = key;
  if (line.textContent !== word(key)) line.textContent = word(key);
}

/** Read the page again and show what differs. */
export async function refresh() {
  if (reading) {
    owed = true;
    return reading;
  }
  reading = readAgain().finally(() => {
    reading = undefined;
    if (owed) {
      owed = false;
      refresh();
    }
  });
  return reading;
}

async function readAgain() {
  let answer;
  try {
    answer = await fetch(location.href.split("#")[0], { headers: { Accept: "text/html" }, cache: "no-store" });
  } catch {
    return tell("out of touch");
  }
  if ([401, 403, 404].includes(answer.status)) return over();
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (fresh.body.dataset.who !== document.body.dataset.who) return over();
  document.body.dataset.now = fresh.body.dataset.now ?? "";
  document.dispatchEvent(new CustomEvent("time-told"));
  replaceParts(fresh);
  document.dispatchEvent(new CustomEvent("page-refreshed"));
}

/**
 * The session has ended, or is somebody else's by now: what was shown here is not for whoever
 * looks next. What is typed would be lost with it, so then it stays, and is said to be over.
 */
function over() {
  stream?.close();
  clearTimeout(again);
  tell("ended");
  if (!document.querySelector("form[data-typed], dialog[open]")) location.reload();
}

function connect() {
  clearTimeout(again);
  stream?.close();
  stream = new EventSource(`/api/meets/${meet}/feed`);
  stream.addEventListener("open", () => {
    wait = 1000;
    tell("in touch");
    refresh();
  });
  for (const name of ["entry", "reset", "bye"]) stream.addEventListener(name, refresh);
  stream.addEventListener("ended", over);
  stream.addEventListener("error", () => {
    if (line?.dataset.state === "ended") return;
    tell("out of touch");
    stream.close();
    // Spread, so that a whole crew does not knock in one instant after the server was gone.
    again = setTimeout(connect, wait * (0.5 + Math.random() / 2));
    wait = Math.min(wait * 2, 8000);
  });
}

/** Follow the meet while this page is to be seen: a server gives a session a few feeds at once. */
export function live() {
  connect();
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) {
      clearTimeout(again);
      stream.close();
    } else connect();
  });
  // A browser that signs off is on its way: the end of its session is no news to it.
  document.addEventListener("submit", ({ target }) => target.matches("form.leave") && stream.close());
  addEventListener("online", connect);
  addEventListener("pageshow", (event) => event.persisted && connect());
}
