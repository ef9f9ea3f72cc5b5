// What this phone keeps of a meet: in IndexedDB, so that a report outlives a reload, a crash, a dead
// battery and an ended session. One database a meet, four places in it:
//   kept      single things by name: what was last read of the meet, the clock, the key
//   drafts    reports that somebody is writing
//   outbox    what is to be sent, in the order in which it was made; also what has been received
//   pictures  the bytes of pictures, so that nobody reads them with every look at the outbox
// Where the phone cannot write, as with its storage full, all of it is held in the page's memory and
// written as soon as the phone can: what was tapped is never dropped, and whoever asks is told so.

import { openMemory } from "./memory.js";

const PLACES = ["kept", "drafts", "outbox", "pictures"];

function make(db) {
  db.createObjectStore("kept", { keyPath: "name" });
  db.createObjectStore("drafts", { keyPath: "id" });
  db.createObjectStore("pictures", { keyPath: "id" });
  db.createObjectStore("outbox", { keyPath: "order", autoIncrement: true }).createIndex("id", "id", { unique: true });
}

const EVERY = 5000;

/** Open what this phone keeps of a meet. */
export function openStore(meet) {
  let opened, held, moving, trying;
  const last = {};

  function open() {
    opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open(`zone-${meet}`, 1);
      asked.onupgradeneeded = () => make(asked.result);
      asked.onerror = () => reject(asked.error);
      asked.onsuccess = () => {
        asked.result.onclose = () => (opened = undefined);
        asked.result.onversionchange = () => (asked.result.close(), (opened = undefined));
        resolve(asked.result);
      };
    });
    return opened;
  }

  // A browser that was in the background may have lost its database (WebKit does): once more, anew.
  async function onPhone(mode, work) {
    for (let tries = 2; ; tries -= 1) {
      try {
        return await run(await open(), mode, work);
      } catch (error) {
        opened = undefined;
        if (tries === 1) throw error;
      }
    }
  }

  async function once(mode, work) {
    await moving;
    if (!held) {
      try {
        return await onPhone(mode, work);
      } catch {
        await move(hold);
      }
    }
    return held ? held.change(work) : once(mode, work);
  }

  // From the phone to memory or back, one at a time: whatever is asked meanwhile waits for its end.
  function move(how) {
    moving ??= how().finally(() => {
      moving = undefined;
      store.moved();
    });
    return moving;
  }

  async function hold() {
    const rows = {};
    for (const place of ["kept", "drafts", "outbox"]) rows[place] = await onPhone("readonly", (at) => at(place).getAll()).catch(() => last[place] ?? []);
    held = openMemory(rows);
    trying = setInterval(() => move(settle), EVERY);
  }

  async function settle() {
    for (const light of [false, true]) {
      try {
        await onPhone("readwrite", (at) => {
          at("kept").put({ name: "tried", value: Date.now() });
          held.writeTo(at, light);
        });
        held.written(light);
        if (!light) back();
        return;
      } catch {
        // Without pictures there may be room; else all of it stays in memory until the next try.
      }
    }
  }

  function back() {
    clearInterval(trying);
    held = undefined;
  }

  async function all(place) {
    const rows = await once("readonly", (at) => at(place).getAll());
    last[place] = rows;
    return rows;
  }

  async function picture(id) {
    const found = await once("readonly", (at) => at("pictures").get(id));
    return found ?? (held && onPhone("readonly", (at) => at("pictures").get(id)).catch(() => undefined));
  }

  const store = {
    /** What is done whenever it moved; whoever shows it sets this. */
    moved: () => undefined,
    /** All in one transaction, or nothing; `work` gets the places by name. */
    change: (work) => once("readwrite", work),
    all,
    get: (name) => once("readonly", (at) => at("kept").get(name)).then((found) => found?.value),
    keep: (name, value) => once("readwrite", (at) => at("kept").put({ name, value })),
    picture,
    /** Whether this phone cannot write, and whether something to be sent is in this page alone. */
    isHeld: () => Boolean(held),
    holds: () => held?.holds() ?? false,
    /** Forget all of it: whoever leaves the meet leaves nothing behind. */
    async forget() {
      back();
      (await open()).close();
      opened = undefined;
      await new Promise((resolve) => {
        const asked = indexedDB.deleteDatabase(`zone-${meet}`);
        asked.onsuccess = asked.onerror = asked.onblocked = resolve;
      });
    },
  };
  return store;
}

function run(db, mode, work) {
  return new Promise((resolve, reject) => {
    // Strict: on the disk before the page says that it is kept.
    const transaction = db.transaction(PLACES, mode, { durability: "strict" });
    let told;
    transaction.oncomplete = () => resolve(told instanceof IDBRequest ? told.result : told);
    transaction.onabort = () => reject(transaction.error ?? new Error("nothing was kept"));
    try {
      told = work((place) => transaction.objectStore(place));
    } catch (error) {
      transaction.abort();
      reject(error);
    }
  });
}

/** Put an item at the end of the outbox, once: an id that lies there already stays as it is. */
export function addOnce(outbox, item) {
  outbox.index("id").getKey(item.id).onsuccess = (event) => {
    if (event.target.result === undefined) outbox.add(item);
  };
}

/** Take an item out of the outbox, wherever it lies there by now. */
export function dropOne(outbox, id) {
  outbox.index("id").getKey(id).onsuccess = (event) => {
    if (event.target.result !== undefined) outbox.delete(event.target.result);
  };
}
