// What an official looks at between two heats: the heat, the post, what was shown, what still waits.
// Each function fills one part of the page.

import { counted, word } from "../js/words.js";
import { does, h, show } from "./dom.js";
import { flagsIn, heatHere, heatOf, inWords, isLetIn, ofOthers, own, postHere, postsIn, reportsOf, teamIn, unsent, wayOf } from "./meet.js";
import { canHaveKey, canWork } from "./secure.js";

const HALF_AN_HOUR = 30 * 60_000;
const by = (id) => document.getElementById(id);

/** The time of day of an instant, in the meet's zone. */
export function timeOf(instant) {
  const zone = document.body.dataset.zone;
  return new Intl.DateTimeFormat(document.documentElement.lang, { timeZone: zone, hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" }).format(new Date(instant));
}

// As start lists have it (ISO 8601): a time of day, a day with it, or an instant.
function planned(start) {
  if (!start.includes("T")) return start;
  const has = /(Z|[+-]\d\d:?\d\d)$/.test(start);
  const zone = has ? document.body.dataset.zone : "UTC";
  return new Intl.DateTimeFormat(document.body.dataset.writtenAs, { timeZone: zone, dateStyle: "medium", timeStyle: "short", hourCycle: "h23" }).format(new Date(has ? start : `${start}Z`));
}

export const heatName = (heat) =>
  heat ? [h("bdi", {}, heat.event_name), " · ", h("bdi", {}, heat.round), " · ", word("heat", { number: heat.number })] : [word("a heat")];

export const team = (heat, lane) => {
  const found = teamIn(heat, lane);
  if (found) return h("bdi", { class: "team" }, found.name);
  return heat && h("span", { class: "soft" }, word("nobody there"));
};

/** How far something has come, as a word, a sign and a place on a line of three. */
export const wayMark = ({ way, at }) =>
  h("span", { class: "way", "data-way": way }, way === "received" ? word("received at", { time: at ? timeOf(at) : "" }) : word(`way ${way}`));

const edgeAndLanes = (post) => `${word(`edge ${post.edge}`)} · ${word("lanes", { lanes: inWords(post.lanes) })}`;

const postWords = (post) => [h("strong", {}, word("take-over", { number: post.take_over })), " · ", edgeAndLanes(post), " · ", word(`side ${post.side}`)];

const nameOfPost = (post) => `${word("take-over", { number: post.take_over })} · ${edgeAndLanes(post)}`;

/** A post's name where an official has more than one: which of them they spoke for. */
export function whichPost(state, id) {
  const { posts } = state.watch;
  const post = posts.length > 1 && posts.find((one) => one.id === id);
  return post ? nameOfPost(post) : "";
}

/** That a flag is shown, and for which post where there are more in the heat. */
export function saidFor(state, heat, post, flag) {
  return postsIn(state, heat).length > 1 ? word(`shown ${flag}`, { post: nameOfPost(post) }) : word(`${flag} shown`);
}

export function showLine(state) {
  const line = by("line");
  const now = isLetIn(state) ? state.line : "refused";
  line.dataset.state = now;
  const said = word(now || "connecting");
  if (line.textContent !== said) line.textContent = said;
}

/** Look up while a heat runs, whatever is being written. */
export function showCare(state) {
  const { heat, now } = heatHere(state);
  by("care").hidden = heat?.state !== "running" && now?.state !== "running";
}

/** That this phone cannot keep anything: in every view, as long as it is so. */
export function showHeld(state) {
  by("held").hidden = !state.held;
}

export function showHeat(state) {
  const { heat, byHand, now, next } = heatHere(state);
  const differs = byHand && now && now.id !== heat.id;
  show(by("heat"),
    h("h2", {}, byHand ? word("heat by hand") : word("heat now")),
    heat ? h("p", { class: "name" }, heatName(heat)) : h("p", { class: "name" }, word("no heat")),
    heat && h("p", { class: "tags" },
      h("span", { class: "tag", "data-heat": heat.state }, word(`state ${heat.state}`)), " ",
      heat.rehearsal && h("strong", { class: "tag rehearsal" }, word("rehearsal")),
      heat.scheduled && h("span", { class: "soft" }, " ", planned(heat.scheduled))),
    heat && lanesOf(state, heat),
    next && h("p", { class: "next" }, h("span", { class: "soft" }, word("next")), " ", heatName(next), next.rehearsal && [" ", h("strong", { class: "tag rehearsal" }, word("rehearsal"))]),
    differs && h("p", { class: "note" }, word("head is at"), " ", heatName(now)),
    h("p", { class: "buttons" },
      does("open", "heats", { class: "quiet", id: "by-hand" }, word("choose heat")),
      byHand && does("follow", "", { id: "follow" }, word("follow again"))),
  );
}

function lanesOf(state, heat) {
  const lanes = [...new Set(postsIn(state, heat).flatMap((one) => one.lanes))].sort((one, other) => one - other);
  return h("ul", { class: "lanes", "aria-label": word("your lanes") }, lanes.map((lane) => h("li", {}, h("b", { class: "lane" }, String(lane)), " ", team(heat, lane))));
}

export function showPosts(state) {
  const { heat } = heatHere(state);
  const posts = postsIn(state, heat);
  const here = postHere(state, heat);
  const takenBack = withdrawnOf(reportsOf(state));
  show(by("post"),
    h("h2", {}, posts.length > 1 ? word("your posts") : word("your post")),
    !posts.length && state.watch.posts.length > 0 && (heat ? h("p", {}, word("not in this relay")) : state.watch.posts.map((one) => h("p", { class: "post" }, postWords(one)))),
    !state.watch.posts.length && h("p", {}, word("no post")),
    posts.length === 1 && h("p", { class: "post" }, postWords(here)),
    posts.length > 1 && h("p", { class: "hint" }, word("which post")),
    posts.length > 1 && h("div", { class: "stack" }, posts.map((one) => does("post", one.id, { "aria-pressed": String(one === here), id: `post-${one.id}` }, h("span", {}, postWords(one))))),
    here && h("ul", { class: "shown" }, flagsIn(state, heat, here).map((one) => h("li", {}, h("span", { class: `flag ${one.flag}` }, word(one.flag)), " ", wayMark(one), isBack(takenBack, one)))),
  );
}

const withdrawnOf = (reports) => new Set(reports.filter((one) => one.state === "withdrawn").map((one) => one.id));

const isBack = (takenBack, { report }) => takenBack.has(report) && [" ", h("span", { class: "tag" }, word("report withdrawn"))];

/** What the head official asks back, above all else: they wait for it with their ruling. */
export function showQuestions(state) {
  show(by("questions"), reportsOf(state).filter((one) => one.state === "returned" && !isDrafted(state, one)).map((one) => h("div", { class: "card asks" },
    h("h2", {}, word("asked back")), h("p", {}, aboutReport(state, one)), h("p", { class: "question", dir: "auto" }, one.remark),
    h("p", { class: "buttons" }, does("rewrite", one.id, { class: "main" }, word("write again"))))));
}

export function showWaiting(state) {
  const waits = unsent(state).length;
  const refused = own(state).filter((one) => one.state === "refused" && one.kind !== "report");
  const others = ofOthers(state).length;
  const again = own(state).filter(isSentAgain).length;
  show(by("waiting"),
    !isLetIn(state) && h("div", { class: "problem", role: "alert", id: "let-in-no-more" }, h("p", {}, word("let in no more")), h("p", {}, word("until let in"))),
    state.line === "ended" && h("div", { class: "problem", role: "alert" }, h("p", {}, word("session over")), h("p", {}, word("how to rejoin"))),
    again > 0 && h("p", { class: "note", id: "lost" }, counted("lost", again)),
    waits > 0 && h("p", { class: "unsent" }, h("span", { class: "way", "data-way": "here" }, counted("unsent", waits)), " ", does("send-now", "", { id: "send-now" }, word("send now"))),
    others > 0 && h("p", { class: "note" }, counted("of others", others)),
    refused.map((item) => h("div", { class: "problem" },
      h("p", {}, word(`refused ${item.kind}`), item.heat && [" ", heatName(heatOf(state, item.heat))]),
      h("p", { lang: "en" }, item.problem?.detail),
      h("p", { class: "buttons" }, does("again", item.id, {}, word("try again")), does("copy", item.id, {}, word("copy")), does("aside", item.id, {}, word("put aside"))))),
    state.drafts.length > 0 && h("h2", {}, counted("drafts", state.drafts.length)),
    state.drafts.map((draft) => draftCard(state, draft)),
    reportsOf(state).filter((one) => one.state === "raised" && !isDrafted(state, one)).map((one) => h("div", { class: "card asks" },
      h("h3", {}, word("account to follow")), h("p", {}, aboutReport(state, one)),
      h("p", { class: "buttons" }, does("account", one.id, { class: "main" }, word("write account")), does("withdraw", one.id, {}, word("take flag back"))))),
  );
}

// Told until it is received, and for a while after it.
const isSentAgain = (one) => one.missed && !one.elsewhere && one.state !== "aside" && !(one.state === "received" && Date.now() - one.told_at > HALF_AN_HOUR);

const forPost = (state, post) => {
  const name = whichPost(state, post);
  return name && [" · ", name];
};

const isDrafted = (state, report) => state.drafts.some((one) => one.id === report.id);

const aboutReport = (state, { heat, lane, seen, post }) => [
  heatName(heatOf(state, heat)), forPost(state, post), lane ? [" · ", word("lane", { lane }), " ", team(heatOf(state, heat), lane)] : "", seen ? [" · ", word(`seen ${seen}`)] : "",
];

function draftCard(state, draft) {
  return h("div", { class: "card draft" },
    h("p", {}, draft.flagged && h("span", { class: "flag yellow" }, word("yellow")), " ", aboutReport(state, draft)),
    h("p", { class: "buttons" },
      does("go-on", draft.id, { class: "main", id: `go-on-${draft.id}` }, word("go on")),
      draft.etag ? "" : draft.flagged ? does("withdraw", draft.id, {}, word("take flag back")) : does("throw", draft.id, {}, word("throw away"))));
}

export function showDay(state) {
  const reports = reportsOf(state);
  const calls = flagsOfDay(state);
  const takenBack = withdrawnOf(reports);
  show(by("day"),
    h("h2", {}, word("your day")),
    !reports.length && !calls.length && h("p", { class: "soft" }, word("nothing yet")),
    reports.length > 0 && h("ul", { class: "entries" }, reports.map((one) => reportEntry(state, one))),
    calls.length > 0 && h("ul", { class: "entries" }, calls.map((one) => h("li", {}, h("span", { class: `flag ${one.flag}` }, word(one.flag)), " ", heatName(heatOf(state, one.heat)), forPost(state, one.post), h("br"), wayMark(one), isBack(takenBack, one)))),
  );
}

function flagsOfDay(state) {
  const mine = own(state).filter((one) => one.kind === "call" && one.state !== "aside");
  const ids = new Set(mine.map((one) => one.id));
  const others = (state.watch?.calls ?? []).filter((one) => !ids.has(one.id)).map((one) => ({ ...one, way: "received", at: one.received_at, made: Date.parse(one.received_at) }));
  return [...others, ...mine.map((one) => ({ ...one, ...wayOf(one), made: one.made_at }))].sort((one, other) => other.made - one.made);
}

function reportEntry(state, one) {
  const { item } = one;
  const pictures = own(state).filter((other) => other.kind === "picture" && other.report === one.id && other.state !== "aside");
  const came = pictures.filter((other) => other.state === "received");
  const way = one.withdrawal ? wayOf(one.withdrawal) : item && item.state !== "received" ? wayOf(item) : { way: "received", at: item?.received_at ?? one.at };
  const refused = item?.state === "refused";
  return h("li", { class: "entry", "data-report": one.id },
    h("p", {}, aboutReport(state, one)),
    h("p", { class: "tags" }, h("span", { class: "tag" }, word(`report ${one.state}`)), " ", wayMark(way), item && (item.signed || way.way === "received") && h("span", { class: "hint" }, " ", word(item.signed ? "signed here" : "server attests"))),
    came.length > 0 && h("p", { class: "pictures" }, wayMark(wayOf(came.at(-1))), " ", counted("pictures", came.length)),
    pictures.length > came.length && h("p", { class: "pictures" }, wayMark({ way: "here" }), " ", counted("pictures", pictures.length - came.length)),
    refused && h("div", { class: "problem" }, h("p", { lang: "en" }, item.problem?.detail),
      h("p", { class: "buttons" }, does("mend", one.id, { class: "main" }, word("mend")), does("again", one.id, {}, word("try again")), does("copy", one.id, {}, word("copy")), does("aside", one.id, {}, word("put aside")))),
    !refused && one.state !== "withdrawn" && h("p", { class: "buttons" },
      h("label", { class: "button quiet" }, word("add picture"), h("input", { type: "file", accept: "image/*", class: "unseen", "data-picture-for": one.id })),
      ["raised", "written", "returned"].includes(one.state) && does("withdraw", one.id, { class: "quiet" }, word("withdraw"))));
}

export function showPhone(state) {
  const off = state.clock?.offset();
  const seconds = off === undefined ? 0 : Math.round(off / 1000);
  const far = Math.abs(seconds) >= 90 ? counted(seconds < 0 ? "fast" : "slow", Math.round(Math.abs(seconds) / 60)) : Math.abs(seconds) >= 2 ? counted(seconds < 0 ? "fast seconds" : "slow seconds", Math.abs(seconds)) : word("clock right");
  show(by("phone"),
    h("h2", {}, word("this phone")),
    h("p", { id: "clock" }, off === undefined ? word("clock unknown") : far),
    !canWork() && h("p", { class: "note" }, word("keep open")),
    state.key?.registered ? h("p", {}, word("key good"))
      : h("p", {}, word(canHaveKey() ? "no key" : "no key here")),
    canHaveKey() && !state.key?.registered && h("p", { class: "buttons" }, does("open", "key", { id: "set-key" }, word("set up key"))),
    h("p", { class: "buttons" }, does("observe", "", { id: "observe" }, word("own observation"))));
}

export function showBar(state) {
  const { heat } = heatHere(state);
  const post = postHere(state, heat);
  const { undo } = state;
  show(by("bar"),
    undo && h("p", { class: "undo" }, does("undo", undo.id, { id: "undo" }, word("undo"))),
    isLetIn(state) ? flagsFor(state, heat, post) : h("p", { class: "for-post" }, word("no flags now")));
}

const flagsFor = (state, heat, post) => [
  post && postsIn(state, heat).length > 1 && h("p", { class: "for-post" }, postWords(post)),
  post && h("div", { class: "flags" },
    does("white", "", { class: "white", id: "white" }, h("span", { class: "sign", "aria-hidden": "true" }), h("strong", {}, word("white")), h("span", {}, word("white means"))),
    does("yellow", "", { class: "yellow", id: "yellow" }, h("span", { class: "sign", "aria-hidden": "true" }), h("strong", {}, word("yellow")), h("span", {}, word("yellow means")))),
];
