// What comes from the server by itself: the meet as this phone shows it, and how far this phone's clock
// is from the server's. The meet is read at the start, and again whenever the live feed says that
// something happened; a look every twenty seconds keeps “in touch” true where a line died without a
// word. The clock is measured by the four times of an NTP exchange (RFC 5905, 8) over HTTP: of several
// the one with the shortest way, whose error is at most half the time that was under way.

import { send } from "../js/send.js";

const EVERY = 20_000, PATIENCE = 8000;

/**
 * Follow a meet. `told` gets what was read and when it was asked for, `same` when it was asked for
 * where nothing was new, `touched` how the line is.
 */
export function follow({ meet, told, same, touched }) {
  let stream, again, wait = 1000, etag, reading, owed = false, line = "";

  function touch(state) {
    line = state;
    touched(state);
  }

  function look() {
    if (reading) {
      owed = true;
      return reading;
    }
    reading = readOnce().finally(() => {
      reading = undefined;
      if (owed) {
        owed = false;
        look();
      }
    });
    return reading;
  }

  async function readOnce() {
    const asked = Date.now();
    let answer;
    try {
      const headers = etag ? { "If-None-Match": etag } : {};
      answer = await fetch(`/api/meets/${meet}/watch`, { headers, cache: "no-store", signal: AbortSignal.timeout?.(PATIENCE) });
      if (answer.status === 200) {
        const watch = await answer.json();
        etag = answer.headers.get("ETag");
        await told(watch, asked);
      } else if (answer.status === 304) await same(asked);
    } catch {
      return touch("out of touch");
    }
    if (answer.status === 401) touch("ended");
    else if (answer.status === 200 || answer.status === 304) touch("in touch");
    else if (answer.status >= 500) touch("out of touch");
  }

  function connect() {
    clearTimeout(again);
    stream?.close();
    stream = new EventSource(`/api/meets/${meet}/feed`);
    stream.addEventListener("open", () => {
      wait = 1000;
      look();
    });
    for (const name of ["entry", "reset", "bye"]) stream.addEventListener(name, look);
    stream.addEventListener("ended", () => {
      stream.close();
      look();
    });
    stream.addEventListener("error", () => {
      stream.close();
      if (line === "ended") return;
      look();
      // Spread, so that a whole crew does not knock in one instant after the server was gone.
      again = setTimeout(connect, wait * (0.5 + Math.random() / 2));
      wait = Math.min(wait * 2, 8000);
    });
  }

  function start() {
    if (document.hidden) return;
    line = "";
    connect();
  }

  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) return start();
    line = ""; // who holds the phone when it is looked at again, nobody knows
    clearTimeout(again);
    stream?.close();
  });
  addEventListener("online", start);
  addEventListener("offline", () => look());
  addEventListener("pageshow", (event) => event.persisted && start());
  setInterval(() => document.hidden || line === "ended" || look(), EVERY);
  start();
  /** Whether the server has said, since the page was opened or looked at again, who has joined. */
  const sure = () => {
    if (line !== "in touch") look();
    return line === "in touch";
  };
  return { look, sure };
}

const EXCHANGES = 4, GOOD_FOR = 300_000;

/** The phone's clock. `kept` is what was measured when the page was open last. */
export function openClock(store, kept) {
  let best = kept ? { ...kept, drift: undefined } : undefined;
  let measuring;

  // Wall clock less the one that only runs: it moves where somebody sets the phone's clock, and in
  // some browsers where the phone sleeps. Either is a reason to measure again.
  const drift = () => Date.now() - performance.now();

  async function exchange() {
    const [wall, from] = [Date.now(), performance.now()];
    const told = await send("GET", "/api/time", { within: 8000 });
    const took = performance.now() - from;
    if (!told.ok) return undefined;
    const [came, went] = [Date.parse(told.data.received_at), Date.parse(told.data.answered_at)];
    const offset = (came - wall + (went - (wall + took))) / 2;
    return { offset, error: Math.max(0, (took - (went - came)) / 2), drift: wall - from, taken: from };
  }

  async function measureAll() {
    const found = [];
    for (let at = 0; at < EXCHANGES; at += 1) {
      const one = await exchange();
      if (!one) break;
      found.push(one);
    }
    const shortest = found.sort((one, other) => one.error - other.error)[0];
    if (!shortest) return false;
    const old = best?.drift === undefined || performance.now() - best.taken > GOOD_FOR || Math.abs(drift() - best.drift) > 1000;
    if (old || shortest.error <= best.error) best = shortest;
    await store.keep("clock", { offset: best.offset, error: best.error });
    return true;
  }

  // As last measured. A phone that slept looks like one whose clock was set, so nothing is reckoned.
  const offset = () => best?.offset;

  return {
    offset,
    measure: () => (measuring ??= measureAll().catch(() => false).finally(() => (measuring = undefined))),
    isDue: () => !best || best.drift === undefined || performance.now() - best.taken > GOOD_FOR || Math.abs(drift() - best.drift) > 1000,
    now: () => Date.now() + (offset() ?? 0),
    /** What goes with a call or a report: the phone's own time, and what is known of its error. */
    stamp() {
      const said = { at: withZone(new Date(Date.now())) };
      if (best) Object.assign(said, { offset_ms: Math.round(offset()), error_ms: Math.min(Math.ceil(best.error), 3_600_000) });
      return said;
    },
  };
}

/** A time as the phone shows it, with its zone offset (RFC 3339). */
function withZone(date) {
  const minutes = -date.getTimezoneOffset();
  const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");
  const local = new Date(date.getTime() + minutes * 60_000).toISOString().slice(0, -1);
  return `${local}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}
