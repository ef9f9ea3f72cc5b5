"""Who goes on to the next round by an announcement, and did not by what was announced before?

A team can lose its place in the next round by what happened in another heat: it is named in the
next announcement of either. What was announced is held against what is: so nothing is told of a
list, a ruling or a decision that is not announced.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from app.ids import AnnouncementId, TeamId
from app.results.announcement_wire import AnnouncementOut
from app.results.changes import is_other_letter
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


def as_told_since(
    conn: Connection, seen: ResultOut, last: AnyRow | None, before: Sequence[ResultLineOut]
) -> Sequence[ResultLineOut]:
    """The lines of this heat's announcement before. Where the change of a letter is to be told that
    it did not know, the line has the letter that the round's other announcements have told since:
    the last one that is not the same as now.
    """
    now = {line.team: line for line in seen.lines}
    if last is None or not any(_was_open(line, now) for line in before):
        return before
    told = _told_after(conn, seen, last)
    return [
        _as_told(line, now[line.team], told) if _was_open(line, now) else line for line in before
    ]


def _was_open(line: ResultLineOut, now: Mapping[TeamId, ResultLineOut]) -> bool:
    """Whether its letter was not known, and what it is now is told as a change."""
    is_ = now.get(line.team)
    if is_ is None or line.qualification is not None:
        return False
    return is_other_letter(is_.qualification, None, by_lot=is_.is_by_lot)


def _as_told(
    line: ResultLineOut, now: ResultLineOut, told: Sequence[AnnouncementOut]
) -> ResultLineOut:
    letters = [said for said in (_letter_told(one, line.team) for one in told) if said is not None]
    others = [letter for letter in letters if letter != now.qualification]
    # That nobody has named a team is no word about it where it is not through now either.
    said = next(iter([*others, *filter(None, letters)]), None)
    return line.model_copy(update={"qualification": said})


def _letter_told(told: AnnouncementOut, team: TeamId) -> str | None:
    """A team's letter by an announcement, empty where it is not through; None: not said."""
    known = {line.team: line.qualification for line in told.lines}
    known |= {one.team: one.letter for one in told.qualified}
    return known.get(team, "" if told.qualified else None)


def _told_after(conn: Connection, seen: ResultOut, last: AnyRow) -> list[AnnouncementOut]:
    """The announcements in the round after `last`, newest first."""
    known = [row.id for row in announced_in_round(conn, seen.heat)]
    since = known[known.index(last.id) + 1 :]
    rows = conn.execute(SNAPSHOTS, {"announcements": since}) if since else ()
    said = {row.snapshot["id"]: row.snapshot for row in rows}
    return [AnnouncementOut.model_validate(said[one]) for one in reversed(since)]


def _snapshot_of(conn: Connection, announcement: AnnouncementId) -> AnnouncementOut:
    (row,) = conn.execute(SNAPSHOTS, {"announcements": [announcement]})
    return AnnouncementOut.model_validate(row.snapshot)


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
    return _snapshot_of(conn, telling[0]).qualified if telling else []


def _in_order(conn: Connection, seen: ResultOut, last: AnyRow | None) -> list[AnyRow]:
    """The last announcement of the heat, those in its round before it, then those after it."""
    known = announced_in_round(conn, seen.heat)
    upto = [row.id for row in known].index(last.id) + 1 if last is not None else len(known)
    return [*reversed(known[:upto]), *known[upto:]]


def _whose(one: QualifiedOut, here: Collection[TeamId]) -> str:
    if one.team in here or one.heat_number is None:
        return one.team_name
    return f"{one.team_name} of heat {one.heat_number}"
