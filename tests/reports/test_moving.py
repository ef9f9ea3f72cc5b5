"""Which case a report belongs to when its facts come late or turn out to be others."""

from __future__ import annotations

from typing import Any

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_problem, a_report, a_ruling
from tests.reports.test_reports import returned, rewritten


def raise_flag(meet: MeetAtHand, **changes: Any) -> tuple[str, str]:
    """A yellow flag of the umpire: the report that will come, and the case it waits in."""
    report = new_id()
    call = meet.call("yellow", report=report, **changes).json()
    return report, call["case"]


def write(meet: MeetAtHand, report: str, **changes: object) -> Json:
    sent = a_report(meet.heat(), meet.posts["umpire"]) | changes
    answer = meet.umpire.put(f"reports/{report}", sent)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def test_a_report_on_the_wrong_heat_moves_to_the_right_case_and_the_case_left_is_joined(
    meet: MeetAtHand,
) -> None:
    right = meet.report(by="second", heat=1)["case"]
    wrong = meet.report(heat=0)
    moved = rewritten(meet, returned(meet, wrong), heat=meet.heat(1))
    assert moved["case"] == right
    left = meet.case(wrong["case"])
    assert (left["state"], left["joined_to"], left["reports"]) == ("joined", right, [])
    assert len(meet.case(right)["reports"]) == 2
    assert meet.open_cases(0) == []
    assert meet.open_cases(1) == [right]


def test_a_joined_case_is_not_ruled_on(meet: MeetAtHand) -> None:
    meet.report(by="second", heat=1)
    wrong = meet.report(heat=0)
    rewritten(meet, returned(meet, wrong), heat=meet.heat(1))
    told = a_problem(meet.rule(wrong["case"]), 409, "not-possible")
    assert (told["state"], told["possible"]) == ("joined", [])


def test_a_report_alone_takes_its_case_along(meet: MeetAtHand) -> None:
    wrong = meet.report(heat=0)
    moved = rewritten(meet, returned(meet, wrong), heat=meet.heat(1), lane=3)
    assert moved["case"] == wrong["case"]
    case = meet.case(moved["case"])
    assert (case["heat"], case["lane"], case["team_name"]) == (meet.heat(1), 3, "Heron 2")
    assert meet.open_cases(0) == []


def test_a_report_leaves_a_shared_case_to_the_others(meet: MeetAtHand) -> None:
    shared = meet.report(by="second")["case"]
    wrong = meet.report()
    assert wrong["case"] == shared
    moved = rewritten(meet, returned(meet, wrong), lane=3)
    assert moved["case"] != shared
    assert [one["official_name"] for one in meet.case(shared)["reports"]] == ["second"]
    assert meet.case(shared)["state"] == "open"


def test_a_flag_whose_lane_comes_with_the_report_moves_to_the_teams_case(
    meet: MeetAtHand,
) -> None:
    teams = meet.report(by="second")["case"]
    report, waiting = raise_flag(meet)
    assert waiting != teams
    assert write(meet, report)["case"] == teams
    assert meet.case(waiting)["joined_to"] == teams
    assert meet.open_cases() == [teams]


def test_a_flag_whose_lane_comes_with_the_report_keeps_its_case_where_there_is_no_other(
    meet: MeetAtHand,
) -> None:
    report, waiting = raise_flag(meet)
    assert write(meet, report)["case"] == waiting
    assert meet.case(waiting)["team_name"] == "Plover 1"


def test_a_report_whose_lane_turns_out_to_be_another_moves(meet: MeetAtHand) -> None:
    report, waiting = raise_flag(meet, lane=3)
    other = meet.report(by="second", lane=5)["case"]
    assert write(meet, report, lane=5)["case"] == other
    assert meet.case(waiting)["state"] == "joined"


def test_a_lane_without_a_team_gathers_its_reports_in_one_case(meet: MeetAtHand) -> None:
    first, second = meet.report(lane=9), meet.report(by="second", lane=9)
    assert first["case"] == second["case"]
    assert meet.case(first["case"])["team"] is None


def test_a_case_that_follows_its_report_to_a_team_ruled_on_before_names_that_ruling(
    meet: MeetAtHand,
) -> None:
    ruled = meet.report(by="second")["case"]
    assert meet.rule(ruled).status_code == 201
    report, waiting = raise_flag(meet)
    assert write(meet, report)["case"] == waiting
    assert meet.case(waiting)["further_of"] == ruled


def test_a_withdrawn_report_does_not_hold_a_case_open_when_the_last_other_moves(
    meet: MeetAtHand,
) -> None:
    target = meet.report(by="second", lane=5)["case"]
    withdrawn, wrong = meet.report(by="second", lane=4), meet.report(lane=4)
    meet["second"].post(
        f"reports/{withdrawn['id']}/withdraw", {"reason": "I saw lane 5."}, etag='"v1"'
    )
    assert rewritten(meet, returned(meet, wrong), lane=5)["case"] == target
    left = meet.case(wrong["case"])
    assert (left["state"], left["joined_to"]) == ("joined", target)
    assert [one["state"] for one in left["reports"]] == ["withdrawn"]


def test_a_case_whose_team_was_drawn_into_another_lane_stays_that_teams_open_case(
    meet: MeetAtHand,
) -> None:
    report = meet.report(lane=4)
    assert meet.draw_lanes({3: 4, 4: 3}).status_code == 200
    moved = rewritten(meet, returned(meet, report), lane=3)
    assert (moved["case"], moved["team"]) == (report["case"], report["team"])
    case = meet.case(report["case"])
    assert (case["state"], case["joined_to"], case["lane"]) == ("open", None, 3)
    assert meet.open_cases() == [report["case"]]


def test_a_shared_case_follows_its_team_to_the_lane_it_was_drawn_into(meet: MeetAtHand) -> None:
    report = meet.report(lane=4)
    meet.report(by="second", lane=4)
    meet.draw_lanes({3: 4, 4: 3})
    moved = rewritten(meet, returned(meet, report), lane=3)
    assert moved["case"] == report["case"]
    case = meet.case(report["case"])
    assert (case["lane"], len(case["reports"])) == (3, 2)


def test_whoever_read_a_shared_case_sees_that_a_report_has_left_it(meet: MeetAtHand) -> None:
    shared = meet.report(by="second")["case"]
    asked = returned(meet, meet.report())
    seen = meet.referee.get(f"cases/{shared}").headers["ETag"]
    rewritten(meet, asked, lane=3)
    address = f"cases/{shared}/rulings/{new_id()}"
    a_problem(meet.referee.put(address, a_ruling(), etag=seen), 412, "stale")
