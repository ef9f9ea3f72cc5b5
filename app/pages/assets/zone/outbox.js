// What was shown and written, until the server has it. Items go one after another, in the order in
// which they were made; each has an id that its maker chose, so that sending one again does nothing
// twice. One is given up by nothing but a 2xx. An item:
//   id, kind       call, report, picture, withdrawal
//   official       whose it is: sent in their own session only
//   method, address, body, etag, picture
//   after          the id of what must have been received first
//   hold           until when it may still be undone
//   state          waiting, sent, received, refused, aside
//   received_at    by the server; problem: in its words; draft: what a report was made of
//   missed         how often the server had lost it (lost.js); elsewhere: it never had, by its own word
// What was received is kept for some days, body and all, so that a server that was set back gets it again.

import { kindOf, send } from "../js/send.js";

const PASSING = new Set([0, 408, 425, 429]);
const LEAST = 2000, MOST = 60_000, PATIENCE = 20_000, LEASE = 30_000;
const KEEP_RECEIVED = 7 * 24 * 3_600_000;

/**
 * The outbox of a meet. `whose` tells who has joined here; `changed` is called whenever an item
 * changed; `touched` with "in touch", "out of touch" or "ended" whenever the server answered or not;
 * `emptied` when all was sent. `sure` tells whether the server has just said who has joined here, and
 * asks it otherwise: what one official wrote is never sent in another's session.
 */
export function openOutbox({ store, meet, whose, changed, touched, emptied, sure }) {
  const tab = Math.random().toString(36).slice(2);
  const others = self.BroadcastChannel ? new BroadcastChannel(`zone-${meet}`) : undefined;
  let flushing, owed = false, timer, wait = LEAST, rests = false;

  const items = () => store.all("outbox");

  async function change(id, changes) {
    await store.change((at) => {
      at("outbox").index("id").get(id).onsuccess = (event) => {
        const known = event.target.result;
        if (known) at("outbox").put({ ...known, ...changes });
      };
    });
    tell();
  }

  function tell() {
    others?.postMessage("changed");
    changed();
  }

  /** Send what waits. Calls while it is sending are one more look when it is done. */
  function flush({ again = false } = {}) {
    if (again) rests = false;
    if (rests) return Promise.resolve();
    if (flushing) {
      owed = true;
      return flushing;
    }
    clearTimeout(timer);
    flushing = alone(sendAll)
      .catch(() => later(LEAST))
      .finally(() => {
        flushing = undefined;
        if (owed) {
          owed = false;
          flush();
        }
      });
    return flushing;
  }

  // Of several windows one sends. Plain http has no locks: there it is a lease in the database.
  async function alone(work) {
    if (navigator.locks) return navigator.locks.request(`zone-outbox-${meet}`, { ifAvailable: true }, (lock) => (lock ? work() : later(LEAST)));
    if (!(await lease(LEASE))) return later(LEAST);
    try {
      await work();
    } finally {
      await lease(0);
    }
  }

  function lease(length) {
    const told = { mine: false };
    return store
      .change((at) => {
        at("kept").get("lease").onsuccess = (event) => {
          const { holder, until } = event.target.result?.value ?? {};
          // One that ends far in the future was taken before the phone's clock was set back.
          const free = holder === tab || !(until > Date.now() && until < Date.now() + 2 * LEASE);
          if (!free) return;
          told.mine = true;
          at("kept").put({ name: "lease", value: { holder: tab, until: Date.now() + length } });
        };
      })
      .then(() => told.mine);
  }

  // What comes while this goes on is read in the next round, and a round in which nothing went is the
  // last: so the outbox is read a few times, however much lies in it.
  async function sendAll() {
    for (let before = 0; ; ) {
      const { sent, rests } = await sendRound(await items());
      if (rests) return;
      if (!sent) return before && emptied();
      before += sent;
    }
  }

  async function sendRound(all) {
    const known = new Map(all.map((one) => [one.id, one]));
    let sent = 0;
    for (const one of all) {
      if (!isToSend(one) || one.official !== whose()) continue;
      const before = known.get(one.after);
      if (before && before.state !== "received") continue;
      if (!sure()) return { rests: true };
      const held = (one.hold ?? 0) - Date.now();
      if (held > 0 && held < 60_000) {
        later(held);
        return { rests: true };
      }
      if (!navigator.locks) await lease(LEASE);
      const item = await claim(one.id);
      if (!item) continue;
      const went = await sendOne(item, before);
      if (!went) return { rests: true };
      known.set(one.id, { ...item, ...went });
      sent += 1;
    }
    return { sent };
  }

  // As it is by now: it may have been put aside or taken back since the outbox was read.
  async function claim(id) {
    const found = {};
    await store.change((at) => {
      at("outbox").index("id").get(id).onsuccess = (event) => {
        const now = event.target.result;
        if (!now || !isToSend(now)) return;
        found.item = { ...now, state: "sent", tries: (now.tries ?? 0) + 1 };
        at("outbox").put(found.item);
      };
    });
    if (found.item) tell();
    return found.item;
  }

  /** What it is changed to where the next one may follow; nothing where it must wait. */
  async function sendOne(item, before) {
    const answer = spoken(await ask(item, before));
    if (answer.ok) {
      touched("in touch");
      wait = LEAST;
      const told = { state: "received", received_at: answer.data?.received_at ?? null, told_at: Date.now(), answered: answer.etag };
      // Sent once more, and the server had it, told as somebody else's: it is missed no further.
      const had = item.missed && item.method === "PUT" && answer.status === 200;
      return settled(item, had ? { ...told, elsewhere: true } : told);
    }
    if (answer.status === 401) {
      await change(item.id, { state: "waiting" });
      rests = true;
      touched("ended");
      return undefined;
    }
    if (PASSING.has(answer.status) || answer.status >= 500) {
      await change(item.id, { state: "waiting" });
      if (answer.status === 0) touched("out of touch");
      later(answer.retryAfter ? answer.retryAfter * 1000 : wait);
      wait = Math.min(wait * 2, MOST);
      return undefined;
    }
    touched("in touch");
    return settled(item, { state: "refused", problem: { kind: kindOf(answer), detail: answer.problem?.detail ?? "", status: answer.status } });
  }

  async function settled(item, changes) {
    await change(item.id, changes);
    return changes;
  }

  // What has no document of the service was said by something in between: a network's own sign-in page.
  const spoken = (answer) => (answer.data || answer.problem ? answer : { ...answer, status: answer.status >= 500 ? answer.status : 0, ok: false });

  async function ask(item, before) {
    const etag = item.etag ?? (item.kind === "withdrawal" ? (before?.answered ?? before?.etag) : undefined);
    let { body } = item, type;
    if (item.picture) {
      const picture = await store.picture(item.picture);
      if (!picture) return { status: 410, ok: false };
      [body, type] = [picture.bytes, picture.type];
    }
    const answer = await send(item.method, item.address, { body, etag, type, within: PATIENCE });
    return item.kind === "withdrawal" ? taken(item, answer) : answer;
  }

  // An act that has no id of its own: where its answer was lost, with this page perhaps, the report
  // itself says that it was done.
  async function taken(item, answer) {
    if (answer.status !== 409 && answer.status !== 412) return answer;
    const report = await send("GET", item.address.replace(/\/withdraw$/, ""), { within: PATIENCE });
    return report.data?.state === "withdrawn" ? { ...report, data: {} } : answer;
  }

  // Spread, so that a whole crew does not knock in one instant after the server was gone.
  function later(milliseconds) {
    clearTimeout(timer);
    timer = setTimeout(flush, milliseconds * (0.75 + Math.random() / 2));
  }

  async function tidy() {
    const old = (await items()).filter((one) => one.state === "received" && !(Date.now() - one.told_at < KEEP_RECEIVED));
    if (!old.length) return;
    await store.change((at) => {
      for (const one of old) {
        at("outbox").delete(one.order);
        if (one.picture) at("pictures").delete(one.picture);
      }
    });
  }

  /** Send again what the server has lost. */
  async function sendAgain(lost) {
    await store.change((at) => {
      for (const { id } of lost) {
        at("outbox").index("id").get(id).onsuccess = (event) => {
          const now = event.target.result;
          // A version of before means nothing to a server that was set back.
          if (now?.state === "received") at("outbox").put({ ...now, state: "waiting", etag: now.kind === "withdrawal" ? now.etag : undefined, missed: (now.missed ?? 0) + 1 });
        };
      }
    });
    tell();
    flush({ again: true });
  }

  others?.addEventListener("message", changed);
  addEventListener("online", () => flush());
  addEventListener("visibilitychange", () => document.hidden || flush());
  setInterval(() => document.hidden || flush(), 30_000);

  return { items, change, flush, tell, tidy, sendAgain };
}

/** Whether an item is still to be sent. */
export const isToSend = (item) => item.state === "waiting" || item.state === "sent";
