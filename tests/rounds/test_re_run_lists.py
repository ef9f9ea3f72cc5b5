"""Start lists and re-runs: who is ordered to run again stays in that heat meanwhile."""

from __future__ import annotations

import httpx

from app.ids import HeatId
from app.rounds.actions import call_off_re_run, order_re_run
from app.rules.qualifying import Letter
from tests.builders import MeetAtHand, a_problem
from tests.rounds.builders import Event, a_decision, two_heats


def replace_list(event: Event, *teams: str) -> httpx.Response:
    """Another list for the re-run's heat."""
    rows = [f'{event.name},"heats, re-run",1,{lane},{team}' for lane, team in enumerate(teams, 3)]
    content = "\n".join(["event,round,heat,lane,team", *rows])
    return event.meet.organiser.post("start-lists", content=content)


def ordered_again(event: Event, name: str) -> HeatId:
    """A team of the first heat is to run again; gives the heat of the re-run."""
    heat, teams = event.heat_out(), [event.team(name)]
    _re_run, run_heat = event.read(
        lambda unit: order_re_run(unit, heat, teams, Letter.BY_REFEREE, a_decision())
    )
    return run_heat


def test_a_start_list_takes_no_team_out_of_a_re_run_that_is_ordered(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    ordered_again(event, "Heron")
    event.read_again()
    before = event.heats["heats, re-run 1"]["lanes"]
    told = a_problem(replace_list(event, "Gull"), 422, "file-refused")
    assert told["problems"][0]["column"] == "team"
    assert "“Heron” runs again by order" in str(told["problems"])
    assert "called off by a decision" in str(told["problems"])
    event.read_again()
    assert event.heats["heats, re-run 1"]["lanes"] == before


def test_the_lane_of_who_runs_again_may_still_be_changed(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    ordered_again(event, "Heron")
    assert replace_list(event, "Heron").status_code == 200


def test_nobody_is_put_into_a_re_run_that_was_called_off(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    run_heat = ordered_again(event, "Heron")
    event.read(lambda unit: call_off_re_run(unit, run_heat, a_decision()))
    told = a_problem(replace_list(event, "Gull"), 422, "file-refused")
    (problem,) = told["problems"]
    assert problem["column"] == "heat"
    assert "a re-run that a decision has called off" in problem["problem"]
    event.read_again()
    assert event.heats["heats, re-run 1"]["lanes"] == []
