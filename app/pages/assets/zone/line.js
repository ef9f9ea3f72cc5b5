// What comes from the server by itself: the meet as this phone shows it, kept up to date as all pages
// are (keeping_up.js), and how far this phone's clock is from the server's. The clock is measured by
// the four times of an NTP exchange (RFC 5905, 8) over HTTP: of several the one with the shortest way,
// whose error is at most half the time that was under way.

import { keepUp } from "../js/keeping_up.js";
import { isRefusal, send } from "../js/send.js";

/**
 * Follow a meet. `told` gets what was read and when it was asked for, `same` when it was asked for
 * where nothing was new, `touched` how the line is: "in touch", "out of touch", "ended" with the
 * session, or "refused" where this official sees no such page any more.
 */
export function follow({ meet, told, same, touched }) {
  let etag;

  async function read(answer) {
    if (answer.status === 304) return {};
    if (answer.status === 200) return { watch: await answer.json(), version: answer.headers.get("ETag") };
    if (!isRefusal(await answer.json())) return undefined;
    if (answer.status === 401) return { over: "ended" };
    if ([403, 404].includes(answer.status)) return { over: "refused" };
    return undefined;
  }

  async function show({ watch, version }, asked) {
    if (!watch) {
      await same(asked);
      return false;
    }
    await told(watch, asked);
    etag = version;
    return true;
  }

  const address = () => `/api/meets/${meet}/watch`;
  const headers = () => (etag ? { "If-None-Match": etag } : {});
  const { look, isInTouch } = keepUp({ address, headers, read, show, touched, meet });
  /** Whether the server has said, since the page was opened or looked at again, who has joined. */
  const sure = () => {
    if (!isInTouch()) look();
    return isInTouch();
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
