"""What stands of a protest: what did the referee do about it, and what was decided since?

The jury's word stands where the referee referred the protest to it, and where it upheld an appeal
against the referee's decision, of whichever team. A decision on another protest can undo what the
referee ordered. Else the referee's decision stands, whatever was appealed in vain.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from sqlalchemy import Connection

from app.appeals.decision_queries import (
    decision_out,
    decision_row,
    decisions_in_round,
    decisions_on,
)
from app.appeals.queries import appeal_row, protest_row
from app.appeals.wire import DecisionOut, Instance, ProtestOut, Verdict
from app.forms.remedy_paper import Section
from app.ids import AppealId, DecisionId, ProtestId
from app.meets.queries import MeetFacts

TITLE = "What was decided"
VERDICTS = {
    Verdict.UPHELD: "upheld",
    Verdict.REJECTED: "rejected",
    Verdict.REFERRED: "referred to the jury",
}
ROLES = {Instance.REFEREE: "referee", Instance.JURY: "chair of the jury"}

Facts = tuple[tuple[str, str], ...]


class Stands(NamedTuple):
    """The verdict that stands, empty while one is awaited; who gave it and when; and, where more
    than the referee's word was said, all that was, in order.
    """

    verdict: str
    grounds: Facts
    sections: tuple[Section, ...]


class _Later(NamedTuple):
    """A decision since the referee's: on what it was, and what stands by it; empty for nothing."""

    seq: int
    made: DecisionOut
    about: str
    stands: str


def what_stands(conn: Connection, meet: MeetFacts, out: ProtestOut) -> Stands:
    """What stands of a protest as it is decided now; nothing where nobody has decided."""
    first = out.decision
    if first is None:
        return Stands("", (), ())
    found = [*_jurys(conn, meet, first), *_undoing(conn, meet, first)]
    later = sorted(found, key=lambda one: one.seq)
    sections = (_section(first, later),) if later else ()
    changing = [one for one in later if one.stands]
    if changing:
        last = changing[-1]
        grounds = (*_by("decided", last.made), ("on", last.about))
        return Stands(last.stands, grounds, sections)
    if first.verdict is Verdict.REFERRED:
        return Stands("", _by("referred", first), sections)
    return Stands(VERDICTS[first.verdict], _by("decided", first), sections)


def _by(done: str, made: DecisionOut) -> Facts:
    by = f"{made.official_name}, {ROLES[made.instance]}"
    return ((done, made.decided_at_local), ("by", by))


def _jurys(conn: Connection, meet: MeetFacts, first: DecisionOut) -> Iterator[_Later]:
    """The jury's decisions on the protest; not one that a later sitting has replaced."""
    numbers = {row.id: row.seq for row in decisions_in_round(conn, first.heat)}
    for one in decisions_on(conn, meet, ProtestId(first.protest)):
        if one.appeal is None or one.replaced_by is not None:
            continue
        is_referred = first.verdict is Verdict.REFERRED
        changed = "changed by the jury" if one.verdict is Verdict.UPHELD else ""
        stands = VERDICTS[one.verdict] if is_referred else changed
        yield _Later(numbers[one.id], one, _about(conn, meet, one), stands)


def _undoing(conn: Connection, meet: MeetFacts, first: DecisionOut) -> Iterator[_Later]:
    """The decisions on other protests that undo this one, and that none has undone in turn; also
    the jury's that has undone all that it did, by whatever order.
    """
    settled_by = decision_row(conn, meet.id, first.id).settled_by
    rows = [row for row in decisions_in_round(conn, first.heat) if row.replaced_by is None]
    undone = {order["decision"] for row in rows for order in row.orders if order["order"] == "undo"}
    undo = {"order": "undo", "decision": first.id}
    for row in rows:
        is_undone = undo in row.orders and row.id not in undone
        if not is_undone and row.id != settled_by:
            continue
        made = decision_out(conn, decision_row(conn, meet.id, DecisionId(row.id)), meet.time_zone)
        if made.protest != first.protest:
            yield _Later(row.seq, made, _about(conn, meet, made), "undone since")


def _about(conn: Connection, meet: MeetFacts, made: DecisionOut) -> str:
    """What was decided: "appeal 3 of Lugger", "protest 5 of Mast"."""
    if made.appeal is None:
        row = protest_row(conn, meet.id, ProtestId(made.protest))
        return f"protest {row.number} of {row.team_name}"
    row = appeal_row(conn, meet.id, AppealId(made.appeal))
    sitting = f", sitting {made.sitting}" if made.sitting > 1 else ""
    return f"appeal {row.number}{'' if row.is_referred else f' of {row.team_name}'}{sitting}"


def _section(first: DecisionOut, later: Sequence[_Later]) -> Section:
    """Who decided what and when, in order, and what the last of them ordered."""
    facts = [("by the referee", _said(VERDICTS[first.verdict], first))]
    facts += [
        (
            f"by the {one.made.instance}",
            _said(f"{one.about}: {VERDICTS[one.made.verdict]}", one.made),
        )
        for one in later
    ]
    ordered = [sentence for one in later if one.stands for sentence in one.made.ordered]
    return Section(TITLE, tuple(facts), items=tuple(ordered))


def _said(what: str, made: DecisionOut) -> str:
    return f"{what}, {made.decided_at_local}, by {made.official_name}, {ROLES[made.instance]}"
