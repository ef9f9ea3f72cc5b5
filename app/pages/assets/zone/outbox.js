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

import { kindOf, send } from "../js/send.js";

const PASSING = new Set([0, 408, 425, 429]);
const LEAST = 2000, MOST = 60_000, PATIENCE = 20_000, LEASE = 30_000;
const KEEP_RECEIVED = 36 * 3_600_000;

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

  async function change(order, changes) {
    await store.change((at) => {
      at("outbox").get(order).onsuccess = (event) => {
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

  async function sendAll() {
    for (let sent = 0; ; sent += 1) {
      const all = await items();
      const item = next(all);
      if (!item) return sent && emptied();
      if (!sure()) return;
      const held = (item.hold ?? 0) - Date.now();
      if (held > 0 && held < 60_000) return later(held);
      if (!navigator.locks) await lease(LEASE);
      if (!(await sendOne(item, all))) return;
    }
  }

  function next(all) {
    const open = new Set(all.filter((one) => one.state !== "received").map((one) => one.id));
    return all.find((one) => isToSend(one) && one.official === whose() && !open.has(one.after));
  }

  /** Whether the next one may follow. */
  async function sendOne(item, all) {
    await change(item.order, { state: "sent", tries: (item.tries ?? 0) + 1 });
    const answer = spoken(await ask(item, all));
    if (answer.ok) {
      await change(item.order, { state: "received", received_at: answer.data?.received_at ?? null, told_at: Date.now(), etag: answer.etag, body: undefined });
      if (item.picture) await store.change((at) => at("pictures").delete(item.picture));
      touched("in touch");
      wait = LEAST;
      return true;
    }
    if (answer.status === 401) {
      await change(item.order, { state: "waiting" });
      rests = true;
      touched("ended");
      return false;
    }
    if (PASSING.has(answer.status) || answer.status >= 500) {
      await change(item.order, { state: "waiting" });
      if (answer.status === 0) touched("out of touch");
      later(answer.retryAfter ? answer.retryAfter * 1000 : wait);
      wait = Math.min(wait * 2, MOST);
      return false;
    }
    touched("in touch");
    await change(item.order, { state: "refused", problem: { kind: kindOf(answer), detail: answer.problem?.detail ?? "", status: answer.status } });
    return true;
  }

  // What has no document of the service was said by something in between: a network's own sign-in page.
  const spoken = (answer) => (answer.data || answer.problem ? answer : { ...answer, status: answer.status >= 500 ? answer.status : 0, ok: false });

  async function ask(item, all) {
    const before = all.find((one) => one.id === item.after);
    const etag = item.etag ?? (item.kind === "withdrawal" ? before?.etag : undefined);
    let { body } = item, type;
    if (item.picture) {
      const picture = await store.picture(item.picture);
      if (!picture) return { status: 410, ok: false };
      [body, type] = [picture.bytes, picture.type];
    }
    const answer = await send(item.method, item.address, { body, etag, type, within: PATIENCE });
    return item.kind === "withdrawal" && (item.tries ?? 0) > 0 ? taken(item, answer) : answer;
  }

  // An act that has no id of its own: where its answer was lost, the report itself says it was done.
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
    if (old.length) await store.change((at) => old.forEach((one) => at("outbox").delete(one.order)));
  }

  others?.addEventListener("message", changed);
  addEventListener("online", () => flush());
  addEventListener("visibilitychange", () => document.hidden || flush());
  setInterval(() => document.hidden || flush(), 30_000);

  return { items, change, flush, tell, tidy };
}

/** Whether an item is still to be sent. */
export const isToSend = (item) => item.state === "waiting" || item.state === "sent";
