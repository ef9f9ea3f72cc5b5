// What was shown and written, until the server has it. Each item has an id that its maker chose, so that
// sending one again does nothing twice; which is next, queue.js tells, and lane.js sends it. An item:
//   id, kind       call, report, picture, withdrawal
//   official       whose it is: sent in their own session only
//   method, address, body, etag, picture
//   after          the id of what must have been received first
//   hold           until when it may still be undone
//   state          waiting, sent, received, refused, aside
//   received_at    by the server; problem: in its words; draft: what a report was made of
//   missed         how often the server had lost it (lost.js); elsewhere: it never had, by its own word
// What was received is kept for some days, body and all, so that a server that was set back gets it again.

import { openLane } from "./lane.js";
import { post } from "./posting.js";
import { isNoPicture, isPicture, isToSend } from "./queue.js";

const KEEP_RECEIVED = 7 * 24 * 3_600_000;

/**
 * The outbox of a meet. `whose` tells who has joined here; `changed` is called whenever an item
 * changed; `touched` with "in touch", "out of touch" or "ended" whenever the server answered or not;
 * `emptied` when all was sent. `sure` tells whether the server has just said who has joined here, and
 * asks it otherwise: what one official wrote is never sent in another's session.
 */
export function openOutbox({ store, meet, whose, changed, touched, emptied, sure }) {
  const others = self.BroadcastChannel ? new BroadcastChannel(`zone-${meet}`) : undefined;
  const items = () => store.all("outbox");
  const ofMine = (kind) => (one) => one.official === whose() && kind(one);
  const work = { store, items, claim, goes, sure };
  const accounts = openLane({ ...work, name: `zone-outbox-${meet}`, mine: ofMine(isNoPicture), through: accountsAreThrough });
  const pictures = openLane({ ...work, name: `zone-pictures-${meet}`, mine: ofMine(isPicture), through: emptied });

  function flush(how) {
    accounts.flush(how);
    pictures.flush(how);
  }

  // Pictures may follow now.
  function accountsAreThrough() {
    pictures.flush({ fresh: true });
    emptied();
  }

  function tell(what = "changed") {
    others?.postMessage(what);
    changed();
  }

  /** Keep what `kept` puts into the outbox, and send it: by another window, if that one is at it. */
  async function add(kept) {
    await store.change(kept);
    tell("added");
    flush({ again: true, fresh: true });
  }

  async function change(id, changes) {
    await store.change((at) => {
      at("outbox").index("id").get(id).onsuccess = (event) => {
        const known = event.target.result;
        if (known) at("outbox").put({ ...known, ...changes });
      };
    });
    tell();
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

  async function goes(item, before) {
    const went = await post(store, item, before);
    await change(item.id, went.changes);
    if (went.line) touched(went.line);
    return went;
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
  function sendAgain(lost) {
    return add((at) => {
      for (const { id } of lost) {
        at("outbox").index("id").get(id).onsuccess = (event) => {
          const now = event.target.result;
          // A version of before means nothing to a server that was set back.
          if (now?.state === "received") at("outbox").put({ ...now, state: "waiting", etag: now.kind === "withdrawal" ? now.etag : undefined, missed: (now.missed ?? 0) + 1 });
        };
      }
    });
  }

  others?.addEventListener("message", (event) => {
    changed();
    if (event.data === "added") flush({ fresh: true });
  });
  addEventListener("online", () => flush({ now: true }));
  addEventListener("visibilitychange", () => document.hidden || flush());
  setInterval(() => document.hidden || flush(), 30_000);

  return { items, add, change, flush, tell, tidy, sendAgain };
}
