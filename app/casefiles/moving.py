"""What does the ruling in force move: which places and times are otherwise than without it?

Worked out from the round as it stands now, as the head official was shown it before signing. Told
are the teams that it moves, and no other.
"""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from app.appeals.bench import bench_for
from app.appeals.wire import Instance
from app.forms.case_file import MovedOnFile
from app.ids import HeatId, MeetId, TeamId
from app.meets.queries import MeetFacts
from app.meets.states import HeatState
from app.refusals import NotFound, Refusal
from app.results.queries import result
from app.results.wire import ResultLineOut
from app.rounds.consequences import consequences
from app.rounds.wire import ConsequencesOut, MoveOut, MoveSide
from app.rules.orders import Disqualify, SetAside
from app.rules.qualifying import Disqualified
from app.rulings.queries import disqualifications_of_ruling
from app.rulings.states import DisqualificationState
from app.rulings.wire import RulingOut
from app.sheets.race_time import show_time

NONE = "\N{EN DASH}"


def moved_by(conn: Connection, meet: MeetFacts, ruling: RulingOut) -> ConsequencesOut | None:
    """What its disqualification moves; None where none is in force, or the race does not count."""
    found = disqualifications_of_ruling(conn, meet.id, ruling.id)
    out = [
        Disqualified(one.team, one.id)
        for one in found
        if one.state is DisqualificationState.IN_FORCE
    ]
    bench = bench_for(conn, meet, HeatId(ruling.heat), Instance.REFEREE)
    if not out or bench.is_called_off or bench.heat.state is HeatState.NOT_HELD:
        return None
    try:
        without = bench.after([SetAside(ruling.heat, one) for one in out])
        orders = [Disqualify(ruling.heat, one, again=True) for one in out]
        return consequences(without.at_hand, orders)
    except Refusal:
        return None


def moved_on_file(
    conn: Connection, meet: MeetFacts, ruling: RulingOut, told: ConsequencesOut
) -> tuple[MovedOnFile, ...]:
    """The places and times in this heat of those whom it moves."""
    lines = _lines(conn, meet.id, HeatId(ruling.heat))
    return tuple(_moved(move, lines[move.team]) for move in told.moves if move.team in lines)


def _lines(conn: Connection, meet: MeetId, heat: HeatId) -> Mapping[TeamId, ResultLineOut]:
    try:
        return {line.team: line for line in result(conn, meet, heat).lines}
    except NotFound:
        return {}


def _moved(move: MoveOut, line: ResultLineOut) -> MovedOnFile:
    ran = NONE
    if line.thousandths is not None and line.decimals is not None:
        ran = show_time(line.thousandths, line.decimals)
    return MovedOnFile(
        team=move.name,
        before=f"{_place(move.before)}, {ran}",
        after=line.annotation if move.after.is_disqualified else f"{_place(move.after)}, {ran}",
    )


def _place(side: MoveSide) -> str:
    return "no place" if side.place is None else f"place {side.place}"
