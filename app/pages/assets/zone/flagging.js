// The two flags, and which heat and post they are for.

import { newId } from "../js/send.js";
import { word } from "../js/words.js";
import { saidFor } from "./home.js";
import { flagsIn, heatHere, postHere } from "./meet.js";
import { flagItem } from "./report.js";
import { addOnce } from "./store.js";

const UNDO_FOR = 5000;

/** What taps on them do, by name. */
export function flagging({ core, outbox, clock }) {
  const { state, meet, news } = core;

  // What may still be undone goes at once where something is to follow it.
  function release(at) {
    at("outbox").getAll().onsuccess = (event) => {
      for (const one of event.target.result) if (one.hold) at("outbox").put({ ...one, hold: 0 });
    };
  }

  return {
    async white() {
      const { heat } = heatHere(state);
      const post = postHere(state, heat);
      if (!heat || flagsIn(state, heat, post).some((one) => one.flag === "white")) return news(word(heat ? "white already" : "no heat"));
      const item = flagItem(meet, { official: state.me, heat, post: post.id, flag: "white", stamp: clock.stamp(), hold: Date.now() + UNDO_FOR });
      core.mayUndo(item.id, UNDO_FOR);
      await outbox.add((at) => addOnce(at("outbox"), item));
      await core.redraw();
      core.done(saidFor(state, heat, post, "white"));
    },

    async yellow() {
      const { heat } = heatHere(state);
      const post = postHere(state, heat);
      if (!heat) return news(word("no heat"));
      const draft = { id: newId(), official: state.me, heat: heat.id, run: heat.run, post: post.id, flagged: true, began: clock.stamp(), made: Date.now(), rev: 1, step: "lane" };
      const item = flagItem(meet, { official: state.me, heat, post: post.id, flag: "yellow", report: draft.id, stamp: clock.stamp() });
      state.undo = undefined;
      state.drafts = [...state.drafts, draft];
      await outbox.add((at) => {
        release(at);
        at("drafts").put(draft);
        addOnce(at("outbox"), item);
      });
      await core.redraw();
      core.go({ name: "lane", draft: draft.id });
      core.done(saidFor(state, heat, post, "yellow"));
    },

    async undo(id) {
      const found = { undone: false };
      await core.keep((at) => {
        at("outbox").index("id").get(id).onsuccess = (event) => {
          const item = event.target.result;
          if (!item?.hold || item.tries) return;
          found.undone = true;
          at("outbox").delete(item.order);
        };
        at("drafts").get(id).onsuccess = (event) => {
          if (!event.target.result) return;
          found.undone = true;
          at("drafts").put({ ...event.target.result, thrown: false });
        };
      });
      state.undo = undefined;
      await core.redraw();
      outbox.tell();
      news(word(found.undone ? "undone" : "gone already"));
    },

    async post(id) {
      state.post = id;
      await core.redraw();
    },

    async hand(id) {
      state.hand = id;
      await core.keep((at) => at("kept").put({ name: "hand", value: id }));
      core.goHome();
    },

    async follow() {
      state.hand = undefined;
      await core.keep((at) => at("kept").delete("hand"));
      await core.redraw();
    },
  };
}
