// What a tap does. Taps are done one after another, and one that comes while another is being done is
// the second half of a double tap: it does nothing.

import { newId, send } from "../js/send.js";
import { word } from "../js/words.js";
import { complainInStep, stepsOf } from "./steps.js";
import { inText } from "./facts.js";
import { setUpKey } from "./secure.js";
import { flagsIn, heatHere, heatOf, own, postHere, reportsOf, sightOf } from "./meet.js";
import { flagItem, handOver, reportItems, saysEnough, withdrawalItem } from "./report.js";
import { addOnce, dropOne } from "./store.js";

const UNDO_FOR = 5000;
const by = (id) => document.getElementById(id);

/** Let buttons with `data-do` do what they name. */
export function listenToActs(core, outbox, clock) {
  const acts = makeActs(core, outbox, clock);
  let acting = false;
  document.addEventListener("click", async (event) => {
    const button = event.target.closest("button[data-do]");
    const act = button && acts[button.dataset.do];
    if (!act || acting) return;
    acting = true;
    try {
      await act(button.dataset.with ?? "", button);
    } finally {
      acting = false;
    }
  });
}

function makeActs(core, outbox, clock) {
  const { state, store, meet, go, goHome, news } = core;
  const draftHere = () => core.draftOf(state.view.draft);
  const reportOf = (id) => reportsOf(state).find((one) => one.id === id);
  const itemOf = (id) => state.items.find((one) => one.id === id);

  /** A word on what was done; where the page alone holds it, that is the word. */
  const done = (said) => news(word(state.held ? "held here" : said));

  async function added(work) {
    await core.keep(work);
    await core.redraw();
    outbox.tell();
    outbox.flush({ again: true });
  }

  // What may still be undone goes at once where something is to follow it.
  function release(at) {
    at("outbox").getAll().onsuccess = (event) => {
      for (const one of event.target.result) if (one.hold) at("outbox").put({ ...one, hold: 0 });
    };
  }

  async function begin(draft, first) {
    const kept = { official: state.me, began: clock.stamp(), made: Date.now(), rev: 1, step: first, ...draft };
    state.drafts = [...state.drafts.filter((one) => one.id !== kept.id), kept];
    await core.keep((at) => at("drafts").put(kept));
    go({ name: first, draft: kept.id });
  }

  async function goOn(draft) {
    const steps = stepsOf(draft);
    go({ name: steps.includes(draft.step) ? draft.step : steps[0], draft: draft.id });
  }

  async function choose(changes) {
    const draft = draftHere();
    await core.change(draft, changes);
    const steps = stepsOf(draft);
    go({ name: steps[steps.indexOf(state.view.name) + 1], draft: draft.id });
  }

  function mayUndo(id, said) {
    state.undo = { id, said };
    setTimeout(() => {
      if (state.undo?.id !== id) return;
      state.undo = undefined;
      core.redraw();
    }, UNDO_FOR);
  }

  return {
    async white() {
      const { heat } = heatHere(state);
      const post = postHere(state, heat);
      if (!heat || flagsIn(state, heat, post).some((one) => one.flag === "white")) return news(word(heat ? "white already" : "no heat"));
      const item = flagItem(meet, { official: state.me, heat, post: post.id, flag: "white", stamp: clock.stamp(), hold: Date.now() + UNDO_FOR });
      mayUndo(item.id, word("white shown"));
      await added((at) => addOnce(at("outbox"), item));
      done("white shown");
    },

    async yellow() {
      const { heat } = heatHere(state);
      const post = postHere(state, heat);
      if (!heat) return news(word("no heat"));
      const draft = { id: newId(), official: state.me, heat: heat.id, run: heat.run, post: post.id, flagged: true, began: clock.stamp(), made: Date.now(), rev: 1, step: "lane" };
      const item = flagItem(meet, { official: state.me, heat, post: post.id, flag: "yellow", report: draft.id, stamp: clock.stamp() });
      state.undo = undefined;
      state.drafts = [...state.drafts, draft];
      await added((at) => {
        release(at);
        at("drafts").put(draft);
        addOnce(at("outbox"), item);
      });
      go({ name: "lane", draft: draft.id });
      done("yellow shown");
    },

    async undo(id) {
      await core.keep((at) => {
        at("outbox").index("id").get(id).onsuccess = (event) => {
          const item = event.target.result;
          if (item?.hold && !item.tries) at("outbox").delete(item.order);
        };
        at("drafts").get(id).onsuccess = (event) => event.target.result && at("drafts").put({ ...event.target.result, thrown: false });
      });
      state.undo = undefined;
      await core.redraw();
      outbox.tell();
      news(word("undone"));
    },

    async throw(id) {
      const draft = core.draftOf(id);
      mayUndo(id, word("thrown away"));
      await core.change(draft, { thrown: true });
      await core.redraw();
    },

    open: (name) => go({ name }),
    "open-heats": (draft) => go({ name: "heats", draft }),
    back: () => core.back(),
    later: () => goHome(),
    "go-on": (id) => goOn(core.draftOf(id)),

    async post(id) {
      state.post = id;
      await core.redraw();
    },

    async hand(id) {
      state.hand = id;
      await core.keep((at) => at("kept").put({ name: "hand", value: id }));
      goHome();
    },

    async follow() {
      state.hand = undefined;
      await core.keep((at) => at("kept").delete("hand"));
      await core.redraw();
    },

    async reheat(id) {
      await core.change(draftHere(), { heat: id, run: heatOf(state, id)?.run });
      core.back();
    },

    takeover: (number) => choose({ take_over: Number(number) }),
    lane: (lane) => choose({ lane: Number(lane) }),
    seen: (seen) => choose(draftHere().seen === seen ? {} : { seen, position: undefined, answers: {} }),

    async answer(given) {
      const [fact, answer] = given.split("=");
      const draft = draftHere();
      await core.change(draft, { answers: { ...draft.answers, [fact]: draft.answers?.[fact] === answer ? "" : answer } });
      core.refreshStep();
    },

    "step-by": (metres) => core.moveBy({ metres: Number(metres) }),
    "unsure-by": (metres) => core.moveBy({ uncertainty: Number(metres) }),

    async turn() {
      state.turned = !state.turned;
      await core.keep((at) => at("kept").put({ name: "turned", value: state.turned }));
      core.refreshStep();
    },

    async "drop-picture"(id) {
      const draft = draftHere();
      await core.change(draft, { pictures: draft.pictures.map((one) => (one.id === id ? { ...one, left: !one.left } : one)) });
      core.refreshStep();
    },

    async sign(id) {
      const draft = core.draftOf(id);
      const sight = draft && sightOf(state, draft.seen);
      if (!draft || !saysEnough(draft, sight)) return;
      const items = await reportItems(meet, draft, sight, { key: state.key, stamp: clock.stamp() });
      await handOver(store, draft, items);
      state.drafts = state.drafts.filter((one) => one.id !== id);
      // Read first: what is shown must not be the flag's “received” where the account is still to go.
      await core.redraw();
      goHome();
      outbox.tell();
      outbox.flush({ again: true });
      done("report kept");
    },

    observe() {
      const { heat } = heatHere(state);
      if (!heat) return news(word("no heat"));
      return begin({ id: newId(), heat: heat.id, run: heat.run }, "takeover");
    },

    account(id) {
      const one = reportOf(id);
      return begin({ id, heat: one.heat, run: heatOf(state, one.heat)?.run, post: state.watch.reports.find((other) => other.id === id)?.post, lane: one.lane ?? undefined, flagged: true }, "lane");
    },

    async rewrite(id) {
      const one = reportOf(id);
      const told = await send("GET", `/api/meets/${meet}/reports/${id}`, { within: 8000 });
      if (!told.ok && !one.item?.draft) return news(word("needs network"));
      const from = told.ok ? asDraft(told.data) : one.item.draft;
      const version = told.data?.version ?? one.version;
      return begin({ ...from, pictures: [], id, flagged: true, etag: `"v${version}"`, remark: told.data?.remark ?? one.remark }, "facts");
    },

    async mend(id) {
      const item = itemOf(id);
      const behind = state.items.filter((one) => one.kind === "picture" && one.after === id && one.state !== "received");
      const taken = item.problem?.kind === "id-taken";
      const draft = { ...item.draft, id: taken ? newId() : id, step: "facts", pictures: behind.map((one) => ({ id: one.picture, name: one.name })) };
      await core.keep((at) => {
        for (const one of taken ? [item, ...behind] : behind) dropOne(at("outbox"), one.id);
      });
      await begin(draft, "facts");
    },

    withdraw: (report) => go({ name: "withdraw", report }),

    async "withdraw-because"(why) {
      const reason = why ? word(`because ${why}`) : by("reason").value.trim();
      if (reason.length < 3) {
        complainInStep(word("say why"));
        return by("reason").focus();
      }
      const { report } = state.view;
      const known = state.watch.reports.find((one) => one.id === report);
      const account = own(state).find((one) => one.kind === "report" && one.id === report);
      const flag = own(state).find((one) => one.kind === "call" && one.report === report);
      // The version that the flag makes is the first; one that an account makes, its answer tells.
      const versions = [known?.version, (account?.answered ?? account?.etag)?.match(/\d+/)?.[0], 1].map((one) => Number(one ?? 1));
      const etag = account && account.state !== "received" ? undefined : `"v${Math.max(...versions)}"`;
      const item = withdrawalItem(meet, { id: report, official: state.me, etag, after: account?.id ?? flag?.id, reason });
      state.drafts = state.drafts.filter((one) => one.id !== report);
      await added((at) => {
        at("drafts").delete(report);
        addOnce(at("outbox"), item);
      });
      goHome();
      done("withdrawal kept");
    },

    async again(id) {
      await outbox.change(id, { state: "waiting", problem: undefined });
      outbox.flush({ again: true });
    },

    async aside(id) {
      for (const one of state.items.filter((other) => other.id === id || other.after === id)) await outbox.change(one.id, { state: "aside", told_at: Date.now() });
      await core.redraw();
    },

    async copy(id) {
      const text = inText(state, itemOf(id));
      await navigator.clipboard?.writeText(text).then(() => news(word("copied")), () => undefined);
      go({ name: "text", text });
    },

    async "send-now"() {
      news(word("sending"));
      core.look();
      await outbox.flush({ again: true });
    },

    async "set-key"(_value, button) {
      button.disabled = true;
      complainInStep("");
      const answer = await setUpKey(store, { meet, official: state.me, pin: by("pin").value.trim(), device: "" }).catch(() => ({ status: 0 }));
      button.disabled = false;
      if (!answer.ok) return complainInStep(answer.problem?.detail ?? word("unreachable"), answer.problem && "en");
      state.key = await store.get("key");
      goHome();
      news(word("key good"));
    },
  };
}

/** A stored report as a draft, to be written again. */
function asDraft(report) {
  const { seen, baton, foot, ...answers } = report.observation;
  const position = baton ?? foot;
  return {
    heat: report.heat, run: report.run, post: report.post ?? undefined, take_over: report.post ? undefined : report.take_over, lane: report.lane, seen,
    position: position ? { metres: position.metres, uncertainty: position.uncertainty } : undefined,
    answers: Object.fromEntries(Object.entries(answers).filter(([, answer]) => answer !== null).map(([fact, answer]) => [fact, String(answer)])),
    words: report.words,
  };
}
