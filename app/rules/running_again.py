"""What does a re-run count for?

Where it has a time to beat, the first run stands and the re-run can only help: the better of the
two times ranks, the re-run's only if it is faster than that time. Rio 2016, women's 4x100 m: a team
that had not finished properly ran alone, beat the time of the last qualifier and took its place
(press accounts). Where it has none, it stands in place of the first run in the ranking by time, so
a team that does not finish it has no time (our reading: no source says so).

Who is disqualified in a re-run is out of the round, with what it ran in its heat: a re-run is of
the same round (World Athletics TR7.1, from memory: what was performed in the same round does not
count). A team that is disqualified in its heat gains nothing from a re-run. Where places are added,
the places in the re-run decide, ties by lot.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from app.rules.cuts import Cut, Lots, cut
from app.rules.placing import Finish, hundredths, is_slower, place_heat
from app.rules.round_parts import Disqualified, HeatRun, ReRun, Round


def with_re_runs_void(round_: Round) -> Round:
    """The round with those who are disqualified in a re-run out of their heats too."""
    again = frozenset(one for re_run in round_.re_runs for one in re_run.disqualified)
    if not again:
        return round_
    heats = tuple(_without(heat, again) for heat in round_.heats)
    return replace(round_, heats=heats)


def _without(heat: HeatRun, out: frozenset[Disqualified]) -> HeatRun:
    ran = {one.team for one in heat.ran}
    of_it = frozenset(one for one in out if one.team in ran)
    # The same object where nothing is added: its places are known already.
    return replace(heat, disqualified=heat.disqualified | of_it) if of_it else heat


def with_re_runs(first: Mapping[str, Finish], re_runs: Iterable[ReRun]) -> Mapping[str, Finish]:
    """The finishes that rank by time: those of the heats, and of the re-runs that count for time.

    Only finishes with a time are in it, as in `first`.
    """
    counted = dict(first)
    for re_run in re_runs:
        if re_run.ran and not re_run.added_places:
            again = _timed(re_run)
            for team in re_run.teams:
                _count(re_run, team, again.get(team), counted)
    return counted


def added(re_run: ReRun, out_of_the_round: Collection[str], lots: Lots) -> Cut:
    """Who takes the places that a re-run adds; nobody while it has not been run."""
    if not re_run.added_places:
        return Cut()
    lanes = {run.finish.lane: run.team for run in re_run.ran}
    out = {one.team for one in re_run.disqualified}.union(out_of_the_round)
    placed = place_heat(
        (run.finish for run in re_run.ran),
        frozenset(lane for lane, team in lanes.items() if team in out),
    )
    good = _good_enough(re_run)
    ranked = sorted(
        ((one.place,), lanes[one.lane])
        for one in placed
        if one.place is not None and lanes[one.lane] in good
    )
    return cut(ranked, re_run.added_places, 0, lots)


def can_change(re_run: ReRun, through: Collection[str], by_time: Cut, out: Collection[str]) -> bool:
    """Whether a re-run that counts for time is outstanding and can change who goes on by time.

    `through`: who goes on by place; `out`: who is disqualified. Neither gains anything by it.
    """
    if re_run.ran or re_run.added_places:
        return False
    safe = by_time.over if re_run.time_to_beat is not None else ()
    return not set(re_run.teams) <= {*through, *out, *safe}


def _timed(re_run: ReRun) -> dict[str, Finish]:
    out = {one.team for one in re_run.disqualified}
    return {
        run.team: run.finish
        for run in re_run.ran
        if run.finish.thousandths is not None and run.team not in out
    }


def _count(re_run: ReRun, team: str, again: Finish | None, counted: dict[str, Finish]) -> None:
    """Put the finish of a re-run in place of the team's earlier one where it counts."""
    if re_run.time_to_beat is None:
        counted.pop(team, None)
    if again is not None and _ranks_better(again, re_run.time_to_beat, counted.get(team)):
        counted[team] = again


def _ranks_better(again: Finish, time_to_beat: int | None, earlier: Finish | None) -> bool:
    if time_to_beat is not None and not beats(again, time_to_beat):
        return False
    return earlier is None or is_slower(earlier, again)


def beats(finish: Finish, time_to_beat: int) -> bool:
    """Whether a finish is faster than that time, compared to 0.01 s; not without a time."""
    return finish.thousandths is not None and (
        hundredths(finish.thousandths) < hundredths(time_to_beat)
    )


def _good_enough(re_run: ReRun) -> set[str]:
    """Who may take an added place as far as the time to beat goes."""
    return {
        run.team
        for run in re_run.ran
        if re_run.time_to_beat is None or beats(run.finish, re_run.time_to_beat)
    }
