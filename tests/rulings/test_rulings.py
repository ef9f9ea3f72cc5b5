"""Ruling over HTTP: confirmed or dismissed, by the head official, as the case was read.

The referee rules, and does not umpire (IAAF Rule 125, 2016-17); whoever reported never rules on it
(the design's rule). Numbers after DQ: TR24.7 (secondary rule texts), NFHS 5-10 (2020, as presented
by a state association), IAAF Rule 170.7 (2012).
"""

from __future__ import annotations

import pytest

from app.ids import new_id
from tests.builders import (
    Json,
    MeetAtHand,
    a_meet,
    a_meet_document,
    a_problem,
    a_report,
    a_ruling,
    add_official,
)
from tests.running import Service

BEGUN = {"seen": "pass_begun_before_zone", "baton": {"metres": -2.0, "uncertainty": 0.2}}
RULING = ("umpire", "referee")


def disqualifications(meet: MeetAtHand) -> list[Json]:
    """Those of the first heat, also those set aside."""
    found = meet.referee.get("disqualifications").json()
    return [one for one in found if one["heat"] == meet.heat()]


def withdrawn(meet: MeetAtHand, report: Json) -> None:
    answer = meet[report["official_name"]].post(
        f"reports/{report['id']}/withdraw", {"reason": "I was mistaken."}, etag='"v1"'
    )
    assert answer.status_code == 200, answer.text


def test_a_confirmed_case_disqualifies_with_its_rule(meet: MeetAtHand) -> None:
    report = meet.report()
    ruling = meet.rule(report["case"])
    assert ruling.status_code == 201
    told = ruling.json()
    assert (told["verdict"], told["effect"], told["rule"]) == ("confirmed", "DQ TR24.7", "TR24.7")
    assert (told["official_name"], told["lane"], told["edition"]) == (
        "referee",
        4,
        "world-athletics-2025",
    )
    (one,) = disqualifications(meet)
    assert (one["state"], one["team_name"], one["by_ruling"]) == (
        "in force",
        "Plover 1",
        told["id"],
    )
    assert meet.case(report["case"])["state"] == "ruled"
    assert meet.umpire.get(f"reports/{report['id']}").json()["state"] == "ruled"
    assert meet.open_cases() == []


def test_a_dismissed_case_disqualifies_nobody(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    told = meet.rule(case, verdict="dismissed", reasons="The line hid the baton.").json()
    assert told["effect"] == "no disqualification"
    assert (told["infringement"], told["disqualification"]) == (None, None)
    assert disqualifications(meet) == []
    assert meet.case(case)["state"] == "ruled"


def test_a_dismissal_names_no_infringement(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    before = meet.head()
    answer = meet.rule(case, verdict="dismissed", infringement="help_given")
    a_problem(answer, 422, "malformed")
    assert meet.head() == before


def test_nobody_rules_on_a_case_they_reported_in(meet: MeetAtHand) -> None:
    report = meet.report(by="referee", post=None, take_over=1)
    before = meet.head()
    a_problem(meet.rule(report["case"]), 403, "own-report")
    assert meet.head() == before
    other = add_official(meet, "second referee", "referee")
    assert meet.rule(report["case"], by=other.name).status_code == 201


def test_a_withdrawn_report_still_keeps_its_author_from_ruling(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    withdrawn(meet, meet.report(by="referee", post=None, take_over=1))
    a_problem(meet.rule(case), 403, "own-report")


def test_the_chief_umpire_rules_only_where_the_meet_lets_them(
    meet: MeetAtHand, service: Service
) -> None:
    case = meet.report()["case"]
    before = meet.head()
    a_problem(meet.rule(case, by="chief_umpire"), 403, "role-missing")
    assert meet.head() == before
    other = a_meet(
        service, roles=("umpire", "chief_umpire"), umpires=(), terms={"chief_umpire_rules": True}
    )
    ruled = other.rule(other.report()["case"], by="chief_umpire")
    assert ruled.json()["official_name"] == "chief_umpire"


def test_a_ruling_names_the_case_as_it_was_read(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    seen = meet.referee.get(f"cases/{case}").headers["ETag"]
    meet.report(by="second")
    before = meet.head()
    address = f"cases/{case}/rulings/{new_id()}"
    a_problem(meet.referee.put(address, a_ruling()), 428, "precondition-missing")
    told = a_problem(meet.referee.put(address, a_ruling(), etag=seen), 412, "stale")
    assert "added to this case meanwhile" in told["detail"]
    assert meet.head() == before


def test_whoever_comes_second_is_told_who_was_first(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    seen = meet.referee.get(f"cases/{case}").headers["ETag"]
    meet.rule(case, verdict="dismissed")
    address = f"cases/{case}/rulings/{new_id()}"
    told = a_problem(meet.referee.put(address, a_ruling(), etag=seen), 412, "stale")
    assert "referee has ruled on this case meanwhile: dismissed" in told["detail"]


def test_the_same_ruling_again_is_the_same_ruling(meet: MeetAtHand) -> None:
    case, ruling = meet.report()["case"], new_id()
    seen = meet.referee.get(f"cases/{case}").headers["ETag"]
    address = f"cases/{case}/rulings/{ruling}"
    first = meet.referee.put(address, a_ruling(), etag=seen)
    before = meet.head()
    again = meet.referee.put(address, a_ruling(), etag=seen)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    a_problem(meet.referee.put(address, a_ruling(reasons="Others."), etag=seen), 409, "id-taken")
    assert meet.head() == before
    assert len(disqualifications(meet)) == 1


def test_a_case_that_was_ruled_on_is_not_ruled_on_anew(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    first = meet.rule(case).json()["id"]
    told = a_problem(meet.rule(case), 409, "not-possible")
    assert told["possible"] == ["reconsider"]
    assert f"To reconsider, name the ruling that stands: “reconsiders”: “{first}”" in told["detail"]
    second = meet.rule(case, verdict="dismissed", reconsiders=first).json()["id"]
    assert f"“reconsiders”: “{second}”" in a_problem(meet.rule(case), 409, "not-possible")["detail"]


def test_a_case_without_a_team_can_be_dismissed_and_not_confirmed(meet: MeetAtHand) -> None:
    case = meet.report(lane=9)["case"]
    a_problem(meet.rule(case), 409, "conflict")
    assert meet.open_cases() == [case]
    assert meet.rule(case, verdict="dismissed").status_code == 201


def test_where_reports_differ_the_ruling_says_what_is_confirmed(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    meet.report(by="second", observation=BEGUN)
    told = a_problem(meet.rule(case), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/infringement"
    ruled = meet.rule(case, infringement="pass_begun_before_zone")
    assert ruled.json()["infringement"] == "pass_begun_before_zone"


def test_a_withdrawn_report_is_not_asked(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    withdrawn(meet, meet.report(by="second", observation=BEGUN))
    assert meet.rule(case).json()["infringement"] == "pass_completed_beyond_zone"


def test_a_flag_alone_is_confirmed_only_with_what_it_was(meet: MeetAtHand) -> None:
    meet.start()
    case = meet.call("yellow", lane=4).json()["case"]
    a_problem(meet.rule(case), 422, "malformed")
    assert meet.rule(case, infringement="help_given").status_code == 201


def test_the_head_official_may_confirm_where_the_finding_could_not_tell(meet: MeetAtHand) -> None:
    unsure = {"seen": "pass_completed_beyond_zone"}
    assert meet.rule(meet.report(observation=unsure)["case"]).json()["effect"] == "DQ TR24.7"


@pytest.mark.parametrize(
    ("edition", "effect"),
    [
        ("world-athletics-2017", "DQ TR24.7"),
        ("world-athletics-2025", "DQ TR24.7"),
        ("nfhs-2019", "DQ 5-10"),
        ("older-20-plus-10", "DQ R170.7"),
    ],
)
def test_the_rule_after_dq_is_that_of_the_meets_edition(
    service: Service, edition: str, effect: str
) -> None:
    hand = a_meet(service, roles=RULING, umpires=(), heats=1, edition=edition)
    ruled = hand.rule(hand.report()["case"]).json()
    assert (ruled["effect"], ruled["edition"]) == (effect, edition)


def test_a_change_of_edition_leaves_what_was_ruled_before(service: Service) -> None:
    hand = a_meet(service, roles=RULING, umpires=(), heats=1)
    first = hand.rule(hand.report(lane=4)["case"]).json()
    organiser = {"id": hand.organiser.id, "name": hand.organiser.name}
    document = a_meet_document(edition="nfhs-2019", organiser=organiser)
    changed = hand.organiser.put(f"/api/meets/{hand.id}", document, etag='"v1"')
    assert changed.status_code == 200
    assert hand.rule(hand.report(lane=3)["case"]).json()["effect"] == "DQ 5-10"
    assert hand.referee.get(f"rulings/{first['id']}").json() == first


def test_the_record_keeps_what_was_signed(meet: MeetAtHand) -> None:
    ruling = meet.rule(meet.report()["case"]).json()
    line = next(
        line for line in meet.referee.get("record").text.splitlines() if ruling["id"] in line
    )
    assert ruling["statement_digest"] in line


def test_an_unknown_case_or_ruling_is_not_found(meet: MeetAtHand) -> None:
    before = meet.head()
    a_problem(meet.rule(new_id()), 404, "not-found")
    for path in ("rulings/{}", "rulings/{}/form.pdf", "cases/{}"):
        a_problem(meet.referee.get(path.format(new_id())), 404, "not-found")
    assert meet.head() == before


def test_a_case_of_withdrawn_reports_alone_is_not_confirmed(meet: MeetAtHand) -> None:
    report = meet.report()
    withdrawn(meet, report)
    told = a_problem(meet.rule(report["case"], infringement="help_given"), 409, "conflict")
    assert "withdrawn" in told["detail"]
    assert meet.rule(report["case"], verdict="dismissed").status_code == 201


def test_a_disqualification_stands_in_the_lane_where_the_team_was_drawn_at_last(
    meet: MeetAtHand,
) -> None:
    case = meet.report(lane=4)["case"]
    meet.draw_lanes({3: 4, 4: 3})
    assert meet.report(by="second", lane=3)["case"] == case
    ruling = meet.rule(case).json()
    assert ruling["lane"] == 3
    assert meet.annotations() == {3: "DQ TR24.7"}


def test_a_ruling_names_the_lane_that_was_drawn_after_all_reports_had_come(
    meet: MeetAtHand,
) -> None:
    case = meet.report(lane=4)["case"]
    meet.draw_lanes({3: 4, 4: 3})
    meet.start()
    assert meet.case(case)["lane"] == 4
    ruling = meet.rule(case).json()
    assert (ruling["lane"], ruling["team_name"]) == (3, "Plover 1")
    assert meet.case(case)["lane"] == 3
    assert [one["lane"] for one in disqualifications(meet)] == [3]


def test_a_report_that_turned_out_to_be_about_another_team_decides_nothing_on_this_one(
    meet: MeetAtHand,
) -> None:
    step = {
        "seen": "lane_infringement",
        "on_bend": "yes",
        "inner_line": "yes",
        "steps": 1,
        "distance_gained": "no",
        "other_team_impeded": "no",
    }
    report = meet.report(observation=step)
    meet.report(by="second", observation=step)
    asked = meet.referee.post(f"reports/{report['id']}/return", {"reason": "Which?"}, etag='"v1"')
    first = meet.rule(report["case"]).json()
    seen = meet.referee.get(f"cases/{report['case']}").headers["ETag"]
    grave = step | {"distance_gained": "yes"}
    again = a_report(meet.heat(), meet.posts["umpire"], lane=3, observation=grave)
    meet.umpire.put(f"reports/{report['id']}", again, etag=asked.headers["ETag"])
    body = a_ruling(reconsiders=first["id"])
    address = f"cases/{report['case']}/rulings/{new_id()}"
    a_problem(meet.referee.put(address, body, etag=seen), 412, "stale")
    assert meet.rule(report["case"], reconsiders=first["id"]).json()["effect"] == "L"
