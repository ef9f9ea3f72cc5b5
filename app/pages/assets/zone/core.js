// What is known and shown on this phone, and the way from one step to the next. Nothing here waits for
// a network. The steps are entries of the browser's history, so its own way back is one more Back.

import { word } from "../js/words.js";
import * as home from "./home.js";
import { heatHere, unsent } from "./meet.js";
import { showStep, stepsOf } from "./steps.js";

const by = (id) => document.getElementById(id);
const OF_DRAFT = new Set(["takeover", "lane", "seen", "facts"]);
const GUARD = 350, SAID_FOR = 8000;

/** The page's own account of the meet: `state` is what all parts of it are drawn from. */
export function openCore({ store, meet, watch }) {
  const state = { watch, me: watch.official.id, line: "", items: [], drafts: [], view: { name: "home" }, held: false };
  const core = { state, store, meet, redraw, redrawSoon, news, done, kept, mayUndo, go, back, goHome, change, keep: store.change, draftOf };
  let drawing, owed = false, shownHeat, soon, took = 0, drawn = 0, said, isKept = false;

  function draftOf(id) {
    return state.drafts.find((one) => one.id === id);
  }

  /** Say something in a word or two, for a while, also to whoever does not look. */
  function news(words) {
    clearTimeout(said);
    isKept = false;
    by("news").textContent = words;
    said = setTimeout(() => (by("news").textContent = ""), SAID_FOR);
  }

  /** Say what was done; where the page alone holds it, that too. */
  function done(words) {
    news(state.held ? `${words} ${word("held here")}` : words);
  }

  /** Say that something is kept here, for as long as that is so. */
  function kept(words) {
    done(words);
    isKept = true;
  }

  /** Let something be undone for some milliseconds. */
  function mayUndo(id, length) {
    state.undo = { id };
    setTimeout(() => {
      if (state.undo?.id !== id) return;
      state.undo = undefined;
      redraw();
    }, length);
  }

  /** Read what is kept and draw what differs; many calls at once are one or two. */
  function redraw() {
    if (drawing) {
      owed = true;
      return drawing;
    }
    drawing = draw().finally(() => {
      drawing = undefined;
      if (owed) {
        owed = false;
        redraw();
      }
    });
    return drawing;
  }

  /** Redraw before long: while much is sent or read, drawing takes a small share of the time. */
  function redrawSoon() {
    soon ??= setTimeout(async () => {
      const from = performance.now();
      soon = undefined;
      await redraw();
      drawn = performance.now();
      took = drawn - from;
    }, drawn + Math.min(Math.max(100, 4 * took), 1000) - performance.now());
  }

  async function draw() {
    const [items, drafts] = await Promise.all([store.all("outbox"), store.all("drafts")]);
    state.items = items;
    state.drafts = merged(drafts.filter((one) => one.official === state.me && !one.thrown));
    drawHome();
  }

  // What was changed here and is still on its way to the database is newer than what lies there.
  function merged(drafts) {
    return drafts.map((one) => {
      const here = draftOf(one.id);
      return here && (here.rev ?? 0) > (one.rev ?? 0) ? here : one;
    });
  }

  function drawHome() {
    state.held = store.isHeld();
    home.showHeld(state);
    home.showLine(state);
    home.showCare(state);
    if (isKept && !unsent(state).length) news(word("has come"));
    if (state.view.name !== "home") return;
    home.showQuestions(state);
    home.showHeat(state);
    home.showPosts(state);
    home.showWaiting(state);
    home.showDay(state);
    home.showPhone(state);
    home.showBar(state);
    const { heat } = heatHere(state);
    const now = heat ? `${heat.id} ${heat.run}` : "";
    if (shownHeat !== undefined && shownHeat !== now) {
      // A tap that was meant for the heat before must not show a flag in this one.
      guard(2 * GUARD);
      news(word("heat changed"));
    }
    shownHeat = now;
  }

  // The second half of a double tap lands on nothing.
  let guarded;
  function guard(length) {
    by("bar").inert = true;
    clearTimeout(guarded);
    guarded = setTimeout(() => (by("bar").inert = false), length);
  }

  function display(view) {
    const draft = view.draft && draftOf(view.draft);
    state.view = view.name === "home" || (view.draft && !draft) ? { name: "home" } : view;
    const isHome = state.view.name === "home";
    document.body.dataset.view = state.view.name;
    by("home").hidden = !isHome;
    by("step").hidden = isHome;
    guard(GUARD);
    scrollTo(0, 0);
    if (isHome) {
      by("step").replaceChildren();
      drawHome();
      return by("main").focus({ preventScroll: true });
    }
    if (draft && OF_DRAFT.has(view.name) && draft.step !== view.name) change(draft, { step: view.name });
    showStep(state, state.view);
    by("step-title").focus({ preventScroll: true });
  }

  // On a small phone what was said lies over what is asked next.
  function go(view) {
    news("");
    const depth = (history.state?.depth ?? 0) + 1;
    history.pushState({ view, depth }, "");
    display(view);
  }

  function back() {
    if ((history.state?.depth ?? 0) > 0) return history.back();
    const draft = draftOf(state.view.draft);
    const before = draft && stepsOf(draft)[stepsOf(draft).indexOf(state.view.name) - 1];
    const view = before ? { name: before, draft: draft.id } : { name: "home" };
    history.replaceState({ view, depth: 0 }, "");
    display(view);
  }

  function goHome() {
    const depth = history.state?.depth ?? 0;
    if (depth > 0) history.go(-depth);
    else history.replaceState({ view: { name: "home" }, depth: 0 }, "");
    display({ name: "home" });
  }

  addEventListener("popstate", (event) => display(event.state?.view ?? { name: "home" }));

  /** Change a draft, here at once and on the phone right behind it. */
  function change(draft, changes) {
    Object.assign(draft, changes, { rev: (draft.rev ?? 0) + 1 });
    return store.change((at) => at("drafts").put(draft));
  }

  // Where the phone could not write or can again, no more than the warning has changed.
  store.moved = () => state.held !== store.isHeld() && drawHome();

  core.start = () => {
    const view = history.state?.view;
    if (!history.state) history.replaceState({ view: { name: "home" }, depth: 0 }, "");
    if (view && view.name !== "home") display(view);
  };
  return core;
}
