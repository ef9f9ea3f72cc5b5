"""The annotated result of a heat: finish list, disqualifications and notes put together.

Places come from the rules: a disqualified team loses its place in this round, those behind move up.
Notations are those of the meet's edition (World Athletics CR25.4): DNS, DNF, DQ with its rule, L.
The reason says in words what a DQ or an L is for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.ids import TeamId
from app.meets.wire import LaneOut
from app.results.wire import ResultLineOut
from app.results.wording import in_sentence, listed
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.rules.placing import Finish, FinishStatus, place_heat
from app.rulings.queries import InForce
from app.sheets.race_time import show_time

LAST = 1_000_000


@dataclass(frozen=True, slots=True)
class FinishLine:
    """One row of a finish list as stored."""

    lane: int
    team: TeamId
    status: FinishStatus
    thousandths: int | None
    decimals: int
    place: int | None

    @classmethod
    def from_stored(cls, row: Mapping[str, Any]) -> FinishLine:
        return cls(
            row["lane"],
            row["team"],
            FinishStatus(row["status"]),
            row["thousandths"],
            row["decimals"],
            row["place"],
        )


def annotate(
    lanes: Sequence[LaneOut],
    finish: Sequence[FinishLine],
    disqualified: Sequence[InForce],
    noted: Mapping[TeamId, Sequence[str]],
) -> list[ResultLineOut]:
    """The heat's lines in the order of an announcement: by place, then those without one.

    `noted` has the rules by which teams were noted for a lane infringement. A ruling is about a
    team, wherever it runs: lanes may have been drawn anew since.
    """
    out_of_it = _by_lane(lanes, disqualified)
    placed = place_heat(
        [Finish(row.lane, row.status, row.thousandths, row.place, row.decimals) for row in finish],
        frozenset(out_of_it),
    )
    places = {one.lane: one.place for one in placed}
    rows = {row.lane: row for row in finish}
    lines = [
        _line(
            lane,
            rows[lane.lane],
            places[lane.lane],
            out_of_it.get(lane.lane, []),
            noted.get(lane.team, ()),
        )
        for lane in lanes
        if lane.lane in rows
    ]
    return sorted(lines, key=lambda line: (line.place or LAST, _kind(line), line.lane))


def _by_lane(lanes: Sequence[LaneOut], disqualified: Sequence[InForce]) -> dict[int, list[InForce]]:
    found = {lane.lane: [one for one in disqualified if one.team == lane.team] for lane in lanes}
    return {lane: those for lane, those in found.items() if those}


def _kind(line: ResultLineOut) -> int:
    """Behind the placed teams: those who did not finish, then DQ, then those who did not start."""
    if line.annotation.startswith("DQ"):
        return 1
    return 2 if line.status is FinishStatus.DID_NOT_START else 0


def _line(
    lane: LaneOut,
    row: FinishLine,
    place: int | None,
    disqualified: Sequence[InForce],
    noted: Sequence[str],
) -> ResultLineOut:
    shown = row.thousandths is not None and not disqualified
    return ResultLineOut(
        place=place,
        lane=lane.lane,
        bib=lane.bib,
        team=lane.team,
        team_name=lane.name,
        affiliation=lane.affiliation,
        status=row.status,
        thousandths=row.thousandths,
        time=show_time(row.thousandths or 0, row.decimals) if shown else "",
        annotation=_annotation(row, disqualified, noted),
        reason=_why_disqualified(disqualified) if disqualified else _why_noted(noted),
        is_out_by_re_run=bool(disqualified) and all(one.in_re_run for one in disqualified),
        decimals=row.decimals if row.thousandths is not None else None,
    )


def _annotation(row: FinishLine, disqualified: Sequence[InForce], noted: Sequence[str]) -> str:
    if disqualified:
        return "DQ " + ", ".join(_unique(one.rule for one in disqualified))
    status = "" if row.status is FinishStatus.FINISHED else row.status.value
    return " ".join(filter(None, [status, "L" if noted else ""]))


def _why_disqualified(disqualified: Sequence[InForce]) -> str:
    """Each infringement once, however many rulings are about it."""
    kinds = dict.fromkeys(one.infringement for one in disqualified)
    first, *others = [
        _infringed(kind, [one for one in disqualified if one.infringement is kind])
        for kind in kinds
    ]
    return "; ".join([first, *map(in_sentence, others)])


def _infringed(kind: Infringement, those: Sequence[InForce]) -> str:
    """An infringement with all its take-overs that are known, and the notes it came after."""
    take_overs = [str(at) for at in sorted({one.take_over for one in those if one.take_over})]
    after = _unique(place for one in those for place in one.after)
    words = [title_of(kind)]
    if take_overs:
        words.append(f"take-over{'s' if len(take_overs) > 1 else ''} {listed(take_overs)}")
    if after:
        words.append(f"after one noted in {listed(after)}")
    if all(one.in_re_run for one in those):
        words.append("in the re-run")
    return ", ".join(words)


def _why_noted(rules: Sequence[str]) -> str:
    return f"Lane infringement noted, {', '.join(_unique(rules))}" if rules else ""


def _unique(texts: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(texts))
