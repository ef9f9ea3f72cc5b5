"""Flags over HTTP: white says nothing to report, yellow opens a case at once.

World Athletics CR20 and its notes, in secondary texts: a yellow flag is followed by a written
report straight away, without waiting for anybody's protest.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.builders import (
    Json,
    MeetAtHand,
    a_call,
    a_meet,
    a_phone_clock,
    a_post,
    a_problem,
    a_report,
)
from tests.running import Service


def state_of(meet: MeetAtHand) -> str:
    return str(meet.referee.get(f"heats/{meet.heat()}").json()["state"])


def test_yellow_alone_opens_a_case(meet: MeetAtHand) -> None:
    meet.start()
    call = meet.call("yellow", lane=4).json()
    case = meet.case(call["case"])
    assert meet.open_cases() == [case["id"]]
    assert (case["state"], case["lane"], case["team_name"]) == ("open", 4, "Plover 1")
    assert [report["state"] for report in case["reports"]] == ["raised"]
    assert case["reports"][0]["finding"] is None


def test_a_flag_names_the_team_of_its_lane_so_that_a_slip_is_seen_at_once(
    meet: MeetAtHand,
) -> None:
    meet.start()
    call = meet.call("yellow", lane=3).json()
    assert (call["team"], call["team_name"]) == (meet.heats[0]["lanes"][2]["team"], "Heron 1")
    assert meet.umpire.get(f"calls/{call['id']}").json() == call
    empty = meet.call("yellow", lane=9).json()
    assert (empty["team"], empty["team_name"]) == (None, None)
    assert meet.call("white").json()["team_name"] is None


def test_white_opens_nothing(meet: MeetAtHand) -> None:
    meet.start()
    call = meet.call("white").json()
    assert (call["case"], call["report"]) == (None, None)
    assert meet.open_cases() == []


def test_yellow_without_a_lane_waits_in_a_case_of_its_own(meet: MeetAtHand) -> None:
    meet.start()
    first = meet.call("yellow").json()["case"]
    second = meet.call("yellow", by="second").json()["case"]
    assert meet.open_cases() == [first, second]
    assert (meet.case(first)["lane"], meet.case(first)["team"]) == (None, None)


def test_two_yellow_flags_for_a_lane_are_one_case(meet: MeetAtHand) -> None:
    meet.start()
    first = meet.call("yellow", lane=4).json()
    second = meet.call("yellow", by="second", lane=4).json()
    assert first["case"] == second["case"]
    assert first["report"] != second["report"]


def test_a_heat_is_judged_when_the_last_post_has_called(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("white")
    assert state_of(meet) == "running"
    meet.call("white")
    assert state_of(meet) == "running"
    meet.call("yellow", by="second", lane=5)
    assert state_of(meet) == "judged"


def test_a_post_for_other_lanes_or_relays_is_not_awaited(service: Service) -> None:
    hand = a_meet(service, umpires=())
    posts = [
        a_post(hand.posts["umpire"], hand.umpire.id),
        a_post(new_id(), hand.umpire.id, relays=["4x400"]),
    ]
    seen = hand.organiser.get("crew")
    hand.organiser.put("crew", {"posts": posts}, etag=seen.headers["ETag"])
    hand.start()
    hand.call("white")
    assert state_of(hand) == "judged"


def test_who_is_silent_is_told_post_by_post(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("yellow", lane=3)
    seen = meet.desk.get(f"heats/{meet.heat()}/posts").json()
    flags = {line["post"]: line["flag"] for line in seen["posts"]}
    assert flags == {meet.posts["umpire"]: "yellow", meet.posts["second"]: None}
    assert seen["silent"] == 1


def withdraw(meet: MeetAtHand, report: str, by: str = "umpire") -> None:
    reason = {"reason": "It was the team in the next lane."}
    etag = meet[by].get(f"reports/{report}").headers["ETag"]
    assert meet[by].post(f"reports/{report}/withdraw", reason, etag=etag).status_code == 200


def test_a_yellow_flag_that_was_withdrawn_is_not_told_as_white(meet: MeetAtHand) -> None:
    meet.start()
    call = meet.call("yellow", lane=4).json()
    withdraw(meet, call["report"])
    line = posts_of(meet)[meet.posts["umpire"]]
    assert (line["flag"], line["withdrawn"]) == ("yellow", True)
    assert (line["called_at"], line["called_by"]) == (call["received_at"], meet.umpire.id)
    assert meet.desk.get(f"heats/{meet.heat()}/posts").json()["silent"] == 1


@pytest.mark.parametrize("flags", [("white", "yellow"), ("yellow", "white")])
def test_a_white_flag_that_was_shown_counts_when_the_yellow_was_withdrawn(
    meet: MeetAtHand, flags: tuple[str, str]
) -> None:
    meet.start()
    by = {"white": "chief_umpire", "yellow": "umpire"}
    post = meet.posts["umpire"]
    shown = {flag: meet.call(flag, by=by[flag], post=post).json() for flag in flags}
    withdraw(meet, shown["yellow"]["report"])
    line = posts_of(meet)[post]
    assert (line["flag"], line["withdrawn"]) == ("white", False)
    assert line["called_at"] == shown["white"]["received_at"]
    assert line["called_by"] == meet["chief_umpire"].id


def test_a_yellow_flag_that_stands_counts_beside_one_that_was_withdrawn(meet: MeetAtHand) -> None:
    meet.start()
    stands, gone = meet.call("yellow", lane=3).json(), meet.call("yellow", lane=4).json()
    withdraw(meet, gone["report"])
    line = posts_of(meet)[meet.posts["umpire"]]
    assert (line["flag"], line["withdrawn"]) == ("yellow", False)
    assert line["called_at"] == stands["received_at"]


def test_a_written_report_that_stands_counts_as_the_yellow_flag_of_its_post(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = meet.report()
    line = posts_of(meet)[meet.posts["umpire"]]
    assert (line["flag"], line["withdrawn"]) == ("yellow", False)
    assert (line["called_at"], line["called_by"]) == (report["raised_at"], meet.umpire.id)
    meet.call("white", by="second")
    meet.load_result()
    blockers = meet.desk.get(f"heats/{meet.heat()}/result").json()["blockers"]
    assert (blockers["silent_posts"], blockers["open_cases"]) == ([], [report["case"]])
    withdraw(meet, report["id"])
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None


def test_a_report_from_somebody_elses_post_or_of_another_run_does_not_speak_for_the_post(
    meet: MeetAtHand,
) -> None:
    meet.report()
    meet.start()
    meet.report(by="second", post=meet.posts["umpire"])
    meet.report(by="referee", post=meet.posts["umpire"])
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None
    meet.report()
    meet.hold_back()
    meet.start()
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None


def test_an_account_awaited_of_a_recalled_start_is_not_in_the_way_of_the_next(
    meet: MeetAtHand,
) -> None:
    meet.start()
    flag = meet.call("yellow", lane=4).json()
    meet.report(by="second")
    meet.rule(flag["case"], verdict="dismissed")
    meet.hold_back()
    meet.start()
    for umpire in ("umpire", "second"):
        meet.call("white", by=umpire)
    meet.load_result()
    assert meet.desk.get(f"heats/{meet.heat()}/result").json()["in_the_way"] == []
    assert meet.announce().status_code == 201


def test_an_account_of_a_flag_before_the_start_is_still_awaited(meet: MeetAtHand) -> None:
    flag = meet.call("yellow", lane=4).json()
    meet.report(by="second")
    meet.rule(flag["case"], verdict="dismissed")
    meet.start()
    meet.load_result()
    blockers = meet.desk.get(f"heats/{meet.heat()}/result").json()["blockers"]
    assert blockers["awaited_accounts"] == [flag["report"]]


@pytest.mark.parametrize(
    ("changes", "marks"),
    [
        ({"lane": 4}, []),
        ({"lane": 6}, ["lane outside the post"]),
        ({"lane": 9}, ["no team in this lane", "lane outside the post"]),
    ],
)
def test_what_is_odd_about_a_flag_is_kept_and_marked(
    meet: MeetAtHand, changes: Json, marks: list[str]
) -> None:
    meet.start()
    call = meet.call("yellow", **changes)
    assert call.status_code == 201
    assert call.json()["marks"] == marks
    assert meet.case(call.json()["case"])["reports"][0]["marks"] == marks


def test_a_flag_for_a_heat_that_does_not_run_or_from_anothers_post_is_kept_and_marked(
    meet: MeetAtHand,
) -> None:
    early = meet.call("yellow", lane=4)
    assert early.json()["marks"] == ["heat was not running"]
    meet.start()
    others = meet.call("yellow", post=meet.posts["second"], lane=4)
    assert others.json()["marks"] == ["post of somebody else"]


def test_the_same_flag_again_is_the_same_flag(meet: MeetAtHand) -> None:
    same = {"id": new_id(), "lane": 4, "report": new_id(), "clock": a_phone_clock()}
    first = meet.call("yellow", **same)
    before = meet.head()
    again = meet.call("yellow", **same)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert meet.head() == before


def test_another_flag_under_the_same_id_is_refused(meet: MeetAtHand) -> None:
    call = meet.call("white").json()["id"]
    before = meet.head()
    a_problem(meet.call("yellow", id=call, lane=4), 409, "id-taken")
    a_problem(meet.call("white", id=call, by="second"), 409, "id-taken")
    assert meet.head() == before


@pytest.mark.parametrize(
    "changes", [{"lane": 4}, {"report": "01936f2e-7b1c-7cc3-98c4-dc0c0c07398f"}]
)
def test_a_white_flag_has_no_lane_and_no_report(meet: MeetAtHand, changes: Json) -> None:
    a_problem(meet.call("white", **changes), 422, "malformed")


def test_an_unknown_heat_or_post_is_not_found(meet: MeetAtHand) -> None:
    before = meet.head()
    a_problem(meet.call(post=new_id()), 404, "not-found")
    lost = a_call(new_id(), meet.posts["umpire"])
    a_problem(meet.umpire.put(f"calls/{new_id()}", lost), 404, "not-found")
    assert meet.head() == before


def test_a_report_that_overtook_its_flag_stands_and_the_flag_joins_it(meet: MeetAtHand) -> None:
    meet.start()
    report = new_id()
    sent = a_report(meet.heat(), meet.posts["umpire"])
    written = meet.umpire.put(f"reports/{report}", sent).json()
    call = meet.call("yellow", lane=4, report=report).json()
    assert (call["report"], call["case"]) == (report, written["case"])
    assert meet.umpire.get(f"reports/{report}").json() == written
    assert len(meet.case(written["case"])["reports"]) == 1
    seen = meet.desk.get(f"heats/{meet.heat()}/posts").json()
    assert seen["silent"] == 1


def test_a_flag_cannot_take_the_report_of_another_umpire(meet: MeetAtHand) -> None:
    report = meet.report(by="second")["id"]
    a_problem(meet.call("yellow", lane=4, report=report), 409, "id-taken")


def test_the_docket_lists_the_oldest_case_first_page_by_page(service: Service) -> None:
    hand = a_meet(service, heats=20)
    hand.start()
    opened = [hand.call("yellow", heat=number // 4).json()["case"] for number in range(53)]
    first = hand.referee.get("docket").json()
    assert (first["open"], len(first["cases"])) == (53, 50)
    assert [line["id"] for line in hand.docket()] == opened


def posts_of(meet: MeetAtHand) -> dict[str, Json]:
    """What each post has shown, by post."""
    seen = meet.referee.get(f"heats/{meet.heat()}/posts").json()["posts"]
    return {line["post"]: line for line in seen}


def test_a_flag_at_somebody_elses_post_leaves_that_post_silent(meet: MeetAtHand) -> None:
    meet.start()
    call = meet.call("yellow", lane=5, post=meet.posts["second"]).json()
    assert call["marks"] == ["post of somebody else"]
    assert posts_of(meet)[meet.posts["second"]]["flag"] is None
    assert meet.open_cases() == [call["case"]]
    meet.call("white")
    assert state_of(meet) == "running"


def test_the_head_of_the_crew_calls_for_a_post_that_reports_by_radio(meet: MeetAtHand) -> None:
    meet.start()
    post = meet.posts["second"]
    meet.call("white", by="chief_umpire", post=post)
    seen = posts_of(meet)[post]
    assert (seen["flag"], seen["official"]) == ("white", meet["second"].id)
    assert (seen["called_by"], seen["called_by_name"]) == (meet["chief_umpire"].id, "chief_umpire")


def test_a_flag_shown_before_the_start_does_not_speak_for_the_race(meet: MeetAtHand) -> None:
    meet.call("white")
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None
    meet.start()
    meet.call("white", by="second")
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None
    assert state_of(meet) == "running"


def test_after_a_recalled_start_every_post_is_asked_again(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("white")
    meet.hold_back()
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None
    meet.start()
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None
    meet.call("white", by="second")
    assert state_of(meet) == "running"
    meet.call("white")
    assert state_of(meet) == "judged"


@pytest.mark.parametrize("slip", [{"heat": 1}, {"post": "second"}])
def test_a_flag_that_names_a_report_about_something_else_still_opens_its_case(
    meet: MeetAtHand, slip: Json
) -> None:
    meet.start(slip.get("heat", 0))
    report = meet.report(lane=3)
    post = meet.posts[slip.get("post", "umpire")]
    heat = slip.get("heat", 0)
    call = meet.call("yellow", heat=heat, post=post, lane=5, report=report["id"]).json()
    assert call["report"] != report["id"]
    assert call["case"] != report["case"]
    assert meet.case(call["case"])["heat"] == meet.heat(heat)
    assert call["case"] in meet.open_cases(heat)


def test_the_docket_shows_the_first_reports_of_a_case_and_how_many_there_are(
    meet: MeetAtHand,
) -> None:
    told = [meet.report(words=f"Seen again, {n}.")["id"] for n in range(12)]
    other = meet.report(lane=5)
    lines = {line["id"]: line for line in meet.docket()}
    case = meet.referee.get(f"reports/{told[0]}").json()["case"]
    assert [line["id"] for line in lines[case]["reports"]] == told[:10]
    assert lines[case]["reports_in_all"] == 12
    assert len(meet.case(case)["reports"]) == 12
    assert [line["id"] for line in lines[other["case"]]["reports"]] == [other["id"]]
    assert lines[other["case"]]["reports_in_all"] == 1


def test_the_docket_shows_withdrawn_reports_behind_those_that_stand(meet: MeetAtHand) -> None:
    gone, stands, later = meet.report(), meet.report(), meet.report(by="second")
    withdraw(meet, gone["id"])
    (line,) = [line for line in meet.docket() if line["id"] == gone["case"]]
    told = [(one["id"], one["state"]) for one in line["reports"]]
    assert told == [
        (stands["id"], "written"),
        (later["id"], "written"),
        (gone["id"], "withdrawn"),
    ]


def test_a_flag_of_a_recalled_start_that_comes_late_does_not_speak_for_the_next(
    meet: MeetAtHand,
) -> None:
    meet.start()
    shown = a_phone_clock(offset_ms=0, error_ms=0)
    meet.hold_back()
    meet.start()
    late = meet.call("white", clock=shown).json()
    assert (late["marks"], late["counts"]) == (["shown before the heat was started"], False)
    assert posts_of(meet)[meet.posts["umpire"]]["flag"] is None
    assert meet.call("white").json()["counts"] is True


def test_a_phone_whose_clock_was_never_compared_speaks_when_it_is_heard(meet: MeetAtHand) -> None:
    meet.start()
    clock = {"at": "2026-06-13T12:00:00Z"}
    assert meet.call("white", clock=clock).json()["counts"] is True


def test_a_heat_that_was_judged_can_still_be_recalled(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("white")
    meet.call("white", by="second")
    assert state_of(meet) == "judged"
    meet.hold_back()
    assert state_of(meet) == "to come"


def test_a_second_flag_under_the_same_report_is_a_report_of_its_own(meet: MeetAtHand) -> None:
    meet.start()
    first = meet.call("yellow", lane=3, report=new_id()).json()
    second = meet.call("yellow", lane=4, report=first["report"]).json()
    same = meet.call("yellow", lane=3, report=first["report"]).json()
    assert len({first["report"], second["report"], same["report"]}) == 3
    assert meet.open_cases() == [first["case"], second["case"]]
    assert same["case"] == first["case"]


def test_the_flag_of_a_written_report_joins_it_also_when_it_was_ruled_on_meanwhile(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = meet.report()
    meet.rule(report["case"])
    call = meet.call("yellow", lane=4, report=report["id"]).json()
    assert (call["report"], call["case"]) == (report["id"], report["case"])
    assert meet.open_cases() == []


def test_the_yellow_flag_names_who_showed_it(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("yellow", lane=4)
    meet.call("white", by="chief_umpire", post=meet.posts["umpire"])
    seen = posts_of(meet)[meet.posts["umpire"]]
    assert (seen["flag"], seen["called_by"]) == ("yellow", meet.umpire.id)


def test_the_record_says_whether_a_call_ended_a_silence(meet: MeetAtHand) -> None:
    meet.call("white")
    meet.start()
    meet.call("white")
    bodies = [json.loads(json.loads(line)["body"]) for line in exported(meet) if "body" in line]
    runs = [
        body["run"]
        for body in bodies
        if body and body.get("heat") == meet.heat() and body.get("flag") == "white"
    ]
    assert runs == [None, 1]


def exported(meet: MeetAtHand) -> list[str]:
    return list(meet.referee.get("record").text.splitlines())


def test_a_report_of_a_recalled_start_says_so(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report()
    assert report["marks"] == []
    meet.hold_back()
    meet.start()
    second = meet.report(by="second")
    marks = {one["id"]: one["marks"] for one in meet.case(report["case"])["reports"]}
    recalled = ["from a recalled start of the heat"]
    assert marks == {report["id"]: recalled, second["id"]: []}
    (line,) = [line for line in meet.docket() if line["id"] == report["case"]]
    assert [one["marks"] for one in line["reports"]] == [recalled, []]


def test_a_ruling_of_a_recalled_start_is_looked_at_again_before_the_result_is_announced(
    meet: MeetAtHand,
) -> None:
    meet.start()
    ruling = meet.rule(meet.report()["case"]).json()
    meet.hold_back()
    meet.start()
    for umpire in ("umpire", "second"):
        meet.call("white", by=umpire)
    meet.load_result()
    told = a_problem(meet.announce(), 409, "needs-word")
    assert told["shaken_rulings"] == [ruling["id"]]
    meet.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"])
    assert meet.announce().status_code == 201


def test_a_flag_for_another_lane_is_not_the_flag_of_a_report_that_came_first(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = meet.report(lane=3)
    call = meet.call("yellow", lane=4, report=report["id"]).json()
    assert call["report"] != report["id"]
    assert meet.open_cases() == [report["case"], call["case"]]


@pytest.mark.parametrize(("error_ms", "counts"), [(0, False), (2_000, True)])
def test_a_flag_is_early_only_beyond_the_error_of_its_clock(
    meet: MeetAtHand, error_ms: int, counts: bool
) -> None:
    meet.start()
    began = datetime.fromisoformat(meet.referee.get(f"heats/{meet.heat()}").json()["started_at"])
    at = rfc3339(began - timedelta(seconds=1))
    clock = {"at": at, "offset_ms": 0, "error_ms": error_ms}
    assert meet.call("white", clock=clock).json()["counts"] is counts
