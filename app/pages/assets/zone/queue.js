// Which item of the outbox is next. Flags first: a race does not wait for them. Then accounts and
// withdrawals. Pictures have a queue of their own, for on a slow line one of them takes minutes. What
// was not taken lately stands behind what was not tried as often.

/** Whether an item is still to be sent. */
export const isToSend = (item) => item.state === "waiting" || item.state === "sent";

export const isPicture = (item) => item.kind === "picture";
export const isNoPicture = (item) => item.kind !== "picture";

/** Items in the order in which they are tried; `misses` tells how often one was not taken in a row. */
export const inOrder = (items, misses) =>
  [...items].sort((one, other) => isLater(one) - isLater(other) || misses(one.id) - misses(other.id) || one.order - other.order);

const isLater = (item) => Number(item.kind !== "call");

/**
 * Whether something must have been received before an item may go: what it follows, and of the flags
 * of one heat and post those that were shown earlier. An account may overtake its flag: the flag then
 * joins it. `refusals` tells how often the server was there and did not take an item: a flag that it
 * cannot take holds back no other for ever.
 */
export function isBehind(item, known, refusals) {
  const before = known.get(item.after);
  if (before && before.state !== "received") return true;
  return item.kind === "call" && [...known.values()].some((one) => isEarlierFlag(one, item) && !letsPass(refusals(one.id)));
}

const WAITED_FOR = 3;

/** Whether an item that was refused so often holds back no other any more. */
export const letsPass = (refusals) => refusals >= WAITED_FOR;

const isEarlierFlag = (one, item) =>
  one.kind === "call" && isToSend(one) && one.order < item.order && one.heat === item.heat && one.post === item.post && one.official === item.official;
