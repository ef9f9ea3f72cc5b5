// What the server had received, by its own word, and does not name any more: it was set back to an
// older copy. The meet as it is followed names all of an official's flags and reports in the heats that
// it holds, up to a number, and none is ever deleted there: one that was joined to another, moved or
// taken back is named still. So what is missing is told only of these heats, only of what had been
// received before that answer was asked for, and never of what the server turned out to have.

import { own } from "./meet.js";

const MOST = 500;

/** The items to be sent again, by the answer to what was `asked` for at that time. */
export function lostOf(state, asked) {
  const { watch } = state;
  const heats = new Set(watch.heats.map((one) => one.id));
  const named = { call: byId(watch.calls), report: byId(watch.reports) };
  const had = own(state).filter((one) => one.state === "received" && !one.elsewhere && one.told_at < asked);
  const gone = had.filter((one) => named[one.kind] && one.body && heats.has(one.heat) && named[one.kind].size < MOST && isGone(one, named[one.kind].get(one.id)));
  const ids = new Set(gone.map((one) => one.id));
  const behind = had.filter((one) => (one.kind === "picture" && ids.has(one.report)) || (one.kind === "withdrawal" && (ids.has(one.after) || stands(named.report.get(one.report)))));
  return [...gone, ...behind];
}

const byId = (rows) => new Map(rows.map((one) => [one.id, one]));

// Of a report that is only raised, the server has the flag and not the account.
const isGone = (item, known) => !known || (item.kind === "report" && known.state === "raised");

// Nothing but a ruling comes after a report that was written, and nothing after a withdrawal.
const stands = (report) => report && ["raised", "written", "returned"].includes(report.state);
