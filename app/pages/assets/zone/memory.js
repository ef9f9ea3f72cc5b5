// The places of the store where this phone cannot write: the same calls as IndexedDB has, in the memory
// of the page. What was changed here is remembered, so that it goes to the phone as soon as it can.

const KEY = { kept: "name", drafts: "id", outbox: "order", pictures: "id" };

class Answer {
  constructor(result) {
    this.result = result;
  }
}

/** `rows` is what the phone could still be read to hold, by place. */
export function openMemory(rows) {
  const places = {}, touched = {};
  let asked = [];
  for (const [name, key] of Object.entries(KEY)) {
    places[name] = new Map((rows[name] ?? []).map((one) => [one[key], one]));
    touched[name] = new Set();
  }
  let last = Math.max(0, ...places.outbox.keys());

  const itemOf = (id) => [...places.outbox.values()].find((one) => one.id === id);
  // An item's place in the order is another one on the phone: it is known by its id.
  const nameOf = (name, row) => row[name === "outbox" ? "id" : KEY[name]];

  function answer(result) {
    const one = new Answer(result);
    asked.push(one);
    return one;
  }

  function put(name, row) {
    const kept = structuredClone(row);
    if (name === "outbox") kept.order ??= last += 1;
    places[name].set(kept[KEY[name]], kept);
    touched[name].add(nameOf(name, kept));
    return answer(kept[KEY[name]]);
  }

  function drop(name, key) {
    const row = places[name].get(key);
    touched[name].add(row ? nameOf(name, row) : key);
    places[name].delete(key);
    return answer();
  }

  const at = (name) => ({
    get: (key) => answer(structuredClone(places[name].get(key))),
    getAll: () => answer(structuredClone([...places[name].values()].sort((one, other) => (one.order ?? 0) - (other.order ?? 0)))),
    put: (row) => put(name, row),
    add: (row) => (itemOf(row.id) ? answer() : put(name, row)),
    delete: (key) => drop(name, key),
    index: () => ({
      get: (id) => answer(structuredClone(itemOf(id))),
      getKey: (id) => answer(itemOf(id)?.order),
    }),
  });

  function change(work) {
    asked = [];
    const told = work(at);
    while (asked.length) {
      const one = asked.shift();
      one.onsuccess?.({ target: one });
    }
    return told instanceof Answer ? told.result : told;
  }

  const isHeavy = (id) => itemOf(id)?.kind === "picture";
  const toWrite = (name, light) => [...touched[name]].filter((key) => !light || (name !== "pictures" && !(name === "outbox" && isHeavy(key))));

  function writeItem(outbox, id) {
    outbox.index("id").get(id).onsuccess = (event) => {
      const known = event.target.result, item = itemOf(id);
      if (item && known?.order === item.order) return outbox.put(item);
      if (known) outbox.delete(known.order);
      const { order: _here, ...rest } = item ?? {};
      return item && outbox.add(rest);
    };
  }

  /** Write what was changed to the phone's own places; `light` leaves pictures here, which are large. */
  function writeTo(phone, light) {
    for (const name of ["kept", "drafts", "pictures"]) {
      for (const key of toWrite(name, light)) {
        const row = places[name].get(key);
        if (row) phone(name).put(row);
        else phone(name).delete(key);
      }
    }
    const order = (id) => itemOf(id)?.order ?? 0;
    for (const id of toWrite("outbox", light).sort((one, other) => order(one) - order(other))) writeItem(phone("outbox"), id);
  }

  function written(light) {
    for (const name of Object.keys(KEY)) for (const key of toWrite(name, light)) touched[name].delete(key);
  }

  /** Whether something that nobody has received yet is in this page alone. */
  function holds() {
    const draft = [...touched.drafts].map((id) => places.drafts.get(id)).some((one) => one && !one.thrown);
    const item = [...touched.outbox].map(itemOf).some((one) => one && one.state !== "received" && one.state !== "aside");
    return draft || item;
  }

  return { change, writeTo, written, holds };
}
