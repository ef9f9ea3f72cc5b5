"""To which flag an account belongs whose umpire does not know the id under which it is awaited.

A yellow flag is followed by one written account (World Athletics CR20 and its notes, in secondary
texts); so a flag and its account are one report, by whichever id the account came.
"""

from __future__ import annotations

from typing import Any

import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_phone_clock, a_post, a_problem, a_report
from tests.running import Service


@pytest.fixture
def running(meet: MeetAtHand) -> MeetAtHand:
    meet.start()
    return meet


def relayed(meet: MeetAtHand, by: str = "referee", **changes: Any) -> Json:
    """A yellow flag that the head of the crew shows for the umpire's post."""
    call = meet.call("yellow", by=by, post=meet.posts["umpire"], **changes)
    assert call.status_code == 201, call.text
    return dict(call.json())


def read(meet: MeetAtHand, report: str) -> Json:
    return dict(meet.referee.get(f"reports/{report}").json())


def flag_of(meet: MeetAtHand, call: Json) -> str:
    """The report that a call points to now."""
    return str(meet.referee.get(f"calls/{call['id']}").json()["report"])


def awaited(meet: MeetAtHand) -> list[str]:
    """The reports of the heat's cases whose account is still to come."""
    return [
        report["id"]
        for case in meet.open_cases()
        for report in meet.case(case)["reports"]
        if report["state"] == "raised"
    ]


def withdraw(meet: MeetAtHand, report: str, by: str) -> Any:
    etag = meet.referee.get(f"reports/{report}").headers["ETag"]
    reason = {"reason": "The radio said lane 5."}
    return meet[by].post(f"reports/{report}/withdraw", reason, etag=etag)


@pytest.mark.parametrize("head", ["referee", "chief_umpire"])
def test_a_flag_told_by_radio_awaits_the_account_of_whoever_stands_at_the_post(
    running: MeetAtHand, head: str
) -> None:
    call = relayed(running, head, lane=4)
    assert (call["official"], call["marks"]) == (
        running[head].id,
        ["called by the head of the crew"],
    )
    assert call["counts"] is True
    report = read(running, call["report"])
    assert (report["official"], report["state"]) == (running.umpire.id, "raised")
    own = [one["id"] for one in running.umpire.get("reports").json()]
    assert call["report"] in own
    assert call["report"] not in [one["id"] for one in running[head].get("reports").json()]


def test_the_umpire_writes_the_account_of_a_flag_told_by_radio_and_the_referee_rules(
    running: MeetAtHand,
) -> None:
    call = relayed(running, lane=4)
    sent = a_report(running.heat(), running.posts["umpire"])
    written = running.umpire.put(f"reports/{call['report']}", sent)
    assert written.status_code == 201
    assert (written.json()["case"], written.json()["marks"]) == (call["case"], [])
    assert len(running.case(call["case"])["reports"]) == 1
    assert running.rule(call["case"]).status_code == 201


def test_the_referee_rules_on_a_flag_that_they_told_by_radio(running: MeetAtHand) -> None:
    call = relayed(running, lane=4)
    assert running.rule(call["case"], verdict="dismissed").status_code == 201


def test_whoever_told_a_flag_by_radio_takes_it_back_until_its_account_has_come(
    running: MeetAtHand,
) -> None:
    first, second = relayed(running, lane=3), relayed(running, lane=4)
    a_problem(withdraw(running, first["report"], by="second"), 403, "not-yours")
    a_problem(withdraw(running, first["report"], by="chief_umpire"), 403, "not-yours")
    gone = withdraw(running, first["report"], by="referee")
    assert (gone.status_code, gone.json()["state"]) == (200, "withdrawn")
    sent = a_report(running.heat(), running.posts["umpire"])
    assert running.umpire.put(f"reports/{second['report']}", sent).status_code == 201
    a_problem(withdraw(running, second["report"], by="referee"), 403, "not-yours")


def test_an_umpire_who_shows_a_flag_at_somebody_elses_post_writes_the_account(
    running: MeetAtHand,
) -> None:
    call = running.call("yellow", post=running.posts["second"], lane=5).json()
    assert (call["marks"], call["counts"]) == (["post of somebody else"], False)
    assert read(running, call["report"])["official"] == running.umpire.id


def test_a_flag_told_by_radio_belongs_to_the_post_as_it_was_at_the_start(
    service: Service,
) -> None:
    hand = a_meet(service)
    hand.start()
    plan = hand.organiser.get("crew")
    moved = [a_post(hand.posts["umpire"], hand["second"].id, take_over=3, lanes=[7])]
    hand.organiser.put("crew", {"posts": moved}, etag=plan.headers["ETag"])
    call = relayed(hand, lane=4)
    assert read(hand, call["report"])["official"] == hand.umpire.id


@pytest.mark.parametrize("lane", [4, None])
@pytest.mark.parametrize("told", ["shown", "by radio"])
def test_an_account_under_an_id_of_its_own_belongs_to_the_flag_that_awaits_it(
    running: MeetAtHand, told: str, lane: int | None
) -> None:
    call = (
        running.call("yellow", lane=lane).json() if told == "shown" else relayed(running, lane=lane)
    )
    account = running.report(lane=4)
    assert account["case"] == call["case"]
    assert flag_of(running, call) == account["id"]
    raised = read(running, call["report"])
    assert (raised["state"], raised["came_as"]) == ("withdrawn", account["id"])
    assert account["id"] in raised["remark"]
    assert account["raised_at"] == raised["raised_at"]
    assert awaited(running) == []
    assert running.open_cases() == [account["case"]]


def test_an_account_leaves_no_empty_case_where_its_flag_waited(running: MeetAtHand) -> None:
    teams = running.report(by="second", lane=4)["case"]
    call = running.call("yellow").json()
    account = running.report(lane=4)
    left = running.case(call["case"])
    assert account["case"] == teams
    assert (left["state"], left["joined_to"], left["reports"]) == ("joined", teams, [])
    assert running.open_cases() == [teams]


def test_the_result_awaits_no_account_of_a_flag_whose_account_has_come(
    running: MeetAtHand,
) -> None:
    call = relayed(running, lane=4)
    running.rule(call["case"], verdict="dismissed")
    account = running.report(lane=4)
    assert account["case"] != call["case"]
    running.rule(account["case"])
    running.call("white", by="second")
    running.load_result()
    assert running.desk.get(f"heats/{running.heat()}/result").json()["in_the_way"] == []


def test_the_flag_of_the_same_lane_comes_before_one_whose_lane_is_not_known(
    running: MeetAtHand,
) -> None:
    unknown, other = running.call("yellow").json(), running.call("yellow", lane=3).json()
    same = running.call("yellow", lane=4).json()
    running.report(lane=4)
    assert awaited(running) == [unknown["report"], other["report"]]
    running.report(lane=4)
    assert awaited(running) == [other["report"]]
    assert read(running, same["report"])["state"] == "withdrawn"


def test_the_oldest_of_several_flags_without_a_lane_comes_first(running: MeetAtHand) -> None:
    running.call("yellow")
    later = running.call("yellow").json()
    running.report(lane=4)
    assert awaited(running) == [later["report"]]


def test_a_flag_that_names_its_report_awaits_the_account_under_that_id(
    running: MeetAtHand,
) -> None:
    call = running.call("yellow", lane=4, report=new_id()).json()
    running.report(lane=4)
    assert awaited(running) == [call["report"]]
    assert flag_of(running, call) == call["report"]


@pytest.mark.parametrize(
    "changes", [{"lane": 3}, {"by": "second"}, {"post": None, "take_over": 1}, {"heat": 1}]
)
def test_an_account_of_something_else_leaves_the_flag_waiting(
    running: MeetAtHand, changes: Json
) -> None:
    call = running.call("yellow", lane=4).json()
    running.report(**changes)
    assert awaited(running) == [call["report"]]


def test_a_phone_that_writes_to_the_flag_after_all_is_heard(running: MeetAtHand) -> None:
    call = running.call("yellow", lane=4).json()
    account = running.report(lane=4)
    sent = a_report(running.heat(), running.posts["umpire"], words="The same, sent again.")
    address = f"reports/{call['report']}"
    a_problem(running.umpire.put(address, sent, etag='"v1"'), 412, "stale")
    a_problem(running["second"].put(address, sent), 409, "id-taken")
    late = running.umpire.put(address, sent)
    assert (late.status_code, late.json()["state"]) == (201, "written")
    assert (late.json()["remark"], late.json()["came_as"]) == (None, None)
    assert late.json()["case"] == account["case"]
    assert running.umpire.put(address, sent).status_code == 200
    states = [one["state"] for one in running.case(account["case"])["reports"]]
    assert states == ["written", "written"]


def test_a_further_flag_that_names_what_stood_back_is_a_flag_of_its_own(
    running: MeetAtHand,
) -> None:
    call = running.call("yellow", lane=4).json()
    running.report(lane=4)
    further = running.call("yellow", lane=4, report=call["report"]).json()
    assert further["report"] != call["report"]
    assert awaited(running) == [further["report"]]


def test_an_account_belongs_to_its_flag_also_where_both_came_before_the_start(
    meet: MeetAtHand,
) -> None:
    call = meet.call("yellow").json()
    account = meet.report(lane=4)
    assert (account["case"], account["run"]) == (call["case"], 1)
    assert awaited(meet) == []


def test_what_its_umpire_took_back_is_not_written_all_the_same(running: MeetAtHand) -> None:
    call = running.call("yellow", lane=4).json()
    assert withdraw(running, call["report"], by="umpire").status_code == 200
    sent = a_report(running.heat(), running.posts["umpire"])
    a_problem(running.umpire.put(f"reports/{call['report']}", sent), 409, "id-taken")
    account = running.report(lane=4)
    assert flag_of(running, call) == call["report"] != account["id"]


def test_an_account_that_took_the_place_of_a_flag_can_be_withdrawn_with_it(
    running: MeetAtHand,
) -> None:
    running.call("yellow", lane=4)
    account = running.report(lane=4)
    assert withdraw(running, account["id"], by="umpire").status_code == 200
    posts = running.referee.get(f"heats/{running.heat()}/posts").json()["posts"]
    lines = {line["post"]: line for line in posts}
    line = lines[running.posts["umpire"]]
    assert (line["flag"], line["withdrawn"]) == ("yellow", True)


@pytest.mark.parametrize("named", [True, False])
@pytest.mark.parametrize("first", ["shown", "by radio"])
def test_a_flag_that_was_shown_and_told_by_radio_is_one_flag(
    running: MeetAtHand, first: str, named: bool
) -> None:
    report = new_id() if named else None
    if first == "shown":
        shown = running.call("yellow", lane=4, report=report).json()
        radio = relayed(running, lane=4)
    else:
        radio = relayed(running, lane=4)
        shown = running.call("yellow", lane=4, report=report).json()
    sent = a_report(running.heat(), running.posts["umpire"])
    account = shown["report"] if named else new_id()
    assert running.umpire.put(f"reports/{account}", sent).status_code == 201
    assert awaited(running) == []
    assert flag_of(running, shown) == flag_of(running, radio) == account


def test_the_account_under_the_id_of_a_flag_told_by_radio_is_that_of_the_flag_shown(
    running: MeetAtHand,
) -> None:
    radio, shown = relayed(running, lane=4), running.call("yellow", lane=4).json()
    sent = a_report(running.heat(), running.posts["umpire"])
    assert running.umpire.put(f"reports/{radio['report']}", sent).status_code == 201
    assert awaited(running) == []
    assert flag_of(running, shown) == radio["report"]
    assert read(running, radio["report"])["state"] == "written"


def test_two_flags_of_one_umpire_are_two_accounts_to_come(running: MeetAtHand) -> None:
    first, named = running.call("yellow", lane=4).json(), new_id()
    running.call("yellow", lane=4, report=named)
    sent = a_report(running.heat(), running.posts["umpire"])
    assert running.umpire.put(f"reports/{named}", sent).status_code == 201
    assert awaited(running) == [first["report"]]


def test_an_account_that_came_late_has_the_marks_of_its_flag(running: MeetAtHand) -> None:
    running.call("yellow", lane=4)
    running.call("white", by="second")
    running.load_result()
    assert running.announce(despite="The account is to come.").status_code == 201
    assert running.report(lane=4)["marks"] == []
    assert running.report(lane=4)["marks"] == ["came after the result was announced"]


def test_the_same_account_again_is_the_same_and_the_flag_too(running: MeetAtHand) -> None:
    flag = {"id": new_id(), "lane": 4, "clock": a_phone_clock()}
    running.call("yellow", **flag)
    report, sent = new_id(), a_report(running.heat(), running.posts["umpire"])
    first = running.umpire.put(f"reports/{report}", sent)
    before = running.head()
    again = running.umpire.put(f"reports/{report}", sent)
    assert (again.status_code, again.json()) == (200, first.json())
    assert running.call("yellow", **flag).json()["report"] == report
    assert running.head() == before


def test_a_flag_told_by_radio_for_a_post_that_left_the_plan_is_still_its_umpires(
    service: Service,
) -> None:
    stadium = a_meet(service)
    seen = stadium.organiser.get("crew")
    kept = [post for post in seen.json()["posts"] if post["official"] != stadium.umpire.id]
    names = ("id", "official", "take_over", "edge", "lanes", "side", "relays")
    plan = {"posts": [{name: post[name] for name in names} for post in kept]}
    put = stadium.organiser.put("crew", plan, etag=seen.headers["ETag"])
    assert put.status_code == 200
    stadium.start()
    told = stadium.call("yellow", by="referee", post=stadium.posts["umpire"], lane=4).json()
    assert told["marks"] == ["post no longer in the crew plan"]
    mine = [one["id"] for one in stadium.umpire.get("reports").json()]
    assert told["report"] in mine
    assert stadium.rule(told["case"], verdict="dismissed").status_code == 201
