// From what was tapped to what is sent: the flag, the account, its pictures, a withdrawal. A draft:
//   id          of the report that it becomes      official, heat, run
//   post        or none, with take_over: an own observation
//   flagged     whether its yellow flag was shown
//   lane, seen, position {metres, uncertainty}, answers {fact: answer}, words, pictures [{id, name}]
//   etag        of a report that came back, with the question that was asked
//   began, step where it stands

import { newId } from "../js/send.js";
import { addOnce } from "./store.js";
import { signedReport } from "./secure.js";

const PATH = (meet) => `/api/meets/${meet}`;

/** Which part of an observation holds a position, by what a sight asks for: `baton`, `foot`. */
export const placedPart = (sight) => (sight.position === "none" ? undefined : sight.position.split(" ")[0]);

/** Which edge a position counts from: `start` or `end`. */
export const placedFrom = (sight) => sight.position.split(" ").at(-1);

/** What a draft says was seen, as the service reads it. */
export function observationOf(draft, sight) {
  const told = { seen: draft.seen };
  const part = placedPart(sight);
  if (part && draft.position) told[part] = draft.position;
  for (const [fact, answer] of Object.entries(draft.answers ?? {})) {
    if (answer === "" || (fact === "clearly" && told[part])) continue;
    told[fact] = fact === "steps" ? Number(answer) : answer;
  }
  return told;
}

/** Whether a draft says enough to be signed: where it was, or one answer. */
export function saysEnough(draft, sight) {
  if (!draft.lane || !sight) return false;
  const answered = Object.values(draft.answers ?? {}).some(Boolean);
  return placedPart(sight) ? Boolean(draft.position || draft.answers?.clearly) : answered;
}

/** A flag, as it lies in the outbox. */
export function flagItem(meet, { official, heat, post, flag, report, stamp, hold }) {
  const id = newId();
  const body = { heat: heat.id, post, flag, ...(report ? { report } : {}), clock: stamp };
  return { ...item("call", id, official), run: heat.run, flag, heat: heat.id, post, report, hold, method: "PUT", address: `${PATH(meet)}/calls/${id}`, body };
}

const item = (kind, id, official) => ({ kind, id, official, state: "waiting", made_at: Date.now() });

/** The account of a draft, signed where this phone has its key; with its pictures behind it. */
export async function reportItems(meet, draft, sight, { key, stamp }) {
  const { id, official, heat, lane } = draft;
  const document = {
    heat, lane,
    ...(draft.post ? { post: draft.post } : draft.take_over ? { take_over: draft.take_over } : {}),
    observation: observationOf(draft, sight),
    ...(draft.words?.trim() ? { words: draft.words.trim() } : {}),
    clock: draft.flagged ? stamp : draft.began ?? stamp,
  };
  const body = await signedReport(key, document, { meet, report: id, official });
  const kept = { ...draft, step: "facts" };
  const report = { ...item("report", id, official), heat, lane, seen: draft.seen, signed: Boolean(body.signature), method: "PUT", address: `${PATH(meet)}/reports/${id}`, body, etag: draft.etag, draft: kept };
  return [report, ...(draft.pictures ?? []).filter((one) => !one.left).map((one) => pictureItem(meet, id, official, one))];
}

/** A picture of a report. */
export const pictureItem = (meet, report, official, { id, name }) => ({
  ...item("picture", id, official), report, name, picture: id, after: report, method: "PUT", address: `${PATH(meet)}/reports/${report}/pictures/${id}`,
});

/** Taking a report back, with a reason. */
export const withdrawalItem = (meet, { id, official, etag, after, reason }) => ({
  ...item("withdrawal", newId(), official), report: id, after, etag, method: "POST", address: `${PATH(meet)}/reports/${id}/withdraw`, body: { reason },
});

/** What puts a draft's account into the outbox, and takes the draft away, in one step. */
export function handOver(draft, items) {
  return (at) => {
    const outbox = at("outbox");
    // An account that was mended or written again takes the place of the one that lay there; one that
    // another window has handed over meanwhile is not written twice.
    outbox.index("id").get(draft.id).onsuccess = (event) => {
      const known = event.target.result;
      if (known && (draft.etag || known.state === "refused" || known.state === "aside")) outbox.delete(known.order);
      for (const one of items) addOnce(outbox, one);
    };
    at("drafts").delete(draft.id);
  };
}
