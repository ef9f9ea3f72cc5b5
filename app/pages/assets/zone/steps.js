// From the yellow flag to the signed account, one thing a step: the take-over where no post says it,
// the lane, what was seen, and the facts. Each step fills the same place and the same bar, and what is
// tapped is kept before the next one is shown.

import { word } from "../js/words.js";
import { does, h, show } from "./dom.js";
import { heatName, team, whichPost } from "./home.js";
import { heatOf, placeOf, sightOf } from "./meet.js";
import { saysEnough } from "./report.js";
import { showFacts } from "./facts.js";

const by = (id) => document.getElementById(id);

/** The steps of a draft, in their order. */
export const stepsOf = (draft) => [...(draft.post ? [] : ["takeover"]), "lane", "seen", "facts"];

/** Fill the page's place for steps with one of them. */
export function showStep(state, view) {
  const draft = state.drafts.find((one) => one.id === view.draft);
  FILL[view.name](state, draft, view);
}

function about(state, draft) {
  const heat = heatOf(state, draft.heat);
  return h("p", { class: "about" },
    draft.flagged && h("span", { class: "flag yellow" }, word("yellow")), " ", heatName(heat), heat?.rehearsal && [" ", h("strong", { class: "tag rehearsal" }, word("rehearsal"))],
    draft.post && whichPost(state, draft.post) && [" · ", whichPost(state, draft.post)],
    draft.lane && [" · ", word("lane", { lane: draft.lane }), " ", team(heat, draft.lane)]);
}

function fill(heading, inside, bar, remark) {
  show(by("step"), h("h2", { id: "step-title", tabindex: "-1" }, heading), remark, inside);
  show(by("bar"), h("div", { class: "step-bar" }, does("back", "", { id: "back" }, word("back")), bar));
}

const later = () => does("later", "", { class: "quiet", id: "later" }, word("later"));

const FILL = {
  takeover(state, draft) {
    const chosen = [1, 2, 3].map((number) => does("takeover", number, { class: "big", "aria-pressed": String(draft.take_over === number) }, word("take-over", { number })));
    fill(word("which take-over"), [about(state, draft), h("div", { class: "choices" }, chosen)], later());
  },

  lane(state, draft) {
    const heat = heatOf(state, draft.heat);
    const own = new Set(placeOf(state, draft).lanes);
    const lanes = heat?.lanes.map((one) => one.lane) ?? [];
    const empty = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10].filter((lane) => !lanes.includes(lane));
    const choice = (lane, big) => does("lane", lane, { class: big ? "big lane-choice" : "lane-choice", "aria-pressed": String(draft.lane === lane) }, h("b", { class: "lane" }, String(lane)), team(heat, lane));
    fill(word("which lane"), [
      about(state, { ...draft, lane: undefined }),
      h("div", { class: "choices" }, lanes.filter((lane) => own.has(lane)).map((lane) => choice(lane, true))),
      h("div", { class: "choices small" }, lanes.filter((lane) => !own.has(lane)).map((lane) => choice(lane))),
      h("details", { id: "other-lanes" }, h("summary", {}, word("other lanes")), h("div", { class: "choices small" }, empty.map((lane) => choice(lane)))),
      h("p", {}, does("open-heats", draft.id, { class: "quiet" }, word("other heat"))),
    ], later());
  },

  seen(state, draft) {
    const edge = placeOf(state, draft).edge;
    const sights = state.watch?.sights ?? [];
    const here = sights.filter((one) => !edge || one.edges.includes(edge));
    const choice = (one) => does("seen", one.seen, { class: "big", "aria-pressed": String(draft.seen === one.seen) }, word(`seen ${one.seen}`));
    const rest = sights.filter((one) => !here.includes(one));
    // What is measured at this very edge first: it is what the post is there for.
    here.sort((one, other) => (one.position === "none") - (other.position === "none"));
    fill(word("what seen"), [
      about(state, draft),
      h("div", { class: "choices" }, here.map(choice)),
      rest.length > 0 && h("details", { id: "something-else", open: rest.some((one) => one.seen === draft.seen) }, h("summary", { id: "else" }, word("something else")), h("div", { class: "choices" }, rest.map(choice))),
    ], later());
  },

  facts(state, draft) {
    const sight = sightOf(state, draft.seen);
    const enough = saysEnough(draft, sight);
    const isOpen = by("more-facts")?.open; // the step is filled anew with each answer
    fill(word(`seen ${draft.seen}`), [about(state, draft), h("div", { id: "facts" })], [
      later(), does("sign", draft.id, { class: "main", id: "sign", disabled: !enough }, word("sign and send")),
    ], draft.remark && h("p", { class: "note question", dir: "auto" }, draft.remark));
    showFacts(state, draft, sight, isOpen);
  },

  withdraw(state, _draft, view) {
    fill(word("why withdraw"), [
      h("p", {}, word("withdrawn stays")),
      h("div", { class: "choices" }, ["mistake", "lane", "nothing"].map((one) => does("withdraw-because", one, { class: "big" }, word(`because ${one}`)))),
      h("p", { class: "field" }, h("label", { for: "reason" }, word("other reason")), h("textarea", { id: "reason", rows: 2, maxlength: 4000 })),
      h("p", {}, does("withdraw-because", "", { id: "withdraw-other" }, word("withdraw now"))),
      h("p", { id: "step-problem", class: "problem", role: "alert", hidden: true }),
    ], "");
    by("step").dataset.report = view.report;
  },

  heats(state, draft, view) {
    const chosen = draft?.heat ?? state.hand;
    fill(word("which heat"), [
      !view.draft && h("p", { class: "hint" }, word("by hand means")),
      h("div", { class: "choices" }, (state.watch?.heats ?? []).map((heat) =>
        does(view.draft ? "reheat" : "hand", heat.id, { class: "heat-choice", "aria-pressed": String(heat.id === chosen) },
          h("span", {}, heatName(heat)), h("span", { class: "tags" }, h("span", { class: "tag" }, word(`state ${heat.state}`)), heat.rehearsal && h("strong", { class: "tag rehearsal" }, word("rehearsal")))))),
    ], "");
  },

  text(_state, _draft, view) {
    fill(word("as text"), [h("p", { class: "hint" }, word("text means")), h("textarea", { id: "as-text", rows: 8, readonly: true, dir: "auto", "aria-label": word("as text"), value: view.text })], "");
  },

  key() {
    fill(word("set up key"), [
      h("p", {}, word("key means")),
      h("p", { id: "step-problem", class: "problem", role: "alert", hidden: true }),
      h("p", { class: "field" }, h("label", { for: "pin" }, word("pin")), h("input", { id: "pin", type: "password", inputmode: "numeric", autocomplete: "current-password", maxlength: 12 })),
      h("p", {}, does("set-key", "", { class: "main", id: "make-key" }, word("make key"))),
    ], "");
  },
};

/** Say what is wrong in a step that is not a draft's. */
export function complainInStep(words, lang) {
  const place = by("step-problem");
  if (!place) return;
  place.hidden = !words;
  place.textContent = words ?? "";
  if (lang) place.lang = lang;
}
