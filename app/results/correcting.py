"""Correcting one team's finish, where a decision finds that it was written down wrongly.

The finish list gets a new version with that line replaced; whoever announces sees it. What the line
was is kept with the decision, so that it can be put back. A list that is loaded afterwards neither
says otherwise than was decided, nor gives what the jury has refused, nor takes away what it found
done already.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, update

from app.ids import MeetId, TeamId
from app.meets.queries import MeetFacts
from app.meets.wire import HeatOut
from app.refusals import StateConflict
from app.results.pending import decided_lines
from app.results.queries import result_row
from app.results.sought_line import Placing, Sought, placings, says, says_but_for_place
from app.results.tables import results
from app.results.wording import listed
from app.rules.placing import Finish, FinishStatus
from app.rulings.found_done import JurysLine, found_corrected, found_put_back
from app.rulings.refused import not_corrected
from app.store.action import Unit

Line = Mapping[str, Any]


def finish_of(conn: Connection, meet_id: MeetId, heat: HeatOut, team: TeamId) -> Line:
    """A team's line in the finish list of the present race; StateConflict where there is none."""
    row = result_row(conn, meet_id, heat.id)
    if row is None or row.run != heat.present_run:
        raise StateConflict(
            "This heat has no finish list of its present race yet, so there is nothing to correct."
        )
    found: Line | None = next((line for line in row.rows if line["team"] == team), None)
    if found is None:
        raise StateConflict("The finish list of this heat has no line for this team.")
    return found


def replace_line(unit: Unit, heat: HeatOut, line: Line) -> Line:
    """Put a team's line in the place of the one it has; returns the one it had."""
    was = finish_of(unit.conn, unit.meet_id, heat, TeamId(line["team"]))
    row = result_row(unit.conn, unit.meet_id, heat.id)
    assert row is not None
    rows = [dict(line) if one["team"] == line["team"] else one for one in row.rows]
    unit.conn.execute(
        update(results)
        .where(results.c.heat_id == heat.id)
        .values(rows=rows, version=row.version + 1)
    )
    return was


def insist_on_decided_lines(conn: Connection, heat: HeatOut, rows: Sequence[Line]) -> None:
    """StateConflict for a finish list that says otherwise than a decision which corrected it."""
    decided = decided_lines(conn, heat.id, heat.present_run)
    by_team = {row["team"]: row for row in rows}
    names = {lane.team: lane.name for lane in heat.lanes}
    changed = [
        names[TeamId(team)]
        for team, line in decided.items()
        if team in by_team and not _is_same(by_team[team], line)
    ]
    if changed:
        raise StateConflict(
            f"A decision on a protest or an appeal has corrected the finish of {listed(changed)}, "
            "and this list says otherwise. Write it there as decided; what is decided, only a "
            "further decision changes. Nothing was stored.",
            teams=changed,
        )


def _is_same(listed_: Line, decided: Line) -> bool:
    """Whether a list says what was decided; a place that nobody decided is the list's own."""
    names = ["status", "thousandths", *(["place"] if decided["place"] is not None else [])]
    return all(listed_[name] == decided[name] for name in names)


def insist_jurys_word_on_lines(
    conn: Connection, meet: MeetFacts, heat: HeatOut, rows: Sequence[Line]
) -> None:
    """StateConflict for a finish list that changes a line of the present race to what the jury has
    refused to make of it, or found undone, or from what it found done already. What stood there
    before may stay, and another time may be read.
    """
    known = result_row(conn, meet.id, heat.id)
    if known is None or known.run != heat.present_run:
        return
    was, becomes = _placings(known.rows), _placings(rows)
    in_vain = [
        one
        for one in (*not_corrected(conn, heat.id), *found_put_back(conn, heat.id, known.run))
        if one.team in becomes and _is_had(one.order, was.get(one.team), becomes[one.team])
    ]
    if in_vain:
        raise _left_by_jury(meet, heat, in_vain, "to what the jury has refused")
    lost = [
        one
        for one in found_corrected(conn, heat.id, heat.present_run)
        if _is_lost(one.order, was.get(one.team), becomes.get(one.team))
    ]
    if lost:
        raise _left_by_jury(meet, heat, lost, "from what the jury has found done already")


def _placings(rows: Iterable[Line]) -> Mapping[str, Placing]:
    return placings(
        {
            row["team"]: Finish(
                row["lane"],
                FinishStatus(row["status"]),
                row["thousandths"],
                row["place"],
                row["decimals"],
            )
            for row in rows
        }
    )


def _is_had(order: Sought, was: Placing | None, becomes: Placing) -> bool:
    """Whether a line comes to say what was sought. A place that was sought beside a time follows
    from it, but where the line had that time already.
    """
    decimals = becomes.finish.decimals
    if says_but_for_place(was, order, decimals):
        return says(becomes, order) and not says(was, order, decimals)
    return says_but_for_place(becomes, order)


def _is_lost(order: Sought, was: Placing | None, becomes: Placing | None) -> bool:
    """Whether a line said what was sought, and no longer does: a time as exactly as it had it."""
    if was is None or not says(was, order):
        return False
    return not says(becomes, order, was.finish.decimals)


def _left_by_jury(
    meet: MeetFacts, heat: HeatOut, lines: Sequence[JurysLine], what: str
) -> StateConflict:
    names = {str(lane.team): lane.name for lane in heat.lanes}
    teams = list(dict.fromkeys(one.team for one in lines))
    whose = listed([names[team] for team in teams])
    numbers = sorted({one.appeal for one in lines})
    appeals = f"appeal{'s' if len(numbers) > 1 else ''} {listed([str(one) for one in numbers])}"
    return StateConflict(
        f"This list changes the finish of {whose} {what} on {appeals}, and its decision is final "
        f"({meet.book.jury_final_by}). Leave that as it stands; with new conclusive evidence the "
        "jury can reopen its decision. Nothing was stored.",
        teams=teams,
    )
