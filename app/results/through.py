"""Who goes on to the next round by an announcement, and did not by what was announced before?

A team can lose its place in the next round by what happened in another heat: it is named in the
next announcement of either. What was announced is held against what is: so nothing is told of a
list, a ruling or a decision that is not announced.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from app.ids import TeamId
from app.results.queries import SNAPSHOTS, announced_in_round
from app.results.wire import QualifiedOut, ResultLineOut, ResultOut
from app.results.wording import LETTERS, listed
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Through:
    """Who has come into the next round since the announcement before, and who is out of it."""

    gained: Sequence[QualifiedOut]
    lost: Sequence[QualifiedOut]

    @property
    def teams(self) -> frozenset[TeamId]:
        return frozenset(one.team for one in (*self.gained, *self.lost))

    def sentences(self, seen: ResultOut, told: Collection[TeamId]) -> list[str]:
        """The same in words, without the teams of which this announcement has `told` it anyway."""
        here = {line.team for line in seen.lines}
        gained = [
            f"{_whose(one, here)} {LETTERS[one.letter]}"
            for one in self.gained
            if one.team not in told
        ]
        lost = [_whose(one, here) for one in self.lost if one.team not in told]
        return [
            *([f"Now through to the {seen.next_round}: {listed(gained)}."] if gained else []),
            *([f"No longer through to the {seen.next_round}: {listed(lost)}."] if lost else []),
        ]


def through_since(conn: Connection, seen: ResultOut, last: AnyRow | None) -> Through:
    """Held against who went on when this heat was announced `last`, or was first told since.

    Nobody while it is not settled who goes on.
    """
    before = _told_before(conn, seen, last) if seen.qualified else []
    if not before:
        return Through([], [])
    return Through(_without(seen.qualified, before), _without(before, seen.qualified))


def told_of_themselves(
    now: Iterable[ResultLineOut], before: Iterable[ResultLineOut]
) -> set[TeamId]:
    """Those whose line had a letter, or was known to have none, so that its change is told."""
    known = {line.team for line in before if line.qualification is not None}
    return known.intersection(line.team for line in now)


def _without(ones: Iterable[QualifiedOut], others: Iterable[QualifiedOut]) -> list[QualifiedOut]:
    out = {one.team for one in others}
    return [one for one in ones if one.team not in out]


def _told_before(conn: Connection, seen: ResultOut, last: AnyRow | None) -> list[QualifiedOut]:
    telling = [row.id for row in _in_order(conn, seen, last) if row.tells_who_goes_on]
    if not telling:
        return []
    (said,) = conn.execute(SNAPSHOTS, {"announcements": telling[:1]})
    return [QualifiedOut.model_validate(one) for one in said.snapshot["qualified"]]


def _in_order(conn: Connection, seen: ResultOut, last: AnyRow | None) -> list[AnyRow]:
    """The last announcement of the heat, those in its round before it, then those after it."""
    known = announced_in_round(conn, seen.heat)
    upto = [row.id for row in known].index(last.id) + 1 if last is not None else len(known)
    return [*reversed(known[:upto]), *known[upto:]]


def _whose(one: QualifiedOut, here: Collection[TeamId]) -> str:
    if one.team in here or one.heat_number is None:
        return one.team_name
    return f"{one.team_name} of heat {one.heat_number}"
