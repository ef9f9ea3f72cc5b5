"""Rounds, built by hand or drawn: close times, ties, disqualifications, re-runs, lanes."""

from collections.abc import Sequence
from fractions import Fraction

from hypothesis import strategies as st

from app.rules.orders import (
    Advance,
    AnnulHeat,
    CallOff,
    Correct,
    Disqualify,
    GiveLane,
    Order,
    Recall,
    RestoreHeat,
    RunAgain,
    SetAside,
    TakeLane,
    apply,
)
from app.rules.placing import Finish, FinishStatus
from app.rules.qualifying import (
    Advancement,
    Disqualified,
    HeatRun,
    Letter,
    Ran,
    ReRun,
    Round,
    Seat,
)

FINISHED = FinishStatus.FINISHED
DNF = FinishStatus.DID_NOT_FINISH
BIRDS = [
    *("Avocet", "Bunting", "Crane", "Dipper", "Egret", "Fulmar", "Godwit", "Heron"),
    *("Ibis", "Jay", "Kite", "Lapwing", "Martin", "Nuthatch", "Osprey"),
]
SEATS = tuple(Seat(heat, lane) for heat in ("final 1", "final 2") for lane in (1, 2, 3, 4))
BY_WORD = st.sampled_from([Letter.BY_REFEREE, Letter.BY_JURY])


def ran(team: str, lane: int, thousandths: int | None, place: int | None = None) -> Ran:
    """A team in its lane, with its time or without a finish."""
    status = DNF if thousandths is None and place is None else FINISHED
    return Ran(team, Finish(lane, status, thousandths, place))


def a_heat(heat: str, times: dict[str, int | None], *out: str) -> HeatRun:
    """A heat with these times in lanes 1, 2, … and these teams disqualified."""
    lines = tuple(ran(team, lane, time) for lane, (team, time) in enumerate(times.items(), 1))
    return HeatRun(heat, lines, frozenset(Disqualified(team, f"dq {team}") for team in out))


def drawn_seats(teams: Sequence[str], lanes: int = 8) -> dict[Seat, str]:
    """The final as drawn: these teams in the lanes from the highest down."""
    return {Seat("final", lanes - at): team for at, team in enumerate(teams)}


def finishes(lane: int) -> st.SearchStrategy[Finish]:
    """A close finish, to 0.01 s or to 0.001 s, with a place or without, or none.

    One number each: rounds are drawn by the thousand.
    """
    return st.integers(0, 26 * 6 * 6 - 1).map(lambda number: _finish(lane, number))


def _finish(lane: int, number: int) -> Finish:
    rest, kind = divmod(number, 6)
    later, place = divmod(rest, 6)
    if kind == 5:
        return Finish(lane, DNF)
    if kind == 4:
        return Finish(lane, FINISHED, 38000 + later // 10 * 10, place or None, 2)
    return Finish(lane, FINISHED, 38000 + later, place or None)


@st.composite
def heats(draw: st.DrawFn, heat: str, teams: Sequence[str], is_in: bool) -> HeatRun:
    """A heat of these teams, or one that is still out."""
    lines = tuple(
        Ran(team, draw(finishes(lane))) for lane, team in enumerate(teams, start=1) if is_in
    )
    out = draw(st.frozensets(disqualifications(teams), max_size=2)) if teams else frozenset()
    return HeatRun(heat, lines, out, is_in)


def disqualifications(teams: Sequence[str]) -> st.SearchStrategy[Disqualified]:
    return st.builds(Disqualified, st.sampled_from(teams), st.sampled_from("ab"))


@st.composite
def re_runs(draw: st.DrawFn, key: str, teams: Sequence[str], is_run: bool) -> ReRun:
    """Some of these teams run again, or are to."""
    some = tuple(draw(st.lists(st.sampled_from(teams), unique=True, min_size=1, max_size=3)))
    return ReRun(
        key,
        some,
        draw(BY_WORD),
        tuple(Ran(team, draw(finishes(lane))) for lane, team in enumerate(some, 1) if is_run),
        draw(st.frozensets(disqualifications(some), max_size=1)),
        draw(st.none() | st.integers(38000, 38030)),
        draw(st.integers(0, 2)),
    )


@st.composite
def advancements(draw: st.DrawFn, number_of_heats: int) -> Advancement:
    """By place and by time, with lanes for as many as are promised."""
    by_place, by_time = draw(st.integers(0, 3)), draw(st.integers(0, 3))
    spare = draw(st.integers(0, 3))
    return Advancement(by_place, by_time, max(1, by_place * number_of_heats + by_time + spare))


@st.composite
def rounds(draw: st.DrawFn, all_run: bool = False) -> Round:
    """A round of up to three heats, with everything that can hang on one.

    `all_run`: every heat and re-run has been run, and there is a next round.
    """
    sizes = draw(st.lists(st.integers(0, 5), min_size=1, max_size=3))
    starts = [sum(sizes[:at]) for at in range(len(sizes))]
    entered = [BIRDS[start : start + size] for start, size in zip(starts, sizes, strict=True)]
    teams = [team for some in entered for team in some]
    several = st.lists(st.sampled_from(teams), unique=True, max_size=4) if teams else st.just([])
    has_run = st.just(True) if all_run else st.sampled_from([True, True, True, False])
    going_on = advancements(len(sizes))
    drawn = draw(several)
    return Round(
        tuple(draw(heats(f"heat {at}", some, draw(has_run))) for at, some in enumerate(entered, 1)),
        draw(going_on if all_run else st.none() | going_on),
        {team: draw(BY_WORD) for team in draw(several)[:2]},
        tuple(
            draw(re_runs(f"re-run {number}", teams, draw(has_run)))
            for number in range(draw(st.integers(0, 2)) if teams else 0)
        ),
        tuple(tuple(lot) for lot in draw(st.lists(several, max_size=2)) if len(lot) > 1),
        draw(st.sampled_from([(), (Fraction(8), Fraction(6), Fraction(5), Fraction(1))])),
        dict(zip(SEATS, drawn, strict=False)),
        SEATS[: len(drawn) + draw(st.integers(0, 3))],
        draw(st.frozensets(st.sampled_from(["final 1", "final 2"]), max_size=1)),
        draw(st.none() | st.integers(1, 5)),
    )


def candidates(round_: Round) -> list[st.SearchStrategy[Order]]:
    """Orders about this round, of every kind that it has something for; some do not fit."""
    runs = [(heat.heat, heat) for heat in round_.heats] + [(one.key, one) for one in round_.re_runs]
    lines = [(name, line) for name, run in runs for line in run.ran]
    teams = [line.team for _, line in lines]
    found: list[st.SearchStrategy[Order]] = [
        st.builds(RestoreHeat, st.just(HeatRun("heat 1"))),
        st.sampled_from(round_.heats).map(AnnulHeat),
    ]
    found += [st.just(SetAside(name, one)) for name, run in runs for one in run.disqualified]
    found += [st.just(Recall(team, letter)) for team, letter in round_.advanced.items()]
    found += [st.just(CallOff(one)) for one in round_.re_runs]
    found += [st.just(TakeLane(seat, team)) for seat, team in round_.seats.items()]
    if teams:
        in_any = st.sampled_from([name for name, _ in runs])
        found += [
            st.builds(Disqualify, in_any, disqualifications(teams)),
            st.builds(Advance, st.sampled_from(teams), BY_WORD),
            re_runs("re-run 9", teams, is_run=True).map(RunAgain),
            st.sampled_from(lines).flatmap(_corrections),
            st.builds(GiveLane, st.sampled_from(SEATS), st.sampled_from(teams)),
        ]
    return found


def _corrections(named: tuple[str, Ran]) -> st.SearchStrategy[Order]:
    name, line = named
    corrected = finishes(line.finish.lane)
    return corrected.map(lambda finish: Correct(name, line, Ran(line.team, finish)))


@st.composite
def fitting_orders(draw: st.DrawFn, round_: Round) -> tuple[Order, ...]:
    """Up to four orders, each of which fits the round that the ones before it have made."""
    given: list[Order] = []
    for _ in range(draw(st.integers(0, 4))):
        order = draw(st.one_of(candidates(round_)))
        try:
            round_ = apply(round_, [order])
        except ValueError:
            continue
        given.append(order)
    return tuple(given)
