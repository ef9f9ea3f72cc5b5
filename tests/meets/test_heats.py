"""Heats over HTTP: started, held back, and shown in the order of the programme."""

from __future__ import annotations

import pytest

from app.ids import new_id
from app.meets.states import HEAT_TABLE, HeatAct, HeatState
from app.refusals import NotPossible
from tests.builders import MeetAtHand, a_bare_meet, a_problem, a_start_list, all_heats
from tests.running import Service

# Design: to come → running → judged (every post has called) → announced → final. Final follows
# from the windows and the time. Holding back, also when a heat is to be run again after its last
# flag or its result, announcing an unstarted heat, and that a heat is not held once its round is
# drawn into fewer are common practice.
STEPS = {
    (HeatState.TO_COME, HeatAct.START): HeatState.RUNNING,
    (HeatState.RUNNING, HeatAct.HOLD_BACK): HeatState.TO_COME,
    (HeatState.JUDGED, HeatAct.HOLD_BACK): HeatState.TO_COME,
    (HeatState.ANNOUNCED, HeatAct.HOLD_BACK): HeatState.TO_COME,
    (HeatState.RUNNING, HeatAct.LAST_POST_CALLS): HeatState.JUDGED,
    (HeatState.TO_COME, HeatAct.ANNOUNCE): HeatState.ANNOUNCED,
    (HeatState.RUNNING, HeatAct.ANNOUNCE): HeatState.ANNOUNCED,
    (HeatState.JUDGED, HeatAct.ANNOUNCE): HeatState.ANNOUNCED,
    (HeatState.ANNOUNCED, HeatAct.ANNOUNCE): HeatState.ANNOUNCED,
    (HeatState.TO_COME, HeatAct.DECLARE_NOT_HELD): HeatState.NOT_HELD,
    (HeatState.NOT_HELD, HeatAct.DRAW_AGAIN): HeatState.TO_COME,
}
FOLLOWING = {HeatAct.LAST_POST_CALLS, HeatAct.DRAW_AGAIN}


@pytest.mark.parametrize("state", list(HeatState))
@pytest.mark.parametrize("act", list(HeatAct))
def test_a_heat_goes_only_where_the_design_lets_it(state: HeatState, act: HeatAct) -> None:
    if (state, act) in STEPS:
        assert HEAT_TABLE.step(state, act).becomes is STEPS[state, act]
        return
    with pytest.raises(NotPossible) as refused:
        HEAT_TABLE.step(state, act)
    asked = {act for s, act in STEPS if s == state} - FOLLOWING
    assert refused.value.facts["possible"] == sorted(asked)


def test_a_heat_is_started_and_held_back(meet: MeetAtHand) -> None:
    meet.start()
    running = meet.referee.get(f"heats/{meet.heat()}")
    assert running.json()["state"] == "running"
    assert running.json()["started_at"]
    assert meet.organiser.get("heats").json()["running"] == meet.heat()
    held = meet.referee.post(f"heats/{meet.heat()}/hold-back", etag=running.headers["ETag"])
    assert (held.json()["state"], held.json()["started_at"]) == ("to come", None)
    assert meet.organiser.get("heats").json()["running"] is None


def test_starting_names_the_version_that_was_seen(meet: MeetAtHand) -> None:
    before = meet.head()
    start = f"heats/{meet.heat()}/start"
    a_problem(meet.referee.post(start), 428, "precondition-missing")
    a_problem(meet.referee.post(start, etag='"v7"'), 412, "stale")
    assert meet.head() == before


def test_what_is_not_possible_is_refused_with_what_is(meet: MeetAtHand) -> None:
    meet.start()
    told = a_problem(
        meet.referee.post(f"heats/{meet.heat()}/start", etag='"v2"'), 409, "not-possible"
    )
    assert told["state"] == "running"
    assert told["possible"] == ["announce", "hold back"]


def test_the_heat_that_was_started_last_is_the_one_that_runs(meet: MeetAtHand) -> None:
    meet.start(0)
    meet.start(1)
    assert meet.organiser.get("heats").json()["running"] == meet.heat(1)


def test_an_unknown_heat_or_meet_is_not_found(meet: MeetAtHand) -> None:
    a_problem(meet.referee.get(f"heats/{new_id()}"), 404, "not-found")
    for path in (f"/api/meets/{new_id()}", f"/api/meets/{new_id()}/heats"):
        a_problem(meet.service.http.get(path), 404, "not-found")


def test_heats_come_a_hundred_a_page_and_none_is_lost(service: Service) -> None:
    hand = a_bare_meet(service)
    loaded = hand.organiser.post("start-lists", content=a_start_list(205, lanes=[4]))
    assert loaded.json()["heats_added"] == 205
    page = hand.organiser.get("heats").json()
    assert len(page["heats"]) == 100
    assert [heat["number"] for heat in all_heats(hand)] == list(range(1, 206))
