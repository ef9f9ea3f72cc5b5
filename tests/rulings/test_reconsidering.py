"""A ruling is reconsidered by a later one that names it; what it put on the result goes with it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_problem, a_report, a_ruling, add_official
from tests.reports.test_reports import returned, rewritten
from tests.rulings.test_rulings import disqualifications
from tests.running import Service


def ruling(meet: MeetAtHand, ruling_id: str) -> Json:
    return dict(meet.referee.get(f"rulings/{ruling_id}").json())


def test_a_reconsidered_ruling_sets_its_disqualification_aside(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    first = meet.rule(case).json()
    assert meet.annotations() == {4: "DQ TR24.7"}
    second = meet.rule(
        case, verdict="dismissed", reconsiders=first["id"], reasons="The video shows the line."
    )
    assert second.status_code == 201
    (one,) = disqualifications(meet)
    assert (one["state"], one["set_aside_by"]) == ("set aside", second.json()["id"])
    assert meet.annotations() == {}
    assert ruling(meet, first["id"])["replaced_by"] == second.json()["id"]
    assert meet.case(case)["rulings"] == [first["id"], second.json()["id"]]
    assert meet.case(case)["state"] == "ruled"


def test_a_team_may_be_disqualified_after_all(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    first = meet.rule(case, verdict="dismissed").json()
    meet.rule(case, reconsiders=first["id"])
    assert [one["state"] for one in disqualifications(meet)] == ["in force"]
    assert meet.annotations() == {4: "DQ TR24.7"}


def test_another_infringement_replaces_the_first_and_both_stay_known(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    first = meet.rule(case).json()
    meet.rule(case, reconsiders=first["id"], infringement="help_given")
    states = {one["rule"]: one["state"] for one in disqualifications(meet)}
    assert states == {"TR24.7": "set aside", "TR6.3": "in force"}
    assert meet.annotations() == {4: "DQ TR6.3"}


def test_only_the_ruling_that_stands_can_be_reconsidered(meet: MeetAtHand) -> None:
    case, other = meet.report(lane=4)["case"], meet.report(lane=3)["case"]
    first, elsewhere = meet.rule(case).json(), meet.rule(other).json()
    meet.rule(case, verdict="dismissed", reconsiders=first["id"])
    before = meet.head()
    for named in (first["id"], elsewhere["id"], new_id()):
        a_problem(meet.rule(case, reconsiders=named), 409, "conflict")
    assert meet.head() == before


def test_an_open_case_is_not_reconsidered(meet: MeetAtHand) -> None:
    told = a_problem(meet.rule(meet.report()["case"], reconsiders=new_id()), 409, "not-possible")
    assert told["state"] == "open"


def test_a_further_case_leaves_the_first_ruling_in_force(meet: MeetAtHand) -> None:
    meet.rule(meet.report()["case"])
    further = meet.report(by="second")["case"]
    meet.rule(further, verdict="dismissed")
    assert [one["state"] for one in disqualifications(meet)] == ["in force"]
    assert meet.annotations() == {4: "DQ TR24.7"}


def test_a_team_disqualified_twice_stands_once_with_both_rules(meet: MeetAtHand) -> None:
    meet.rule(meet.report()["case"])
    meet.rule(meet.report(by="second")["case"], infringement="help_given")
    assert meet.annotations() == {4: "DQ TR24.7, TR6.3"}


def test_a_report_written_again_after_the_ruling_is_still_named_on_the_case(
    meet: MeetAtHand,
) -> None:
    report = returned(meet, meet.report())
    meet.report(by="second")
    first = meet.rule(report["case"]).json()
    assert meet.case(report["case"])["gone_on"] == []
    seen = meet.umpire.get(f"reports/{report['id']}").json()
    moved = rewritten(meet, seen, words="It was at the line.")
    assert moved["case"] != report["case"]
    ruled, further = meet.case(report["case"]), meet.case(moved["case"])
    assert ruled["gone_on"] == [{"report": report["id"], "case": moved["case"]}]
    assert further["further_of"] == report["case"]
    assert ruling(meet, first["id"])["replaced_by"] is None


def test_whoever_reported_before_the_ruling_does_not_reconsider_it(meet: MeetAtHand) -> None:
    author = add_official(meet, f"referee who saw it {new_id()}", "referee")
    sent = {"post": None, "take_over": 1}
    report = meet.report(by=author.name, **sent)
    meet.report(by="second")
    asked = meet.referee.post(f"reports/{report['id']}/return", {"reason": "How far?"}, etag='"v1"')
    first = meet.rule(report["case"]).json()
    again = a_report(meet.heat(), None, take_over=1, words="By a metre.")
    etag = asked.headers["ETag"]
    assert author.put(f"reports/{report['id']}", again, etag=etag).status_code == 200
    body = a_ruling(verdict="dismissed", reconsiders=first["id"])
    case = author.get(f"cases/{report['case']}")
    address = f"cases/{report['case']}/rulings/{new_id()}"
    a_problem(author.put(address, body, etag=case.headers["ETag"]), 403, "own-report")


def test_a_clock_that_is_set_back_leaves_one_ruling_standing(service: Service) -> None:
    hand = a_meet(service, umpires=())
    case = hand.report()["case"]
    now = datetime.now(UTC)
    first = hand.rule(case).json()
    service.clock.stand_at(now - timedelta(minutes=10))
    second = hand.rule(case, verdict="dismissed", reconsiders=first["id"]).json()
    again = hand.rule(case, reconsiders=first["id"])
    a_problem(again, 409, "conflict")
    third = hand.rule(case, reconsiders=second["id"])
    assert third.status_code == 201
    assert hand.case(case)["rulings"][-1] == third.json()["id"]
    standing = [
        one for one in hand.case(case)["rulings"] if ruling(hand, one)["replaced_by"] is None
    ]
    assert standing == [third.json()["id"]]


def test_whoever_reported_in_a_case_that_was_joined_does_not_rule(service: Service) -> None:
    hand = a_meet(service, terms={"chief_umpire_rules": True})
    own = {"by": "chief_umpire", "post": None, "take_over": 1, "lane": 9}
    seen = hand.report(**own)
    moved = hand.report(lane=9)
    assert seen["case"] == moved["case"]
    reason = {"reason": "It was somebody else."}
    chief = hand["chief_umpire"]
    chief.post(f"reports/{seen['id']}/withdraw", reason, etag='"v1"')
    target = hand.report(by="second")["case"]
    asked = hand.referee.post(f"reports/{moved['id']}/return", {"reason": "Which?"}, etag='"v1"')
    again = a_report(hand.heat(), hand.posts["umpire"])
    hand.umpire.put(f"reports/{moved['id']}", again, etag=asked.headers["ETag"])
    assert hand.case(seen["case"])["joined_to"] == target
    a_problem(hand.rule(target, by="chief_umpire"), 403, "own-report")
