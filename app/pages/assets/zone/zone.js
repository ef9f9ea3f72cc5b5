// The zone official's page, put together: what this phone keeps, its clock, the outbox, the meet as it
// is followed, and what taps do.

import { forgetPage, isAnothers, noteJoined, whenJoined } from "../js/kept_page.js";
import { counted, word } from "../js/words.js";
import { listenToActs } from "./acts.js";
import { openCore } from "./core.js";
import { listenToFields } from "./fields.js";
import { lostOf } from "./lost.js";
import { isLetIn, ofOthers, unsent } from "./meet.js";
import { dropRevoked, keepPage } from "./secure.js";
import { openOutbox } from "./outbox.js";
import { openStore } from "./store.js";
import { follow, openClock } from "./line.js";

const by = (id) => document.getElementById(id);
const given = JSON.parse(by("told").textContent);
const meet = given.meet.id;
const me = given.official.id;
if (navigator.serviceWorker?.controller && isAnothers(meet, me)) await turnOver();
whenJoined(meet, () => isAnothers(meet, me) && turnOver());
const store = openStore(meet);
const kept = await readKept();
const newer = kept.watch && kept.watch.official.id === me && kept.watch.server_time > given.server_time;
const core = openCore({ store, meet, watch: newer ? kept.watch : given });
const { state } = core;
const clock = openClock(store, kept.clock);
Object.assign(state, { clock, hand: kept.hand, turned: kept.turned, key: kept.key });
let line;
const outbox = openOutbox({ store, meet, whose: () => state.me, changed: core.redrawSoon, touched: touch, emptied: () => line.look(), sure: () => isLetIn(state) && line?.sure() });

listenToFields(core, outbox);
listenToActs(core, outbox, clock);
await core.redraw();
core.start();
document.body.dataset.ready = "yes";
line = follow({ meet, told, same: sendLost, touched: (now) => touch(now, true) });
core.look = line.look;
outbox.flush();
outbox.tidy();
tidyDrafts();
if (document.readyState === "complete") keepPage();
else addEventListener("load", keepPage);

async function readKept() {
  const rows = await store.all("kept");
  return Object.fromEntries(rows.map((one) => [one.name, one.value]));
}

// Somebody else has joined on this phone: their page, not this one, and nothing more from here.
async function turnOver() {
  await forgetPage(location.pathname);
  location.reload();
  await new Promise(() => undefined);
}

/** The meet was read. */
async function told(watch, asked) {
  if (watch.official.id !== me) await turnOver();
  noteJoined(meet, me);
  state.watch = watch;
  await core.keep((at) => at("kept").put({ name: "watch", value: watch }));
  await core.redraw();
  await sendLost(asked);
}

async function sendLost(asked) {
  const lost = lostOf(state, asked);
  if (lost.length) await outbox.sendAgain(lost);
}

/** The server answered, or did not, does not know this session any more, or lets the official in no more. */
function touch(now, sure = false) {
  if (now === "in touch") {
    if (clock.isDue()) clock.measure().then(() => core.redraw());
    if (sure) arrive(state.line !== now);
  }
  if (now === "ended" && state.line !== "ended") leaveNothing();
  if (state.line === now) return;
  state.line = now;
  core.redraw();
}

// What waits by itself is tried at once where the line has come back.
async function arrive(isBack) {
  outbox.flush({ again: true, now: isBack });
  if (!state.key?.registered || state.checked) return;
  state.checked = true;
  if (await dropRevoked(store, state.key, meet)) {
    state.key = undefined;
    core.redraw();
  }
}

// A session that has ended, with nothing that waits: the next one to hold this phone sees nobody's page.
async function leaveNothing() {
  await core.redraw();
  if (unsent(state).length || state.drafts.length) return;
  await forgetPage(location.pathname);
  await core.keep((at) => at("kept").delete("watch"));
}

async function tidyDrafts() {
  const thrown = (await store.all("drafts")).filter((one) => one.thrown);
  if (thrown.length) await core.keep((at) => thrown.forEach((one) => at("drafts").delete(one.id)));
}

addEventListener("beforeunload", (event) => {
  if (store.holds()) event.preventDefault();
});

// What somebody else has on this phone stays there when this official signs off.
async function othersLeft() {
  const drafts = await store.all("drafts");
  return ofOthers(state).length > 0 || drafts.some((one) => one.official !== me && !one.thrown);
}

let warned = false;
document.querySelector("form.leave")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const waits = unsent(state).length + state.drafts.length;
  if (waits && !warned) {
    warned = true;
    by("leave-problem").hidden = false;
    by("leave-problem").textContent = `${counted("unsent", waits)} ${word("leave anyway")}`;
    return by("leave-problem").focus();
  }
  await forgetPage(location.pathname);
  if (waits || (await othersLeft())) await core.keep((at) => at("kept").delete("watch"));
  else await store.forget().catch(() => undefined);
  event.target.submit();
});
