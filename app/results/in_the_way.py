"""What stands in the way of announcing a heat: named by ids, and in words for the desk alone.

The words say whom the desk has to ask, and about which team; they are never announced.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.ids import CaseId
from app.meets.states import HeatState
from app.reports.wire import PostLine, ToReconsider
from app.results.wire import BlockersOut
from app.results.wording import listed
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class InTheWay:
    """What was found, each kind in order; `accounts` and `cases` are rows as the queries give them.

    `reporters` has for a case the names of those whose reports stand, none where all were
    withdrawn; `teams` has the names by lane.
    """

    not_started: bool
    no_posts: bool
    silent: Sequence[PostLine]
    accounts: Sequence[AnyRow]
    cases: Sequence[AnyRow]
    reporters: Mapping[CaseId, Sequence[str]]
    shaken: Sequence[ToReconsider]
    disqualified_before: Sequence[AnyRow]
    teams: Mapping[int | None, str]
    does_not_count: str

    @property
    def blockers(self) -> BlockersOut:
        """The same by ids."""
        return BlockersOut(
            silent_posts=[line.post for line in self.silent],
            open_cases=[case.id for case in self.cases],
            shaken_rulings=[one.ruling for one in self.shaken],
            shaken_disqualifications=[one.id for one in self.disqualified_before],
            awaited_accounts=[account.id for account in self.accounts],
            not_started=self.not_started,
            no_posts=self.no_posts,
        )

    @property
    def words(self) -> list[str]:
        """The same in words, a line each; what would be said alike of two is said once."""
        return list(dict.fromkeys(self._lines()))

    def _lines(self) -> Iterator[str]:
        if self.does_not_count:
            yield self.does_not_count
        if self.not_started:
            yield "The heat has not been started."
        if self.no_posts:
            yield "No post was set when the heat was started; the crew plan came later."
        for line in self.silent:
            yield f"Silent: {line.words} ({line.official_name})."
        for one in self.accounts:
            where = _place(one.lane, self.teams.get(one.lane))
            yield f"Account to come: {where} ({one.official_name})."
        for case in self.cases:
            where = _place(case.lane, case.team_name)
            yield f"Open case {case.number}: {where} ({_reported_by(self.reporters.get(case.id))})."
        for ruling in self.shaken:
            where = _place(ruling.lane, ruling.team_name)
            yield f"Ruling to reconsider: {where}. {ruling.why}"
        for one in self.disqualified_before:
            where = f"{_place(one.lane, one.team_name)} (DQ {one.rule})"
            since = "held back" if one.heat_state == HeatState.TO_COME else "started anew"
            what = "Disqualification by decision to look at"
            yield f"{what}: {where}, decided before the heat was {since}."


def by_lane(rows: Iterable[AnyRow]) -> list[AnyRow]:
    """In the order of lanes, those whose lane is not known last."""
    return sorted(rows, key=lambda row: (row.lane is None, row.lane, row.id))


def _reported_by(names: Sequence[str] | None) -> str:
    return f"reported by {listed(names)}" if names else "every report was withdrawn"


def _place(lane: int | None, team: str | None) -> str:
    where = "lane not known" if lane is None else f"lane {lane}"
    return f"{where}, {team}" if team else where
