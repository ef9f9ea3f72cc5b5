"""A race that does not count any more: nothing of it comes into the race that is run again.

A referee can have a race held again (World Athletics CR18.7, from memory); what follows from that
for corrections and re-runs of the void race is common practice.
"""

from __future__ import annotations

from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    decide,
    decided,
    jury_decides,
    lodge,
    team,
)
from tests.appeals.test_rounds_moved import a_round, letters, protest, re_run_of
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import by_name

WHOLE = [{"order": "run again"}]


def the_list(**changed: str) -> str:
    """Times in the order of lanes, save those that are given by lane: `lane4="DNF"`."""
    rows = [f"{lane},{changed.get(f'lane{lane}', f'{42 + lane / 10:.2f}')}" for lane in range(1, 9)]
    return "\n".join(["lane,time", *rows])


def load(meet: MeetAtHand, content: str):  # type: ignore[no-untyped-def]
    address = f"heats/{meet.heat()}/result"
    return meet.desk.put(address, content=content, etag=meet.desk.get(address).headers["ETag"])


def upheld(meet: MeetAtHand, *orders: Json) -> Json:
    return decided(meet, lodge(meet, a_protest(meet)), "upheld", orders=list(orders))


def refused(meet: MeetAtHand, *orders: Json) -> str:
    answer = decide(meet, lodge(meet, a_protest(meet)), "upheld", orders=list(orders))
    return str(a_problem(answer, 409, "conflict")["detail"])


def undo(out: Json) -> Json:
    return {"order": "undo", "decision": out["decision"]["id"]}


def an_announced_race(meet: MeetAtHand) -> None:
    meet.start()
    assert meet.load_result().status_code == 201
    announced(meet)


def correct(meet: MeetAtHand, time: str) -> Json:
    return {"order": "correct", "team": team(meet), "time": time}


def test_a_correction_of_a_void_race_is_not_taken_back_in_the_new_one(meet: MeetAtHand) -> None:
    an_announced_race(meet)
    out = upheld(meet, {"order": "correct", "team": team(meet), "status": "DNF"})
    upheld(meet, *WHOLE)
    meet.start()
    assert load(meet, the_list(lane4="DNF")).is_success
    assert "does not count any more" in refused(meet, undo(out))


def test_with_a_later_correction_taken_back_the_earlier_one_still_binds_the_list(
    meet: MeetAtHand,
) -> None:
    an_announced_race(meet)
    upheld(meet, correct(meet, "41.00"))
    second = upheld(meet, correct(meet, "40.50"))
    third = upheld(meet, undo(second))
    a_problem(load(meet, the_list()), 409, "conflict")
    assert load(meet, the_list(lane4="41.00")).is_success
    upheld(meet, undo(third))
    a_problem(load(meet, the_list(lane4="41.00")), 409, "conflict")
    assert load(meet, the_list(lane4="40.50")).is_success


def test_a_list_may_give_the_place_that_nobody_decided(meet: MeetAtHand) -> None:
    an_announced_race(meet)
    upheld(meet, correct(meet, "41.00"))
    order = [4, 1, 2, 3, 5, 6, 7, 8]
    times = {4: "41.00"} | {lane: f"{42 + lane / 10:.2f}" for lane in order if lane != 4}
    rows = [f"{lane},{times[lane]},{place}" for place, lane in enumerate(order, 1)]
    assert load(meet, "\n".join(["lane,time,place", *rows])).is_success


def test_where_the_whole_heat_runs_again_its_re_runs_do_not_count(meet: MeetAtHand) -> None:
    event = a_round(meet)
    again = {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}
    decided(meet, protest(event, "Heron"), "upheld", orders=[again])
    event.start(re_run_of(event))
    event.load(re_run_of(event), "42.05")
    assert letters(event)["Heron"] == "q"
    out = decided(meet, protest(event, "Tern"), "upheld", orders=WHOLE)
    assert "The re-run of Heron does not count." in out["decision"]["ordered"]
    event.start("heats 1")
    event.load("heats 1", "44.00", "43.90", "45.00")
    assert letters(event)["Heron"] == ""
    assert by_name(event.now())["Heron"]["time"] == "45.00"


def test_whom_the_jury_disqualified_no_voiding_by_the_referee_brings_back(
    meet: MeetAtHand,
) -> None:
    """World Athletics TR8.11: the jury's decision is final."""
    protested = a_rejected_protest(meet)
    lodged = appeal(meet, protested)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    out = {"order": "disqualify", "team": team(meet, 1), "infringement": "help_given"}
    assert jury_decides(meet, lodged, names[0], orders=[out]).status_code == 201
    assert "TR8.11" in refused(meet, *WHOLE)


def test_a_race_that_is_still_to_come_is_not_run_again_by_some(meet: MeetAtHand) -> None:
    event = a_round(meet)
    again = {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}
    decided(meet, protest(event, "Tern"), "upheld", orders=WHOLE)
    second = protest(event, "Heron")
    told = a_problem(decide(meet, second, "upheld", orders=[again]), 409, "conflict")
    assert "still to come" in told["detail"]


def test_a_re_run_is_not_run_again_by_some(meet: MeetAtHand) -> None:
    event = a_round(meet)
    again = {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}
    decided(meet, protest(event, "Heron"), "upheld", orders=[again])
    about_it = protest(event, "Heron", re_run_of(event))
    sent = {"orders": [again]}
    foreseen = meet.referee.post(f"protests/{about_it['id']}/consequences", sent)
    assert "itself a re-run" in a_problem(foreseen, 409, "conflict")["detail"]


def test_nobody_is_to_run_again_twice(meet: MeetAtHand) -> None:
    event = a_round(meet)
    again = {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}
    lodged = protest(event, "Heron")
    for orders in ([again, again], [*WHOLE, again]):
        a_problem(decide(meet, lodged, "upheld", orders=orders), 409, "conflict")
    decided(meet, lodged, "upheld", orders=[again])
    second = protest(event, "Gull")
    told = a_problem(decide(meet, second, "upheld", orders=[again]), 409, "conflict")
    assert "Heron is to run again already" in told["detail"]
    other = {"order": "advance", "team": event.team("Puffin")}
    out = decided(meet, protest(event, "Puffin"), "upheld", orders=[other])
    a_problem(decide(meet, second, "upheld", orders=[undo(out), again]), 409, "conflict")
    event.load(re_run_of(event), "42.65")
    assert decide(meet, second, "upheld", orders=[again]).status_code == 201
