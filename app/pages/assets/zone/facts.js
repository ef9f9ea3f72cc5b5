// The facts of one account: where the mark was, by drag, by steps or as a number; or the questions that
// decide; then words and pictures. Fields stay as they are while the drawing beside them changes, so
// nobody loses the place where they type.

import { has, word } from "../js/words.js";
import { does, h, show } from "./dom.js";
import { heatOf, placeOf, sightOf, teamIn, zoneOf } from "./meet.js";
import { placedFrom, placedPart } from "./report.js";
import { drawZone, middleOf } from "./zone_drawing.js";

const by = (id) => document.getElementById(id);
const FARTHEST = 60, LEAST_UNCERTAIN = 0, MOST_UNCERTAIN = 10, USUAL = 0.3;
const asked = JSON.parse(by("asked").textContent);
let middle = 0, drawn;

const number = (metres) => new Intl.NumberFormat(document.documentElement.lang, { minimumFractionDigits: 2, maximumFractionDigits: 2 }).format(metres);

/** A place in words: 1.20 m beyond the end of the zone, give or take 0.30 m. */
export function placeInWords(position, edge) {
  if (!position) return word("not placed");
  const side = position.metres === 0 ? "at" : position.metres < 0 ? "short" : "past";
  return word(`${side} ${edge}`, { metres: number(Math.abs(position.metres)), give: number(position.uncertainty) });
}

/** A place within what the service takes, to the centimetre. */
export function placed(position, changes) {
  const { metres, uncertainty } = { metres: 0, uncertainty: USUAL, ...position, ...changes };
  const within = (value, least, most) => Math.round(Math.min(Math.max(value, least), most) * 100) / 100 || 0;
  return { metres: within(metres, -FARTHEST, FARTHEST), uncertainty: within(uncertainty, LEAST_UNCERTAIN, MOST_UNCERTAIN) };
}

/** Fill the step with what is asked about this infringement; `isOpen` where more of it was opened. */
export function showFacts(state, draft, sight, isOpen) {
  const part = placedPart(sight);
  middle = middleOf(draft.position);
  show(by("facts"),
    part ? placing(state, draft, sight) : questions(draft, sight.questions.map((one) => one.fact), true),
    part && h("details", { id: "no-place", open: Boolean(draft.answers?.clearly) }, h("summary", {}, word("no place")), questions(draft, ["clearly"], false)),
    ...further(draft, sight, isOpen),
    h("p", { class: "field" }, h("label", { for: "words" }, word("words")), h("textarea", { id: "words", rows: 3, maxlength: 4000, dir: "auto", value: draft.words ?? "" })),
    h("div", { id: "pictures" }),
    h("p", { id: "picture-problem", class: "problem", role: "alert", hidden: true }),
    h("p", {}, h("label", { class: "button quiet" }, word("add picture"), h("input", { type: "file", accept: "image/*", multiple: true, class: "unseen", "data-pictures": draft.id }))),
    h("p", { class: "hint" }, word(state.key?.registered ? "signs with key" : "server will attest")));
  if (by("words").value !== (draft.words ?? "")) by("words").value = draft.words ?? "";
  if (part) showPlace(state, draft, sight);
  showPictures(draft);
}

function placing(state, draft, sight) {
  const part = placedPart(sight);
  const step = (by_, words) => does("step-by", by_, {}, words);
  return [
    h("p", { class: "hint", id: "how" }, word(`where ${momentOf(draft) ?? part}`)),
    h("div", { id: "drawing", role: "slider", tabindex: "0", "aria-labelledby": "how", "aria-valuemin": -FARTHEST, "aria-valuemax": FARTHEST, "aria-valuenow": "0" }),
    h("p", { id: "reading", class: "reading", "aria-live": "polite" }),
    h("p", { id: "doubt", class: "note", role: "status", hidden: true }, word("inside the zone")),
    h("div", { class: "row" },
      step("-0.1", word("back a bit")),
      h("label", { class: "metres" }, h("span", { class: "hint" }, word("metres")), h("input", { id: "metres", inputmode: "decimal", autocomplete: "off" })),
      step("0.1", word("on a bit"))),
    h("div", { class: "row" },
      does("unsure-by", "-0.1", { "aria-label": word("less unsure") }, "−"),
      h("label", { class: "metres" }, h("span", { class: "hint" }, word("give or take")), h("input", { id: "uncertainty", inputmode: "decimal", autocomplete: "off" })),
      does("unsure-by", "0.1", { "aria-label": word("more unsure") }, "+"),
      does("turn", "", { class: "quiet" }, word("turn"))),
  ];
}

// A place of the baton means something only together with the moment. Where somebody else is said to
// have held it, that is another one.
const momentOf = ({ seen, answers }) => (has(`where ${seen}`) && (answers?.held_by || "receiver") === "receiver" ? seen : undefined);

/** Show where the mark is now; `dragging` leaves the drawing where it lies under the finger. */
export function showPlace(state, draft, sight, { dragging = false } = {}) {
  const edge = placedFrom(sight), kind = placedPart(sight);
  const place = placeOf(state, draft);
  const zone = zoneOf(state, heatOf(state, draft.heat), place.take_over) ?? { length_m: 30, leg_line_m: 20, acceleration_m: 0 };
  if (!dragging) middle = middleOf(draft.position);
  const words = placeInWords(draft.position, edge);
  drawn = drawZone({ zone, edge, position: draft.position, middle, kind, turned: isTurned(state, place), said: {
    start: word("edge start"), end: word("edge end"), leg: word("leg line"), acceleration: word("acceleration"), running: word("running"),
  } });
  by("drawing").replaceChildren(drawn.drawing);
  by("drawing").setAttribute("aria-valuenow", draft.position?.metres ?? 0);
  by("drawing").setAttribute("aria-valuetext", words);
  if (by("reading").textContent !== words) by("reading").textContent = words;
  by("doubt").hidden = !isInside(draft.position, edge, zone.length_m);
  for (const [id, value] of [["metres", draft.position?.metres], ["uncertainty", draft.position?.uncertainty ?? USUAL]]) {
    const field = by(id);
    if (document.activeElement !== field) field.value = value === undefined ? "" : value;
  }
}

// Of what is placed nothing is reported inside the zone: a minus that was forgotten is seen before it is signed.
function isInside(position, edge, length) {
  if (!position) return false;
  const fromStart = position.metres + (edge === "end" ? length : 0);
  return fromStart - position.uncertainty >= 0 && fromStart + position.uncertainty <= length;
}

// Seen from inside the track runners come from the right; whoever has no side sees it from outside.
const isTurned = (state, place) => (place.side === "inside") !== Boolean(state.turned);

/** How far from its edge a point of the screen lies. */
export const metresAt = (clientX) => drawn.metresAt(clientX);

function questions(draft, facts, main) {
  return [...first(draft.seen, main), ...facts].map((fact) => question(draft, fact));
}

const first = (seen, main) => (main ? asked[seen].first : []);

function question(draft, fact) {
  const { answers, usual } = fact === "clearly" ? { answers: ["yes", "no", "unsure"], usual: "unsure" } : asked[draft.seen].facts[fact];
  if (!answers.length) return h("p", { class: "field" }, h("label", { for: `fact-${fact}` }, word(`fact ${fact}`)), h("input", { id: `fact-${fact}`, "data-fact": fact, inputmode: "numeric", maxlength: 2, value: draft.answers?.[fact] ?? "" }));
  const given = draft.answers?.[fact] ?? (usual === "unsure" ? undefined : usual);
  return h("div", { class: "question", role: "group", "aria-labelledby": `asks-${fact}` },
    h("p", { id: `asks-${fact}` }, word(`fact ${fact}`)),
    h("div", { class: "answers" }, answers.map((answer) => does("answer", `${fact}=${answer}`, { id: `answer-${fact}-${answer.replaceAll(" ", "-")}`, "aria-pressed": String(given === answer) }, word(`answer ${answer}`)))));
}

// Everything else that a rule book may ask, one step away; but what is taken to be so unless it is
// changed stands open, since it is signed with the rest.
function further(draft, sight, isOpen) {
  const shown = new Set(["clearly", ...asked[draft.seen].first, ...sight.questions.map((one) => one.fact)]);
  const { facts } = asked[draft.seen];
  const rest = Object.keys(facts).filter((fact) => !shown.has(fact));
  const taken = rest.filter((fact) => !isOpenQuestion(facts[fact]));
  const more = rest.filter((fact) => isOpenQuestion(facts[fact]));
  return [
    ...taken.map((fact) => question(draft, fact)),
    more.length > 0 && h("details", { id: "more-facts", open: Boolean(isOpen) }, h("summary", {}, word("more facts")), more.map((fact) => question(draft, fact))),
  ];
}

/** Whether an answer is what a report says by itself. */
export const isUsual = (seen, fact, answer) => asked[seen].facts[fact]?.usual === answer;

const isOpenQuestion = ({ usual }) => !usual || usual === "unsure";

/** The pictures of a draft; one that was left out can be put back. */
export function showPictures(draft) {
  show(by("pictures"), (draft.pictures ?? []).map((one) =>
    h("p", { class: "picture" }, one.left ? h("s", {}, h("bdi", {}, one.name)) : h("bdi", {}, one.name), " ", one.whole && h("span", { class: "hint" }, word("goes whole"), " "),
      does("drop-picture", one.id, { class: "quiet" }, word(one.left ? "put back" : "leave out")))));
}

/** An item of the outbox as people read it aloud: the way out where nothing can be sent. */
export function inText(state, item) {
  const heat = heatOf(state, item.heat ?? item.draft?.heat);
  const lines = [state.watch.official.name, heat && `${heat.event_name}, ${heat.round}, ${word("heat", { number: heat.number })}`];
  if (item.kind === "call") lines.push(word(item.flag));
  if (item.kind === "withdrawal") lines.push(word("withdraw"), item.body?.reason);
  if (item.draft) lines.push(...account(state, heat, item.draft));
  lines.push(item.body?.clock?.at);
  return lines.filter(Boolean).join("\n");
}

function account(state, heat, draft) {
  const sight = sightOf(state, draft.seen);
  return [
    `${word("lane", { lane: draft.lane })} ${teamIn(heat, draft.lane)?.name ?? ""}`,
    word(`seen ${draft.seen}`),
    placedPart(sight) && draft.position && placeInWords(draft.position, placedFrom(sight)),
    ...Object.entries(draft.answers ?? {}).filter(([, answer]) => answer).map(([fact, answer]) => `${word(`fact ${fact}`)} ${fact === "steps" ? answer : word(`answer ${answer}`)}`),
    draft.words,
  ];
}
