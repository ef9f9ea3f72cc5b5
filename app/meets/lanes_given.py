"""Which teams has a decision given a lane of a round, and what does a start list do to them?

Such a lane is the decision's: the list may move the team within the round, which is said, and may
not leave it out, as only a decision takes the lane back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, bindparam, select

from app.appeals.tables import appeals, decisions, protests
from app.ids import DecisionId, HeatId, MeetId, TeamId
from app.meets.queries import team_row
from app.meets.tables import events, heats
from app.sheets.problems import Problem
from app.sheets.start_list import HeatRows
from app.store.rows import AnyRow
from app.visible import likeness

_LANE_ORDERS = (
    select(
        decisions.c.id,
        decisions.c.carried_out,
        decisions.c.instance,
        protests.c.number.label("protest_number"),
        appeals.c.number.label("appeal_number"),
    )
    .join(protests, protests.c.id == decisions.c.protest_id)
    .outerjoin(appeals, appeals.c.id == decisions.c.appeal_id)
    .where(decisions.c.meet_id == bindparam("meet"))
    .order_by(decisions.c.seq)
)
_of_round = heats.alias("of_round")
_HEATS_OF_ROUND = (
    select(heats.c.id, heats.c.number, heats.c.round, heats.c.round_key, events.c.name_key)
    .join(events, events.c.id == heats.c.event_id)
    .join(
        _of_round,
        and_(_of_round.c.event_id == heats.c.event_id, _of_round.c.round_key == heats.c.round_key),
    )
    .where(_of_round.c.id == bindparam("heat"))
    .order_by(heats.c.number)
)


@dataclass(frozen=True, slots=True)
class LaneGiven:
    """A lane of a round that a decision gave a team, and no other has taken back.

    `heats` are all of the round, with their numbers; `by` is the decision, and `decision` says
    whose it was.
    """

    team: TeamId
    name: str
    name_key: str
    event_key: str
    round: str
    round_key: str
    heats: Mapping[HeatId, int]
    by: DecisionId
    decision: str


class Stands(NamedTuple):
    """Where a team stands in its round: in the draw that is stored, or in a file."""

    heat: int
    lane: int


@dataclass(frozen=True, slots=True)
class GivenRound:
    """A team that a decision gave a lane of a round, and where it stands there as stored."""

    given: LaneGiven
    stored: Stands

    @property
    def team_key(self) -> tuple[str, str, str]:
        """Event, round and team, each without regard to how it is written."""
        return (self.given.event_key, self.given.round_key, self.given.name_key)


@dataclass(frozen=True, slots=True)
class LookedAfter:
    """Why a file is refused, and what it moves, in words."""

    problems: Sequence[Problem]
    moved: Sequence[str]


def lanes_given(conn: Connection, meet_id: MeetId) -> list[LaneGiven]:
    """The lanes that decisions on protests and appeals have given, beside the draw."""
    found: dict[tuple[str, str, str], LaneGiven] = {}
    for row in conn.execute(_LANE_ORDERS, {"meet": meet_id}).all():
        for kept in row.carried_out:
            if kept["did"] in {"lane given", "lane taken"}:
                one = _lane_given(conn, meet_id, kept, row)
                key = (one.team, one.event_key, one.round_key)
                found.pop(key, None)
                if kept["did"] == "lane given":
                    found[key] = one
    return list(found.values())


def _lane_given(
    conn: Connection, meet_id: MeetId, kept: Mapping[str, Any], row: AnyRow
) -> LaneGiven:
    team = team_row(conn, meet_id, TeamId(kept["team"]))
    here = conn.execute(_HEATS_OF_ROUND, {"heat": kept["heat"]}).all()
    what = f"protest {row.protest_number}"
    if row.appeal_number is not None:
        what = f"appeal {row.appeal_number}"
    return LaneGiven(
        team=team.id,
        name=team.name,
        name_key=team.name_key,
        event_key=here[0].name_key,
        round=here[0].round,
        round_key=here[0].round_key,
        heats={one.id: one.number for one in here},
        by=row.id,
        decision=f"the decision of the {row.instance} on {what}",
    )


def look_after_lanes_given(
    conn: Connection,
    meet_id: MeetId,
    drawn: Mapping[HeatId, Mapping[TeamId, int]],
    file: Iterable[HeatRows],
) -> LookedAfter:
    """What a file does to the lanes that decisions have given. `drawn`: each team's lane now."""
    rows = list(file)
    listed = dict(_listed(rows))
    heats = {(likeness(one.event), likeness(one.round), one.heat): one for one in rows}
    problems: list[Problem] = []
    moved: list[str] = []
    for one in _standing(lanes_given(conn, meet_id), drawn):
        becomes = listed.get(one.team_key)
        left_by = heats.get((*one.team_key[:2], one.stored.heat))
        if becomes is None and left_by is not None:
            problems.append(_left_out(one.given, left_by))
        elif becomes is not None and becomes != one.stored:
            moved.append(_moved(one, becomes))
    return LookedAfter(problems, moved)


def _listed(rows: Iterable[HeatRows]) -> Iterator[tuple[tuple[str, str, str], Stands]]:
    for heat in rows:
        for entry in heat.entries:
            key = (likeness(heat.event), likeness(heat.round), likeness(entry.team))
            yield key, Stands(heat.heat, entry.lane)


def _standing(
    given: Iterable[LaneGiven], drawn: Mapping[HeatId, Mapping[TeamId, int]]
) -> Iterator[GivenRound]:
    """Those that still have a lane of the round, wherever."""
    for one in given:
        for heat_id, number in one.heats.items():
            lane = drawn.get(heat_id, {}).get(one.team)
            if lane is not None:
                yield GivenRound(one, Stands(number, lane))
                break


def _left_out(given: LaneGiven, heat: HeatRows) -> Problem:
    return Problem(
        heat.entries[0].row,
        "team",
        f"In {heat.event}, {heat.round}, heat {heat.heat} “{given.name}” has a lane by "
        f"{given.decision}, and this file leaves that team out. List it in any free lane of this "
        "round, or have that decision undone by another one.",
    )


def _moved(one: GivenRound, becomes: Stands) -> str:
    where = f"lane {becomes.lane}"
    if becomes.heat != one.stored.heat:
        where = f"heat {becomes.heat}, {where}"
    given = one.given
    return (
        f"{given.name} has a lane of the {given.round} by {given.decision}: this list moves it "
        f"from lane {one.stored.lane} to {where}."
    )
