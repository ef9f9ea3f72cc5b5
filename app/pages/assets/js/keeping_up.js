// How a page stays up to date while it is to be seen: it is read again when the meet's live feed says
// that something happened, when a countdown on it ends, and from time to time without either. That
// look is what finds a line that died without a word. A read ends within its limit, and one that
// failed is tried again by itself.

import { liveFeed } from "./feed.js";
import { limited } from "./send.js";
import { growingWaits } from "./waits.js";

const PATIENCE = 8000, SOON = 2000, LONGEST_WAIT = 60_000;

const thisPage = () => location.href.split("#")[0];
const asPage = () => ({ Accept: "text/html" });

/**
 * Keep up with `address`, the page itself where none is named. `read` makes of an answer what is to be
 * shown, `over` with "ended" or "refused", or nothing where no part of the service has answered. `show`
 * shows it, told when it was asked for, and says whether anything was new. `touched` is told "in touch"
 * after each read, "out of touch" where there is none, and what it is over with. `meet` is whose feed
 * to follow, if any; `every` the milliseconds between looks; `lag` how long after its end a countdown's
 * end is to be read of.
 */
export function keepUp({ address = thisPage, headers = asPage, cache = "no-store", read, show, touched, meet, every = 20_000, lag = 500 }) {
  const feed = meet && liveFeed(meet, () => look());
  const waits = growingWaits(1000, 8000);
  let state = "", reading, next, timer, byItself = false, failures = 0, notBefore = 0;

  function touch(now) {
    state = now;
    touched(now);
  }

  /** Read. Resolves when a read that began now or later has ended; of many asked for meanwhile one is made. */
  function look() {
    const early = notBefore - performance.now();
    if (early > 0) {
      rest(early);
      return Promise.resolve();
    }
    if (next) return next;
    if (!reading) return begin();
    next = reading.then(begin, begin);
    return next;
  }

  function begin() {
    next = undefined;
    reading = readOnce().finally(() => (reading = undefined));
    return reading;
  }

  function rest(milliseconds) {
    clearTimeout(timer);
    if (document.hidden) return;
    timer = setTimeout(() => {
      byItself = true;
      look();
    }, milliseconds);
  }

  async function readOnce() {
    const asked = Date.now(), untold = byItself;
    byItself = false;
    clearTimeout(timer);
    const found = await answered();
    if (found.over) return end(found.over);
    if (found.failed) return tryAgain(found);
    rest(every);
    let isNew;
    try {
      isNew = await show(found, asked);
    } catch (error) {
      tryAgain({});
      throw error;
    }
    // A line that was lost took the feed with it; one that did not tell of this is dead.
    if (feed && !document.hidden && (failures || isOver() || (untold && isNew))) feed.open();
    failures = 0;
    waits.startAgain();
    touch("in touch");
  }

  async function answered() {
    try {
      return (await limited(PATIENCE, ask)) ?? { failed: true };
    } catch {
      return { failed: true };
    }
  }

  async function ask(signal) {
    const answer = await fetch(address(), { headers: headers(), cache, signal });
    return isLater(answer) ? { failed: true, later: 1000 * Number(answer.headers.get("Retry-After")) || 0 } : read(answer);
  }

  const isLater = ({ status }) => status === 429 || status >= 500;
  const isOver = () => state === "ended" || state === "refused";

  // A server that asks for a moment is still there: that is told only where it lasts.
  function tryAgain({ later }) {
    failures += 1;
    const wait = Math.max(waits.next(), Math.min(later ?? 0, LONGEST_WAIT));
    if (later) notBefore = performance.now() + wait;
    if (later === undefined || failures > 1 || wait > PATIENCE) touch("out of touch");
    rest(wait);
  }

  // A role that was taken by mistake is given back, and nothing else would tell; a session is not.
  function end(how) {
    feed?.close();
    if (how === "refused") rest(every);
    touch(how);
  }

  function start() {
    stop();
    if (document.hidden) return;
    feed?.open();
    rest(feed ? SOON : 0); // a feed that opens asks by itself
  }

  function stop() {
    state = ""; // who holds a phone when it is looked at again, nobody knows
    clearTimeout(timer);
    feed?.close();
  }

  const lookIfSeen = () => document.hidden || look();
  document.addEventListener("visibilitychange", () => (document.hidden ? stop() : start()));
  document.addEventListener("time-over", () => setTimeout(lookIfSeen, lag * (1 + Math.random() / 3)));
  addEventListener("online", start);
  addEventListener("offline", lookIfSeen);
  addEventListener("pageshow", (event) => event.persisted && start());
  start();
  return { look, stop, isInTouch: () => state === "in touch" };
}
