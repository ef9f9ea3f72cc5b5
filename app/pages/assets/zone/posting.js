// One item on its way: asked of the server, and what its answer makes of it. An item is given up by
// nothing but the service's own word. What is no document of the service was said by something in
// between, as a network's own sign-in page or a proxy for which a picture is too large.

import { isRefusal, kindOf, reasonsIn, send } from "../js/send.js";

// A picture may take as long as its bytes need on a slow line. 5 kB a second (5 bytes a millisecond) is
// what is left of a radio cell that a full grandstand shares; given up sooner, it would begin anew for ever.
const PATIENCE = 20_000, SLOW = 5;
const BUSY = new Set([408, 425, 429, 503]);

/**
 * Send an item; `before` is what it follows. Resolves to
 *   changes  what the item is changed to
 *   is       settled; alone: not taken, others may go on; busy or silent: others too must wait;
 *            ended: nobody is joined here
 *   line     how the line is, where the answer tells that
 *   wait     how many milliseconds the server asks to wait
 */
export async function post(store, item, before) {
  const answer = await ask(store, item, before);
  const [changes, wait] = [{ state: "waiting" }, (answer.retryAfter || 0) * 1000];
  if (answer.status === 0) return { is: "silent", changes, line: "out of touch" };
  if (!isOurs(answer)) return { is: "alone", changes, wait };
  if (answer.ok) return { is: "settled", changes: received(item, answer), line: "in touch" };
  if (answer.status === 401) return { is: "ended", changes, line: "ended" };
  if (BUSY.has(answer.status)) return { is: "busy", changes, wait };
  if (answer.status >= 500) return { is: "alone", changes, wait };
  const problem = { kind: kindOf(answer), detail: reasonsIn(answer.problem), status: answer.status };
  return { is: "settled", changes: { state: "refused", problem }, line: "in touch" };
}

// What was stored has its id.
const isOurs = ({ ok, data, problem }) => (ok ? typeof data?.id === "string" : isRefusal(problem));

function received(item, answer) {
  const told = { state: "received", received_at: answer.data?.received_at ?? null, told_at: Date.now(), answered: answer.etag };
  // Sent once more, and the server had it, told as somebody else's: it is missed no further.
  const had = item.missed && item.method === "PUT" && answer.status === 200;
  return had ? { ...told, elsewhere: true } : told;
}

async function ask(store, item, before) {
  const etag = item.etag ?? (item.kind === "withdrawal" ? (before?.answered ?? before?.etag) : undefined);
  if (item.picture) return askWithPicture(store, item, etag);
  const answer = await send(item.method, item.address, { body: item.body, etag, within: PATIENCE });
  return item.kind === "withdrawal" ? taken(item, answer) : answer;
}

async function askWithPicture(store, item, etag) {
  const picture = await store.picture(item.picture);
  if (!picture) return { status: 410, ok: false, problem: { type: "/problems/picture-lost" } };
  const { bytes, type } = picture;
  return send(item.method, item.address, { body: bytes, etag, type, within: PATIENCE + bytes.byteLength / SLOW });
}

// An act that has no id of its own: where its answer was lost, with this page perhaps, the report
// itself says that it was done.
async function taken(item, answer) {
  if (answer.status !== 409 && answer.status !== 412) return answer;
  const report = await send("GET", item.address.replace(/\/withdraw$/, ""), { within: PATIENCE });
  return report.data?.state === "withdrawn" ? { ...report, data: { id: report.data.id } } : answer;
}
