"""Where does every team of a round stand: its place, its letter, its lane in the next round, its
points?

A disqualification is for this round alone (World Athletics TR7.1, from memory). Places within a
heat are `placing.py`, who goes on `going_on.py`, re-runs `running_again.py`, lanes `seating.py`.
Points go by the places of a single heat, by time over several (timed finals: common practice), and
only once all heats are in; the places over several are told where nobody goes on or points go by
them.
"""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import chain

from app.rules.going_on import Entry, Field, GoingOn, going_on
from app.rules.placing import place_heat, time_ranks
from app.rules.points import NOTHING, shared_points
from app.rules.round_parts import (
    Advancement,
    Disqualified,
    HeatRun,
    InTwoHeats,
    Letter,
    OpenDraw,
    Ran,
    ReRun,
    Round,
    RoundStanding,
    Seat,
    Standing,
)
from app.rules.round_runs import all_runs
from app.rules.running_again import with_re_runs, with_re_runs_void
from app.rules.seating import seated

__all__ = [
    "Advancement",
    "Disqualified",
    "HeatRun",
    "InTwoHeats",
    "Letter",
    "OpenDraw",
    "Placed",
    "Ran",
    "ReRun",
    "Round",
    "RoundStanding",
    "Seat",
    "Standing",
    "stand",
]


Placed = dict[str, tuple[HeatRun, tuple[Entry, ...]]]
"""The heats that were placed already, each as it was then, by its id."""


def stand(round_: Round, placed: Placed | None = None) -> RoundStanding:
    """Say where every team of the round stands.

    `placed` remembers the places of heats from one state of a round to the next: a heat that is
    the same object as before is not placed again.

    Without an advancement nobody has a letter, and who is drawn into the next round keeps its lane
    unless it is disqualified. InTwoHeats, and ValueError for what
    `place_heat` refuses.
    """
    field = _field(round_, {} if placed is None else placed)
    if round_.advancement is None:
        nobody = GoingOn({}, field.all_in, None, ())
        return _standing(field, nobody, seated(round_, (), field.entries.keys() - field.out))
    going = going_on(field, round_.advancement)
    return _standing(field, going, seated(round_, tuple(going.letters), going.undecided))


def _field(of: Round, placed: Placed) -> Field:
    round_ = with_re_runs_void(of)
    entries = _everybody(round_, placed)
    out = {one.team for run in all_runs(round_) for one in run.disqualified}
    timed = {
        team: entry.finish
        for team, entry in entries.items()
        if entry.finish is not None and entry.finish.thousandths is not None
    }
    counted = with_re_runs(timed, round_.re_runs)
    in_the_running = {team: finish for team, finish in counted.items() if team not in out}
    return Field(round_, entries, in_the_running, out)


def _everybody(round_: Round, placed: Placed) -> dict[str, Entry]:
    """Everybody whom a list, an order or the draw of the next round names."""
    entries: dict[str, Entry] = {}
    for entry in chain.from_iterable(_placed(heat, placed) for heat in round_.heats):
        if entry.team in entries:
            raise InTwoHeats(entry.team, entries[entry.team].heat, entry.heat)
        entries[entry.team] = entry
    for team in _named_elsewhere(round_):
        entries.setdefault(team, Entry(team, ""))
    return entries


def _placed(heat: HeatRun, placed: Placed) -> tuple[Entry, ...]:
    known = placed.get(heat.heat)
    if known is None or known[0] is not heat:
        known = placed[heat.heat] = (heat, tuple(_entries(heat)))
    return known[1]


def _entries(heat: HeatRun) -> Iterator[Entry]:
    out = {one.team for one in heat.disqualified}
    lanes_out = frozenset(run.finish.lane for run in heat.ran if run.team in out)
    placed = place_heat((run.finish for run in heat.ran), lanes_out)
    places = {one.lane: one.place for one in placed}
    for run in heat.ran:
        yield Entry(run.team, heat.heat, run.finish, places[run.finish.lane])
    for team in sorted(out.difference(run.team for run in heat.ran)):
        yield Entry(team, heat.heat)


def _named_elsewhere(round_: Round) -> Iterator[str]:
    yield from sorted(round_.advanced)
    for re_run in round_.re_runs:
        yield from re_run.teams
    # By lane: a lane that was taken and given back stands last in the mapping.
    for seat in sorted(round_.seats, key=lambda seat: (seat.heat, seat.lane)):
        yield round_.seats[seat]


def _standing(
    field: Field, going: GoingOn, seats: tuple[Mapping[str, Seat], tuple[str, ...]]
) -> RoundStanding:
    overall = _overall(field)
    points = _points(field, overall)
    lanes, unseated = seats
    tied = going.open_draw.teams if going.open_draw is not None else ()
    teams = {
        team: Standing(
            team,
            field.entries[team].heat,
            field.entries[team].place,
            team in field.out,
            going.letters.get(team),
            points.get(team, NOTHING),
            lanes.get(team),
            team in going.undecided,
            overall.get(team),
            team in lanes and field.round_.seats.get(lanes[team]) != team,
            team in tied,
        )
        for team in dict.fromkeys((*going.letters, *field.entries))
    }
    return RoundStanding(teams, going.is_complete, going.open_draw, unseated)


def _overall(field: Field) -> dict[str, int]:
    """The places by time over several heats, once all are in; where teams go on and nothing is
    scored, there are none: the letters say all.
    """
    round_ = field.round_
    is_decided_so = round_.advancement is None or round_.points
    if len(round_.heats) == 1 or not field.all_in or not is_decided_so:
        return {}
    ranks = time_ranks(list(field.timed.values()))
    places: dict[tuple[int, int], int] = {}
    for place, rank in enumerate(sorted(ranks), start=1):
        places.setdefault(rank, place)
    return {team: places[rank] for team, rank in zip(field.timed, ranks, strict=True)}


def _points(field: Field, overall: dict[str, int]) -> Mapping[str, Fraction]:
    if not field.round_.points or not field.all_in:
        return {}
    placed = field.entries.values()
    in_the_heat = {one.team: one.place for one in placed if one.place is not None}
    one_heat = len(field.round_.heats) == 1
    return shared_points(field.round_.points, in_the_heat if one_heat else overall)
