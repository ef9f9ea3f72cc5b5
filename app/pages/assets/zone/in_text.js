// An item of the outbox as people read it aloud or copy it: the way out where nothing can be sent.

import { word } from "../js/words.js";
import { heatOf, sightOf, teamIn } from "./meet.js";
import { placeInWords } from "./facts.js";
import { placedFrom, placedPart } from "./report.js";

/** Everything that the item says, a line each. */
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
