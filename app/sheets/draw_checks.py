"""What must hold between the rows of a start list.

Answers whether one row contradicts an earlier one: a lane or a team twice in a heat, a team with
two affiliations in an event, an event that is two relays, a heat with two start times. Single
fields are left to `app.sheets.start_list`. All of it is common practice.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

from app.rules.relay import Relay
from app.sheets.problems import ProblemList, show
from app.visible import likeness


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row of a start list; None where the field has its problem already."""

    row: int
    event: str | None
    round: str | None
    heat: int | None
    lane: int | None
    team: str | None
    affiliation: str
    bib: str
    relay: Relay | None
    scheduled: str | None
    legs: tuple[str, ...]

    def heat_key(self) -> tuple[str, str, int] | None:
        """What names the heat, without regard to case and to what nobody sees."""
        if self.event is None or self.round is None or self.heat is None:
            return None
        return likeness(self.event), likeness(self.round), self.heat


@dataclass(frozen=True, slots=True)
class _Said:
    row: int
    value: str


class DrawChecks:
    """Remembers what earlier rows said. Each row is checked once, in order."""

    def __init__(self, problems: ProblemList) -> None:
        self._problems = problems
        self._said: dict[Hashable, _Said] = {}

    def check(self, line: Line) -> None:
        """Compare a row with all rows before it."""
        heat = line.heat_key()
        if heat is not None:
            self._check_lane(line, heat)
            self._check_team(line, heat)
            self._check_scheduled(line, heat)
        if line.event is not None:
            self._check_affiliation(line, likeness(line.event))
            self._check_relay(line, likeness(line.event))

    def _first(self, key: Hashable, line: Line, value: str) -> _Said | None:
        """What an earlier row said under this key; the first to speak is remembered."""
        before = self._said.setdefault(key, said := _Said(line.row, value))
        return None if before is said else before

    def _check_lane(self, line: Line, heat: Hashable) -> None:
        if line.lane is None:
            return
        if before := self._first(("lane", heat, line.lane), line, line.team or ""):
            self._problems.add(
                line.row,
                "lane",
                f"Lane {line.lane} of this heat is already given to {show(before.value)} in row "
                f"{before.row}. Give one of the two another lane.",
            )

    def _check_team(self, line: Line, heat: Hashable) -> None:
        if line.team is None:
            return
        if before := self._first(("team", heat, likeness(line.team)), line, line.team):
            self._problems.add(
                line.row,
                "team",
                f"{show(line.team)} is already in this heat, in row {before.row}. Delete one of "
                "the two rows, or tell the teams apart by A and B.",
            )

    def _check_scheduled(self, line: Line, heat: Hashable) -> None:
        if not line.scheduled:
            return
        before = self._first(("scheduled", heat), line, line.scheduled)
        if before and before.value != line.scheduled:
            self._problems.add(
                line.row,
                "scheduled",
                f"This heat starts at {before.value} according to row {before.row}, here at "
                f"{line.scheduled}. Give it one start time.",
            )

    def _check_affiliation(self, line: Line, event: str) -> None:
        if line.team is None or not line.affiliation:
            return
        key = ("affiliation", event, likeness(line.team))
        before = self._first(key, line, line.affiliation)
        if before and before.value.casefold() != line.affiliation.casefold():
            self._problems.add(
                line.row,
                "affiliation",
                f"{show(line.team)} belongs to {show(before.value)} in row {before.row}, here to "
                f"{show(line.affiliation)}. Write the same in both, or tell the teams apart.",
            )

    def _check_relay(self, line: Line, event: str) -> None:
        if line.relay is None:
            return
        before = self._first(("relay", event), line, line.relay.value)
        if before and before.value != line.relay.value:
            self._problems.add(
                line.row,
                "relay",
                f"This event is a {before.value} in row {before.row}, here a {line.relay}. An "
                "event is one relay: correct the row, or give the event another name.",
            )
