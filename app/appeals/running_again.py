"""Orders to run again, for some teams or for the whole heat, and their taking back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from app.appeals.bench import (
    Bench,
    Kept,
    Understood,
    effects_of,
    insist_last_not_the_jurys,
    insist_letter_may_go,
    insist_not_the_jurys,
)
from app.appeals.finish_lines import ran_in
from app.appeals.last_about import the_race, the_re_run
from app.appeals.orders import (
    RunAgainIn,
)
from app.ids import DecisionId, HeatId, TeamId, new_id
from app.meets.actions import give_back_run, run_whole_heat_again
from app.meets.queries import heat
from app.meets.states import HeatState
from app.meets.wire import LaneOut
from app.refusals import NoLongerStands, StateConflict
from app.results.queries import result_row
from app.results.wording import listed
from app.rounds.actions import call_off_re_run, hold_re_run_after_all, order_re_run
from app.rules.orders import (
    AnnulHeat,
    CallOff,
    RestoreHeat,
    RunAgain,
)
from app.rules.qualifying import HeatRun, ReRun
from app.rulings.queries import disqualifications_in_heat
from app.rulings.states import DisqualificationState
from app.sheets.race_time import parse_time
from app.store.action import Unit


def running_again(bench: Bench, order: RunAgainIn, field: str) -> Understood:
    """Some teams of the heat run again, as a heat of their own; StateConflict where that could
    change nothing.
    """
    _insist_it_can_count(bench, order)
    for known in bench.at_hand.called_off:
        if set(known.teams) == set(order.teams):
            insist_last_not_the_jurys(bench, the_re_run(known.key))
    names = [bench.team(team, f"{field}/teams/{at}") for at, team in enumerate(order.teams)]
    to_beat = parse_time(order.time_to_beat)[0] if order.time_to_beat else None
    teams = [TeamId(team) for team in order.teams]

    def act(unit: Unit, decision: DecisionId) -> Kept:
        re_run, run_heat = order_re_run(
            unit,
            bench.heat,
            teams,
            bench.letter,
            decision,
            time_to_beat=to_beat,
            added_places=order.added_places,
        )
        return {"did": "run again", "re_run": re_run, "heat": run_heat}

    key = new_id()
    re_run = ReRun(
        key,
        tuple(order.teams),
        bench.letter,
        time_to_beat=to_beat,
        added_places=order.added_places,
    )
    return Understood((RunAgain(re_run),), _re_run_words(names, order), act)


def _insist_it_can_count(bench: Bench, order: RunAgainIn) -> None:
    """The places of a final in one heat come from one race: the referee can have that race held
    again (World Athletics CR18.7, TR17, from memory), not rank times of two races in it. Over
    several heats from which nobody goes on, times rank, so a new one counts there.
    """
    round_ = bench.at_hand.round
    if isinstance(bench.run, ReRun):
        raise StateConflict(
            "This heat is itself a re-run. Order another one from the heat that it repeats."
        )
    if bench.heat.state is HeatState.TO_COME:
        raise StateConflict(
            "This heat is still to come, so nobody can run it again: order that once it was run."
        )
    if round_.advancement is not None:
        return
    if len(round_.heats) == 1:
        raise StateConflict(
            "From this round nobody goes on, and its places come from this one race: a re-run of "
            "some teams would change nothing. Order that the whole heat runs again (“run again” "
            "without teams), or correct what was written down wrongly. If teams do go on from it, "
            "set that first at …/rounds/{id}."
        )
    if order.added_places:
        raise StateConflict(
            "From this round nobody goes on, so there is no place to add. Order the re-run without "
            "“added_places”: the new times rank with those of all heats."
        )


def _re_run_words(names: Sequence[str], order: RunAgainIn) -> str:
    one = len(names) == 1
    words = f"{listed(names)} {'runs' if one else 'run'} again, the same runners in the same order"
    words += ", in the same lane" if one else ", in the same lanes"
    if order.time_to_beat:
        words += f"; the time to beat is {order.time_to_beat}"
    if order.added_places:
        best = "the best" if order.added_places == 1 else f"the best {order.added_places}"
        words += f"; {best} of them {'goes' if order.added_places == 1 else 'go'} on in addition"
    return f"{words}."


def calling_off(bench: Bench, run_heat: HeatId) -> Understood:
    """A re-run is not held, or does not count where it was run."""
    known = next((one for one in bench.at_hand.round.re_runs if one.key == run_heat), None)
    if known is None:
        raise NoLongerStands("This is no re-run of this round, or it was called off already.")
    insist_letter_may_go(bench, known.letter)
    insist_last_not_the_jurys(bench, the_re_run(run_heat))
    _insist_jury_disqualified_nobody(bench, run_heat)
    again = heat(bench.conn, bench.meet_id, run_heat)
    was_run = again.state is not HeatState.TO_COME or bool(again.run)

    def act(unit: Unit, decision: DecisionId) -> Kept:
        lost = call_off_re_run(unit, run_heat, decision)
        lanes = [lane.model_dump(mode="json") for lane in lost]
        return {"did": "called off", "heat": run_heat, "lanes": lanes}

    names = listed([bench.name(team) for team in known.teams])
    what = "does not count" if was_run else "is called off"
    return Understood((CallOff(known),), f"The re-run of {names} {what}.", act)


def _insist_jury_disqualified_nobody(bench: Bench, heat_id: HeatId) -> None:
    """Whom the jury disqualified in a race is not brought back by the referee's voiding it."""
    for one in disqualifications_in_heat(bench.conn, bench.meet_id, heat_id):
        if one.state is DisqualificationState.IN_FORCE:
            insist_not_the_jurys(bench, one.by_decision)


def holding_after_all(bench: Bench, kept: Kept) -> Understood:
    """A re-run that was called off is held, or counts, as if it had not been."""
    run_heat, lanes = HeatId(kept["heat"]), [LaneOut(**lane) for lane in kept.get("lanes", ())]
    known = next((one for one in bench.at_hand.called_off if one.key == run_heat), None)
    if known is None:
        raise NoLongerStands("This re-run stands: it is not called off any more.")
    insist_letter_may_go(bench, known.letter)
    insist_last_not_the_jurys(bench, the_re_run(run_heat))
    if not lanes and not heat(bench.conn, bench.meet_id, run_heat).lanes:
        raise StateConflict("The lanes of this re-run were not kept: order it anew instead.")

    def act(unit: Unit, decision: DecisionId) -> Kept:
        hold_re_run_after_all(unit, run_heat, lanes, decision)
        return {"did": "held after all", "heat": run_heat}

    names = listed([bench.name(team) for team in known.teams])
    what = "is held after all" if lanes else "counts after all"
    return Understood((RunAgain(known, again=True),), f"The re-run of {names} {what}.", act)


def insist_each_runs_again_once(after: Bench, understood: Sequence[Understood]) -> None:
    """StateConflict where these orders leave a team to run again twice: in two re-runs that are
    still to be held, or beside the whole heat.
    """
    effects = effects_of(understood)
    ordered = [effect.re_run for effect in effects if isinstance(effect, RunAgain)]
    if ordered and any(isinstance(effect, AnnulHeat) for effect in effects):
        raise StateConflict(
            "The whole heat is to run again, so no team of it runs again beside that: order one of "
            "the two."
        )
    still = Counter(
        team for one in after.at_hand.round.re_runs if not one.ran for team in one.teams
    )
    for team in [team for one in ordered for team in one.teams]:
        if still[team] > 1:
            raise StateConflict(
                f"{after.name(team)} is to run again already. Have that called off, or undone, "
                "where it is to run otherwise."
            )


def voiding_heat_and_re_runs(bench: Bench) -> Iterator[Understood]:
    """The whole heat runs again: its result is void, and so is what its teams ran in re-runs, since
    those repeated that race.
    """
    whole = voiding_heat(bench)
    here = {lane.team for lane in bench.heat.lanes}
    for known in bench.at_hand.round.re_runs:
        if here.issuperset(known.teams):
            yield calling_off(bench, HeatId(known.key))
    yield whole


def voiding_heat(bench: Bench) -> Understood:
    """The whole heat runs again: its result is void."""
    if not isinstance(bench.run, HeatRun):
        raise StateConflict("This heat is itself a re-run: hold it back to run it once more.")
    _insist_jury_disqualified_nobody(bench, HeatId(bench.heat.id))
    insist_last_not_the_jurys(bench, the_race(bench.heat.id, bench.heat.run))

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        kept = run_whole_heat_again(unit, heat(unit.conn, unit.meet_id, HeatId(bench.heat.id)))
        return {"did": "whole heat again", **kept}

    what = f"Heat {bench.heat.number} of the {bench.heat.round} runs again; its result is void."
    return Understood((AnnulHeat(bench.run),), what, act)


def voiding_again(bench: Bench, kept: Kept) -> Understood:
    """That a heat does not run again is taken back, while that race is still the one that counts.

    StateConflict for what was kept before its race was named.
    """
    if kept.get("run") is None:
        raise StateConflict(
            "What this decision ordered was itself a taking back of a re-run: order it anew "
            "instead."
        )
    if kept["run"] != bench.heat.run:
        raise NoLongerStands("The heat has been run again since: that race counts no more.")
    return voiding_heat(bench)


def giving_back_run(bench: Bench, kept: Kept) -> Understood:
    """A heat that was to run again does not; StateConflict once it was started."""
    if bench.heat.run != kept["run"]:
        raise StateConflict("The heat has been started again since: its first result is void.")
    if bench.heat.state is not HeatState.TO_COME:
        raise NoLongerStands("The heat does not run again any more: its result counts.")
    row = result_row(bench.conn, bench.meet_id, bench.heat.id)
    ran = tuple(ran_in(line) for line in row.rows) if row is not None else ()

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        give_back_run(unit, HeatId(bench.heat.id), kept)
        return {"did": "given back", "run": bench.heat.run}

    words = f"Heat {bench.heat.number} of the {bench.heat.round} does not run again."
    effect = RestoreHeat(HeatRun(bench.heat.id, ran, bench.run.disqualified, is_in=row is not None))
    return Understood((effect,), words, act)
