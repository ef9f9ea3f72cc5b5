// The way of an account, from what is tapped to what is signed; written again where it came back; and
// taken back.

import { seen } from "../js/seen.js";
import { newId, send } from "../js/send.js";
import { word } from "../js/words.js";
import { isUsual } from "./facts.js";
import { heatHere, heatOf, own, reportsOf, sightOf } from "./meet.js";
import { handOver, reportItems, saysEnough, withdrawalItem } from "./report.js";
import { complainInStep, stepsOf } from "./steps.js";
import { addOnce, dropOne } from "./store.js";

const PATIENCE = 8000, UNDO_FOR = 5000;

/** What taps on them do, by name. */
export function writing({ core, outbox, clock, inTurn }) {
  const { state, meet, go, goHome, news } = core;
  const draftHere = () => core.draftOf(state.view.draft);
  const reportOf = (id) => reportsOf(state).find((one) => one.id === id);
  const asked = new Set();

  async function begin(draft, first) {
    await keep(draft, first);
    go({ name: first, draft: draft.id });
  }

  async function keep(draft, first) {
    const kept = { official: state.me, began: clock.stamp(), made: Date.now(), rev: 1, step: first, ...draft };
    state.drafts = [...state.drafts.filter((one) => one.id !== kept.id), kept];
    await core.keep((at) => at("drafts").put(kept));
  }

  async function choose(changes) {
    const draft = draftHere();
    await core.change(draft, changes);
    const steps = stepsOf(draft);
    go({ name: steps[steps.indexOf(state.view.name) + 1], draft: draft.id });
  }

  // Whoever does something else by then finds it among their reports to finish.
  async function beginAgain(one, told) {
    if (!one || core.draftOf(one.id)) return news("");
    if (!told.ok && !one.item?.draft) return news(told.problem?.detail ?? word("needs network"));
    const from = told.ok ? asDraft(told.data) : one.item.draft;
    const version = told.data?.version ?? one.version;
    await keep({ ...from, pictures: [], id: one.id, flagged: true, etag: `"v${version}"`, remark: told.data?.remark ?? one.remark }, "facts");
    if (state.view.name === "home") go({ name: "facts", draft: one.id });
    else await core.redraw();
  }

  // The version that the flag makes is the first; one that an account makes, its answer tells.
  function versionOf(report, account) {
    const known = state.watch.reports.find((one) => one.id === report);
    const versions = [known?.version, (account?.answered ?? account?.etag)?.match(/\d+/)?.[0], 1].map((one) => Number(one ?? 1));
    return account && account.state !== "received" ? undefined : `"v${Math.max(...versions)}"`;
  }

  return {
    observe() {
      const { heat } = heatHere(state);
      if (!heat) {
        go({ name: "heats" });
        return news(word("choose first"));
      }
      return begin({ id: newId(), heat: heat.id, run: heat.run }, "takeover");
    },

    account(id) {
      const one = reportOf(id);
      return begin({ id, heat: one.heat, run: heatOf(state, one.heat)?.run, post: one.post, lane: one.lane ?? undefined, flagged: true }, "lane");
    },

    "go-on"(id) {
      const draft = core.draftOf(id), steps = stepsOf(draft);
      go({ name: steps.includes(draft.step) ? draft.step : steps[0], draft: draft.id });
    },

    async throw(id) {
      core.mayUndo(id, UNDO_FOR);
      await core.change(core.draftOf(id), { thrown: true });
      await core.redraw();
      news(word("thrown away"));
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
      if (!draft) {
        goHome();
        return news(word("not here any more"));
      }
      const sight = sightOf(state, draft.seen);
      if (!saysEnough(draft, sight)) return;
      const items = await reportItems(meet, draft, sight, { key: state.key, stamp: clock.stamp() });
      await outbox.add(handOver(draft, items));
      state.drafts = state.drafts.filter((one) => one.id !== id);
      // Read first: what is shown must not be the flag's “received” where the account is still to go.
      await core.redraw();
      goHome();
      core.kept(word("report kept"));
    },

    rewrite(id) {
      if (asked.has(id)) return;
      asked.add(id);
      news(word("asking"));
      send("GET", `/api/meets/${meet}/reports/${id}`, { within: PATIENCE }).then((told) => {
        asked.delete(id);
        return inTurn(() => beginAgain(reportOf(id), told));
      });
    },

    async mend(id) {
      const item = state.items.find((one) => one.id === id);
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
      const field = document.getElementById("reason");
      const reason = why ? word(`because ${why}`) : seen(field.value).trim();
      if (reason.length < 3) {
        complainInStep(word("say why"));
        return field.focus();
      }
      const { report } = state.view;
      const account = own(state).find((one) => one.kind === "report" && one.id === report);
      const flag = own(state).find((one) => one.kind === "call" && one.report === report);
      const item = withdrawalItem(meet, { id: report, official: state.me, etag: versionOf(report, account), after: account?.id ?? flag?.id, reason });
      state.drafts = state.drafts.filter((one) => one.id !== report);
      await outbox.add((at) => {
        at("drafts").delete(report);
        addOnce(at("outbox"), item);
      });
      await core.redraw();
      goHome();
      core.kept(word("withdrawal kept"));
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
    answers: Object.fromEntries(Object.entries(answers).filter(([fact, answer]) => answer !== null && !isUsual(seen, fact, answer)).map(([fact, answer]) => [fact, String(answer)])),
    words: report.words,
  };
}
