"""A heat that runs again: what was seen in the race before decides nothing in this one by slip.

Starts are recalled (World Athletics TR16), and a referee or jury may order a race to be run again
(TR8.4, CR18.7; the clauses from memory). Reports and rulings of before are kept and say so.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime

import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_phone_clock, a_problem, a_report

DISQUALIFIED = {4: "DQ TR24.7"}
RECALLED = "from a recalled start of the heat"
A_STEP = {"seen": "lane_infringement", "on_bend": "yes", "inner_line": "yes", "steps": 1}


def whites(meet: MeetAtHand) -> None:
    """Every post has called in this run."""
    for umpire in ("umpire", "second"):
        assert meet.call("white", by=umpire).json()["counts"] is True


def run_again(meet: MeetAtHand) -> None:
    """Held back, started anew, judged, and its times loaded."""
    meet.hold_back()
    meet.start()
    whites(meet)
    seen = meet.desk.get(f"heats/{meet.heat()}/result")
    rows = "\n".join(["lane,time", *(f"{lane},5{lane}.00" for lane in range(1, 9))])
    loaded = meet.desk.put(
        f"heats/{meet.heat()}/result", content=rows, etag=seen.headers.get("ETag")
    )
    assert loaded.status_code in {200, 201}, loaded.text


def in_the_way(meet: MeetAtHand) -> list[str]:
    return list(meet.desk.get(f"heats/{meet.heat()}/result").json()["in_the_way"])


def confirm(meet: MeetAtHand, case: str, **changes: object) -> Json:
    answer = meet.rule(case, **changes)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def test_a_report_written_while_the_heat_is_held_back_is_of_the_recalled_start(
    meet: MeetAtHand,
) -> None:
    meet.start()
    meet.hold_back()
    report = meet.report()
    assert report["run"] == 1
    meet.start()
    (told,) = meet.case(report["case"])["reports"]
    assert RECALLED in told["marks"]


def test_a_ruling_made_with_the_word_while_the_heat_is_held_back_stands_in_the_next_run(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = meet.report()
    meet.hold_back()
    ruling = confirm(meet, report["case"], earlier_run=True)
    meet.start()
    whites(meet)
    meet.load_result()
    # It was ruled knowing that the race would be run again, so it stands.
    assert meet.referee.get(f"rulings/{ruling['id']}").json()["is_shaken"] is False
    assert meet.annotations() == DISQUALIFIED
    meet.hold_back()
    assert meet.referee.get(f"rulings/{ruling['id']}").json()["is_shaken"] is True


def test_what_was_seen_in_a_recalled_start_is_confirmed_only_with_the_word(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = meet.report()
    run_again(meet)
    told = a_problem(meet.rule(report["case"]), 409, "needs-word")
    assert "/earlier_run" in str(told["errors"])
    assert meet.annotations() == {}
    confirm(meet, report["case"], earlier_run=True)
    assert meet.annotations() == DISQUALIFIED
    assert meet.announce().status_code == 201


def test_a_dismissal_needs_no_word(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report()
    run_again(meet)
    confirm(meet, report["case"], verdict="dismissed")
    assert meet.announce().status_code == 201


def test_the_word_is_asked_for_by_infringement(meet: MeetAtHand) -> None:
    """One report tells of the recalled start, another of this race and of something else."""
    meet.start()
    report = meet.report()
    meet.hold_back()
    meet.start()
    meet.report(by="second", observation=A_STEP)
    told = a_problem(
        meet.rule(report["case"], infringement="pass_completed_beyond_zone"), 409, "needs-word"
    )
    assert "/earlier_run" in str(told["errors"])
    assert confirm(meet, report["case"], infringement="lane_infringement")["effect"] == "L"


def test_a_flag_that_comes_late_from_a_measured_clock_is_of_the_recalled_start(
    meet: MeetAtHand,
) -> None:
    meet.start()
    shown = a_phone_clock(at=rfc3339(datetime.now(UTC)), offset_ms=0, error_ms=0)
    time.sleep(0.05)
    meet.hold_back()
    meet.start()
    report = new_id()
    call = meet.call("yellow", lane=4, clock=shown, report=report).json()
    assert call["counts"] is False
    written = meet.umpire.put(
        f"reports/{report}", a_report(meet.heat(), meet.posts["umpire"], clock=shown)
    ).json()
    assert (written["run"], RECALLED in written["marks"]) == (1, True)
    a_problem(meet.rule(written["case"]), 409, "needs-word")


def test_a_ruling_in_a_race_that_nobody_started_is_looked_at_again_when_it_is_run_again(
    meet: MeetAtHand,
) -> None:
    ruling = confirm(meet, meet.report()["case"])
    meet.load_result()
    assert meet.announce(despite="Nobody pressed start.").status_code == 201
    run_again(meet)
    told = a_problem(meet.announce(), 409, "needs-word")
    assert told["shaken_rulings"] == [ruling["id"]]


def test_a_start_that_was_forgotten_shakes_nothing(meet: MeetAtHand) -> None:
    ruling = confirm(meet, meet.report()["case"])
    meet.load_result()
    meet.start()
    whites(meet)
    assert in_the_way(meet) == []
    assert meet.annotations() == DISQUALIFIED
    assert meet.referee.get(f"rulings/{ruling['id']}").json()["is_shaken"] is False
    assert meet.announce().status_code == 201


def test_a_shaken_ruling_that_is_confirmed_again_stands(meet: MeetAtHand) -> None:
    meet.start()
    first = confirm(meet, meet.report()["case"])
    run_again(meet)
    assert a_problem(meet.announce(), 409, "needs-word")["shaken_rulings"] == [first["id"]]
    second = confirm(meet, first["case"], reconsiders=first["id"], earlier_run=True)
    assert second["is_shaken"] is False
    assert in_the_way(meet) == []
    assert meet.announce().status_code == 201
    assert meet.annotations() == DISQUALIFIED


def test_a_result_that_is_held_back_holds_no_more_and_cannot_be_announced_with_old_times(
    meet: MeetAtHand,
) -> None:
    meet.start()
    whites(meet)
    meet.load_result()
    meet.announce()
    meet.hold_back()
    seen = meet.desk.get(f"heats/{meet.heat()}/result").json()
    assert (seen["is_list_outdated"], seen["announced"]["holds"]) == (True, False)
    listed = meet.desk.get("announcements").json()["announcements"]
    assert [one["holds"] for one in listed if one["heat"] == meet.heat()] == [False]
    a_problem(meet.announce(despite="It was run."), 409, "conflict")


def test_announcing_a_heat_that_is_held_back_begins_its_next_run(meet: MeetAtHand) -> None:
    meet.start()
    first = confirm(meet, meet.report()["case"])
    meet.hold_back()
    meet.load_result()
    announced = meet.announce(despite="Run again, nobody pressed start.").json()
    assert announced["blockers"]["shaken_rulings"] == [first["id"]]
    assert meet.referee.get(f"heats/{meet.heat()}").json()["run"] == 2
    assert meet.referee.get(f"rulings/{first['id']}").json()["is_shaken"] is True
    posts = meet.referee.get(f"heats/{meet.heat()}/posts").json()
    assert posts["silent"] == 2


@pytest.mark.parametrize("flagged", [{}, {"lane": 4}], ids=["lane not known", "lane known"])
def test_after_a_new_draw_a_flag_of_the_race_before_is_about_the_team_that_ran_then(
    meet: MeetAtHand, flagged: Json
) -> None:
    before = {lane["lane"]: lane["team"] for lane in meet.heats[0]["lanes"]}
    meet.start()
    report = new_id()
    meet.call("yellow", report=report, **flagged)
    meet.hold_back()
    assert meet.draw_lanes({3: 4, 4: 3}).status_code == 200
    meet.start()
    written = meet.umpire.put(f"reports/{report}", a_report(meet.heat(), meet.posts["umpire"]))
    assert (written.json()["team"], written.json()["run"]) == (before[4], 1)


def test_a_ruling_says_the_lane_in_which_the_team_ran_then(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report(lane=4)
    meet.hold_back()
    assert meet.draw_lanes({3: 4, 4: 3}).status_code == 200
    meet.start()
    ruling = confirm(meet, report["case"], earlier_run=True)
    assert (ruling["team"], ruling["lane"]) == (report["team"], 4)
    assert meet.annotations() == {3: "DQ TR24.7"}  # a disqualification is the team's


def test_a_ruling_whose_only_flag_was_withdrawn_is_looked_at_again(meet: MeetAtHand) -> None:
    meet.start()
    flag = meet.call("yellow", lane=4).json()
    meet.call("white", by="second")
    ruling = confirm(meet, flag["case"], infringement="pass_completed_beyond_zone")
    meet.load_result()
    etag = meet.umpire.get(f"reports/{flag['report']}").headers["ETag"]
    taken_back = meet.umpire.post(
        f"reports/{flag['report']}/withdraw", {"reason": "It was the wrong lane."}, etag=etag
    )
    assert taken_back.status_code == 200
    told = a_problem(meet.announce(), 409, "needs-word")
    assert told["shaken_rulings"] == [ruling["id"]]
    confirm(meet, flag["case"], verdict="dismissed", reconsiders=ruling["id"])
    assert meet.announce().status_code == 201


@pytest.mark.parametrize(("lane", "shaken"), [(5, True), (4, False)])
def test_a_ruling_whose_account_is_about_another_team_is_looked_at_again(
    meet: MeetAtHand, lane: int, shaken: bool
) -> None:
    meet.start()
    report = new_id()
    flag = meet.call("yellow", lane=4, report=report).json()
    ruling = confirm(meet, flag["case"], infringement="pass_completed_beyond_zone")
    sent = a_report(meet.heat(), meet.posts["umpire"], lane=lane)
    assert meet.umpire.put(f"reports/{report}", sent).status_code == 201
    assert meet.referee.get(f"rulings/{ruling['id']}").json()["is_shaken"] is shaken


def test_what_was_noted_in_a_recalled_start_counts_no_more(meet: MeetAtHand) -> None:
    meet.start()
    noted = confirm(meet, meet.report(observation=A_STEP)["case"])
    meet.hold_back()
    meet.start()
    report = meet.report(by="second", observation=A_STEP)
    assert report["finding"]["consequence"] == "noted"
    again = confirm(meet, report["case"])
    assert (noted["effect"], again["effect"], again["noted_before"]) == ("L", "L", 0)


def test_an_account_under_its_own_id_is_of_the_recalled_start_whose_flag_awaits_it(
    meet: MeetAtHand,
) -> None:
    meet.start()
    flag = meet.call("yellow", lane=4).json()
    meet.hold_back()
    meet.start()
    account = meet.report(lane=4)
    assert (account["run"], account["case"]) == (1, flag["case"])
    assert RECALLED in [mark for one in meet.case(flag["case"])["reports"] for mark in one["marks"]]
    a_problem(meet.rule(flag["case"]), 409, "needs-word")


def test_an_account_is_of_this_race_where_its_umpire_has_flagged_in_it(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("yellow", lane=4)
    meet.hold_back()
    meet.start()
    meet.call("yellow", lane=4)
    assert meet.report(lane=4)["run"] == 2


def test_a_flag_that_names_a_report_of_the_recalled_start_opens_a_case(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report(lane=4)
    confirm(meet, report["case"], verdict="dismissed")
    meet.hold_back()
    meet.start()
    flag = meet.call("yellow", lane=4, report=report["id"]).json()
    assert flag["report"] != report["id"]
    assert flag["case"] in meet.open_cases()


def test_a_ruling_on_a_flag_whose_account_was_dismissed_is_looked_at_again(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = new_id()
    flag = meet.call("yellow", lane=4, report=report).json()
    ruling = confirm(meet, flag["case"], infringement="pass_completed_beyond_zone")
    sent = a_report(meet.heat(), meet.posts["umpire"])
    account = meet.umpire.put(f"reports/{report}", sent).json()
    confirm(meet, account["case"], verdict="dismissed")
    assert meet.referee.get(f"rulings/{ruling['id']}").json()["is_shaken"] is True
