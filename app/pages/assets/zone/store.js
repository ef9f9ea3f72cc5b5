// What this phone keeps of a meet: in IndexedDB, so that a report outlives a reload, a crash, a dead
// battery and an ended session. One database a meet, four places in it:
//   kept      single things by name: what was last read of the meet, the clock, the key
//   drafts    reports that somebody is writing
//   outbox    what is to be sent, in the order in which it was made; also what has been received
//   pictures  the bytes of pictures, so that nobody reads them with every look at the outbox

const PLACES = ["kept", "drafts", "outbox", "pictures"];

function make(db) {
  db.createObjectStore("kept", { keyPath: "name" });
  db.createObjectStore("drafts", { keyPath: "id" });
  db.createObjectStore("pictures", { keyPath: "id" });
  db.createObjectStore("outbox", { keyPath: "order", autoIncrement: true }).createIndex("id", "id", { unique: true });
}

/** Open what this phone keeps of a meet. Every function throws where the phone keeps nothing. */
export function openStore(meet) {
  let opened;

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
  async function once(mode, work) {
    for (let tries = 2; ; tries -= 1) {
      try {
        return await run(await open(), mode, work);
      } catch (error) {
        opened = undefined;
        if (tries === 1) throw error;
      }
    }
  }

  return {
    /** All in one transaction, or nothing; `work` gets the places by name. */
    change: (work) => once("readwrite", work),
    read: (work) => once("readonly", work),
    all: (place) => once("readonly", (at) => at(place).getAll()),
    get: (name) => once("readonly", (at) => at("kept").get(name)).then((found) => found?.value),
    keep: (name, value) => once("readwrite", (at) => at("kept").put({ name, value })),
    picture: (id) => once("readonly", (at) => at("pictures").get(id)),
    /** Forget all of it: whoever leaves the meet leaves nothing behind. */
    async forget() {
      (await open()).close();
      opened = undefined;
      await new Promise((resolve) => {
        const asked = indexedDB.deleteDatabase(`zone-${meet}`);
        asked.onsuccess = asked.onerror = asked.onblocked = resolve;
      });
    },
  };
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
