// What a tap does. Taps are done one after another, and none is lost: nothing here waits for a network.
// The same one again at once, or while the first is still being done, is the second half of a double tap
// and does nothing.

import { flagging } from "./flagging.js";
import { upkeep } from "./upkeep.js";
import { writing } from "./writing.js";

const DOUBLE = 350;
// Fast taps on these mean more of the same; the last one guards itself, by its button.
const COUNTS_EACH = new Set(["step-by", "unsure-by", "set-key"]);

/** Let buttons with `data-do` do what they name. */
export function listenToActs(core, outbox, clock) {
  const parts = { core, outbox, clock, inTurn: turns() };
  const { state } = core;
  const acts = { ...ways(core), ...flagging(parts), ...writing(parts), ...upkeep(parts) };
  const once = doubleTaps();
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-do]");
    const { do: name, with: value = "" } = button?.dataset ?? {};
    const act = acts[name];
    if (!act) return;
    const { view } = state;
    // A tap in a step is for that step: where one before it led on, it would answer another question.
    const doIt = () => parts.inTurn(() => (view.name === "home" || view === state.view) && act(value, button));
    if (COUNTS_EACH.has(name)) doIt();
    else once(`${name} ${value}`, doIt);
  });
}

const ways = (core) => ({
  open: (name) => core.go({ name }),
  "open-heats": (draft) => core.go({ name: "heats", draft }),
  back: () => core.back(),
  later: () => core.goHome(),
});

/** What is done one after another, in the order in which it was asked for. */
function turns() {
  let last = Promise.resolve();
  return async (work) => {
    const before = last;
    let end;
    last = new Promise((resolve) => (end = resolve));
    await before;
    try {
      await work();
    } finally {
      end();
    }
  };
}

function doubleTaps() {
  let last;
  return async (tap, doIt) => {
    if (last?.tap === tap) return;
    const mine = (last = { tap });
    const soonest = new Promise((resolve) => setTimeout(resolve, DOUBLE));
    try {
      await doIt();
    } finally {
      await soonest;
      if (last === mine) last = undefined;
    }
  };
}
