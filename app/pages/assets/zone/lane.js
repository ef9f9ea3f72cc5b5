// One queue of the outbox at work. Of several windows one sends from it, one item after another. What
// was not taken waits by itself, longer each time, while the others go on; where nothing comes back, or
// the service asks for it, the whole queue waits.

import { inOrder, isBehind, isToSend, letsPass } from "./queue.js";

const LEAST = 2000, MOST = 60_000, LEASE = 30_000, LONGEST_HOLD = 60_000;

/**
 * A queue of those `items` that are `mine`. `claim` takes one to be sent, `goes` sends it and tells
 * what became of it (posting.js), `sure` is whether it may be sent in this session, and `through` is
 * done when something was sent and nothing more can be.
 */
export function openLane({ name, store, items, mine, claim, goes, sure, through }) {
  const tab = Math.random().toString(36).slice(2);
  const missed = new Map();
  const misses = (id) => missed.get(id)?.times ?? 0;
  const refusals = (id) => missed.get(id)?.refusals ?? 0;
  let sending = false, owed = false, added = false, ended = false, timer, wait = LEAST, notBefore = 0;

  /**
   * Send what waits. While it is sending this is one more look when it is done; where something was
   * `fresh` put in, one after the item that is under way. `again` is after a session has ended, and
   * `now` tries at once what waits by itself.
   */
  function flush({ again = false, fresh = false, now = false } = {}) {
    if (again) ended = false;
    if (now) missed.clear();
    added ||= fresh || now;
    if (ended) return;
    const early = notBefore - Date.now(); // a server that is busy is asked no sooner, but for what is fresh
    if (early > 0 && early <= MOST && !added) later(early);
    else if (sending) owed = true;
    else start();
  }

  async function start() {
    clearTimeout(timer);
    sending = true;
    await alone(sendAll).catch(() => later(LEAST));
    sending = false;
    if (!owed) return;
    owed = false;
    flush();
  }

  // Plain http has no locks: there it is a lease in the database.
  function alone(work) {
    if (navigator.locks) return navigator.locks.request(name, { ifAvailable: true }, (lock) => (lock ? work() : later(LEAST)));
    return leased(work);
  }

  // Renewed all the time, for a picture may be under way for longer than any lease of a window that died.
  async function leased(work) {
    if (!(await lease(LEASE))) return later(LEAST);
    const renewing = setInterval(() => lease(LEASE), LEASE / 3);
    try {
      await work();
    } finally {
      clearInterval(renewing);
      await lease(0);
    }
  }

  function lease(length) {
    const told = { mine: false };
    return store
      .change((at) => {
        at("kept").get(`lease ${name}`).onsuccess = (event) => {
          const { holder, until } = event.target.result?.value ?? {};
          // One that ends far in the future was taken before the phone's clock was set back.
          const free = holder === tab || !(until > Date.now() && until < Date.now() + 2 * LEASE);
          if (!free) return;
          told.mine = true;
          at("kept").put({ name: `lease ${name}`, value: { holder: tab, until: Date.now() + length } });
        };
      })
      .then(() => told.mine);
  }

  // A round in which nothing went is the last: so the outbox is read a few times, however much lies in it.
  async function sendAll() {
    let sent = 0, round;
    do {
      added = false;
      round = await sendRound(await items());
      sent += round.sent;
    } while (!round.rests && (round.sent || added || round.freed));
    if (round.due < Infinity) later(round.due);
    if (sent) through();
  }

  async function sendRound(all) {
    const known = new Map(all.map((one) => [one.id, one]));
    const round = { sent: 0, rests: false, freed: false, due: Infinity };
    for (const one of inOrder(all.filter((item) => isToSend(item) && mine(item)), misses)) {
      if (isBehind(one, known, refusals)) continue;
      if (!sure()) return { ...round, rests: true };
      const early = earliest(one) - Date.now();
      if (early > 0) {
        round.due = Math.min(round.due, early);
        continue;
      }
      const item = await claim(one.id);
      if (!item) continue;
      const went = await goes(item, known.get(item.after));
      known.set(one.id, { ...item, ...went.changes });
      if (went.is === "settled") round.sent += settled(one.id);
      else if (went.is === "alone") {
        const held = !letsPass(refusals(one.id));
        round.due = Math.min(round.due, waitsAlone(one.id, went));
        round.freed ||= held && letsPass(refusals(one.id));
      }
      else return { ...round, rests: true, due: allWait(one.id, went) };
      if (added) break;
    }
    return round;
  }

  // A hold that is far off was set before the phone's clock was set back.
  function earliest({ id, hold = 0 }) {
    const held = hold - Date.now() < LONGEST_HOLD ? hold : 0;
    return Math.max(held, missed.get(id)?.until ?? 0);
  }

  function settled(id) {
    missed.delete(id);
    wait = LEAST;
    return 1;
  }

  // Both tell in how many milliseconds to try again.
  function waitsAlone(id, went) {
    const times = misses(id) + 1;
    const length = Math.min(Math.max(LEAST * 2 ** (times - 1), went.wait), MOST);
    missed.set(id, { times, refusals: refusals(id) + 1, until: Date.now() + length });
    return length;
  }

  function allWait(id, went) {
    if (went.is === "ended") {
      ended = true;
      return Infinity;
    }
    missed.set(id, { times: misses(id) + 1, refusals: refusals(id), until: 0 });
    const length = went.wait || wait;
    if (went.is === "busy") notBefore = Date.now() + Math.min(length, MOST);
    wait = Math.min(wait * 2, MOST);
    return length;
  }

  // Spread, so that a whole crew does not knock in one instant after the server was gone.
  function later(milliseconds) {
    clearTimeout(timer);
    timer = setTimeout(flush, milliseconds * (0.75 + Math.random() / 2));
  }

  return { flush };
}
