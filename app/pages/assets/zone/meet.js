// What this phone knows of the meet, looked up: the heat that is shown, the official's posts in it,
// what they have shown and written, and how far each of it has come.

const flagRoles = new Set(document.body.dataset.flagRoles.split(" "));

/** Whether the server lets this official in, in a role that shows flags. */
export const isLetIn = (state) => state.line !== "refused" && state.watch.official.roles.some((one) => flagRoles.has(one));

export const heatOf = (state, id) => state.watch?.heats.find((one) => one.id === id);

/** The heat that flags are for: the head official's, or the one that was chosen by hand. */
export function heatHere(state) {
  const byHand = state.hand && heatOf(state, state.hand);
  const now = heatOf(state, state.watch?.now);
  return { heat: byHand ?? now, byHand: Boolean(byHand), now, next: byHand ? after(state, byHand) : heatOf(state, state.watch?.next) };
}

function after(state, heat) {
  const heats = state.watch.heats.filter((one) => !one.rehearsal);
  return heats[heats.findIndex((one) => one.id === heat.id) + 1];
}

/** The official's posts that stand for a heat. */
export const postsIn = (state, heat) =>
  heat ? (state.watch?.posts ?? []).filter((one) => isFor(one, heat)) : [];

/** A watch that a phone kept from before posts were planned for single heats names none. */
const isFor = (post, heat) =>
  (!post.relays.length || post.relays.includes(heat.relay)) && (!post.heats?.length || heat.rehearsal || post.heats.includes(heat.id));

/** The post that flags are shown for: the one that was chosen, else the first. */
export function postHere(state, heat) {
  const posts = postsIn(state, heat);
  return posts.find((one) => one.id === state.post) ?? posts[0];
}

export const teamIn = (heat, lane) => heat?.lanes.find((one) => one.lane === lane);

export const zoneOf = (state, heat, takeOver) =>
  state.watch?.zones.find((one) => one.relay === heat?.relay && one.take_over === takeOver);

export const sightOf = (state, seen) => state.watch?.sights.find((one) => one.seen === seen);

/** The post or the take-over that a draft is about. */
export function placeOf(state, draft) {
  const post = state.watch?.posts.find((one) => one.id === draft.post);
  return post ?? { take_over: draft.take_over, edge: undefined, lanes: [], side: undefined };
}

/** What was shown from a post in this run of a heat, oldest first. */
export function flagsIn(state, heat, post) {
  if (!heat || !post) return [];
  const mine = state.items.filter((one) => one.kind === "call" && one.heat === heat.id && one.post === post.id);
  const here = mine.filter((one) => one.run === heat.run).map((one) => ({ flag: one.flag, ...wayOf(one), hold: one.hold, id: one.id, report: one.report }));
  // From another phone: of an earlier run nobody can tell here, so it counts for the first one only.
  const ids = new Set(mine.map((one) => one.id));
  const others = heat.run > 1 ? [] : state.watch.calls.filter((one) => one.heat === heat.id && one.post === post.id && !ids.has(one.id));
  return [...others.map((one) => ({ flag: one.flag, way: "received", at: one.received_at, id: one.id, report: one.report })), ...here];
}

/** How far an item has come: on this phone, sent, received, refused, put aside. */
export function wayOf(item) {
  const way = item.state === "waiting" ? "here" : item.state;
  return { way, at: item.received_at ?? (item.told_at ? new Date(item.told_at).toISOString() : undefined) };
}

/** The official's reports of the day, newest first, each with what the server and this phone say. */
export function reportsOf(state) {
  const found = new Map();
  const entry = (id) => found.get(id) ?? found.set(id, { id }).get(id);
  for (const one of state.watch?.reports ?? []) Object.assign(entry(one.id), { heat: one.heat, lane: one.lane, state: one.state, at: one.received_at ?? one.raised_at, remark: one.remark, version: one.version, post: one.post, known: true, made: Date.parse(one.raised_at) });
  for (const item of own(state).filter((one) => one.kind === "report")) {
    const it = entry(item.id);
    const behind = it.state === "raised" || (item.state !== "received" && !isAskedSince(it, item));
    Object.assign(it, { heat: item.heat, lane: item.lane, seen: item.seen, post: it.post ?? item.body?.post, item, made: it.made ?? item.made_at });
    if (behind || !it.known) it.state = "written";
  }
  for (const item of own(state).filter((one) => one.kind === "withdrawal" && one.state !== "refused" && one.state !== "aside")) {
    if (found.has(item.report)) Object.assign(entry(item.report), { state: "withdrawn", withdrawal: item });
  }
  return [...found.values()].sort((one, other) => other.made - one.made);
}

// A question that was asked after what lies here: from another device it had been answered before.
const isAskedSince = (known, { state, etag }) => state !== "waiting" && state !== "sent" && known.version > Number(etag?.match(/\d+/)?.[0] ?? 0);

/** What lies on this phone of whoever has joined here. */
export const own = (state) => state.items.filter((one) => one.official === state.me);

/** What is still to be sent of theirs, and of somebody who had this phone before. */
export const unsent = (state) => own(state).filter((one) => one.state === "waiting" || one.state === "sent");
export const ofOthers = (state) => state.items.filter((one) => one.official !== state.me && one.state !== "received" && one.state !== "aside");

/** Lanes as people write them: 3–4, 6. */
export function inWords(lanes) {
  const runs = [];
  for (const lane of [...lanes].sort((one, other) => one - other)) {
    if (runs.length && lane === runs.at(-1)[1] + 1) runs.at(-1)[1] = lane;
    else runs.push([lane, lane]);
  }
  return runs.map(([first, last]) => (first === last ? String(first) : `${first}–${last}`)).join(", ");
}
