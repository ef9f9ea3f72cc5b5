// What is done about items that have not gone yet, and about this phone. What asks the network goes on
// by itself, and says when it is done; meanwhile every tap counts.

import { word } from "../js/words.js";
import { inText } from "./facts.js";
import { setUpKey } from "./secure.js";
import { complainInStep } from "./steps.js";

/** What taps on them do, by name. */
export function upkeep({ core, outbox, inTurn }) {
  const { state, store, meet, news } = core;
  const pin = () => document.getElementById("pin");

  async function askForKey(button) {
    button.disabled = true;
    complainInStep("");
    const answer = await setUpKey(store, { meet, official: state.me, pin: pin().value.trim(), device: "" }).catch(() => ({ status: 0, ok: false }));
    button.disabled = false;
    if (answer.ok) state.key = await store.get("key");
    return answer;
  }

  // Whoever has left the step meanwhile is told, and not taken away from what they do.
  function tellOfKey(answer) {
    const isHere = state.view.name === "key";
    if (answer.ok && isHere) core.goHome();
    if (answer.ok) return news(word("key good"));
    const why = answer.problem?.detail ?? word("unreachable");
    return isHere ? complainInStep(why, answer.problem && "en") : news(why);
  }

  return {
    async again(id) {
      await outbox.change(id, { state: "waiting", problem: undefined });
      outbox.flush({ again: true, fresh: true });
    },

    async aside(id) {
      for (const one of state.items.filter((other) => other.id === id || other.after === id)) await outbox.change(one.id, { state: "aside", told_at: Date.now() });
      await core.redraw();
    },

    copy(id) {
      const text = inText(state, state.items.find((one) => one.id === id));
      navigator.clipboard?.writeText(text).then(() => news(word("copied")), () => undefined);
      core.go({ name: "text", text });
    },

    "send-now"() {
      news(word("sending"));
      core.look();
      outbox.flush({ again: true, now: true });
    },

    "set-key"(_value, button) {
      askForKey(button).then((answer) => inTurn(() => tellOfKey(answer)));
    },
  };
}
