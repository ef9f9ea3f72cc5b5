"""A fresh report does not go round the jury: its decision is final (World Athletics TR8.11)."""

from __future__ import annotations

import httpx

from tests.appeals.desk import (
    a_panel,
    a_protest,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.builders import Json, MeetAtHand, a_problem


def reported_again(meet: MeetAtHand, **changes: object) -> httpx.Response:
    """Another umpire reports lane 4, and the case is confirmed."""
    report = meet.report(by="second", **changes)
    return meet.rule(report["case"], infringement=report["finding"]["infringement"])


def test_what_the_jury_set_aside_is_not_put_back_by_a_fresh_report(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    told = a_problem(reported_again(meet), 409, "conflict")
    assert "appeal 1" in told["detail"]
    assert "TR8.11" in told["detail"]


def test_the_case_says_before_the_ruling_that_the_jury_has_decided(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    report = meet.report(by="second")
    foreseen = meet["referee"].get(f"cases/{report['case']}/consequences").json()
    assert "its decision is final" in foreseen["note"]
    assert foreseen["if_confirmed"]["moves"] == []


def test_a_report_that_was_withdrawn_opens_no_way_past_the_jury(meet: MeetAtHand) -> None:
    """That a withdrawn report supports no ruling is common practice."""
    an_upheld_appeal(meet)
    case = meet.report(by="second")["case"]
    helped = meet.report(by="second", observation={"seen": "help_given"})
    assert helped["case"] == case
    both = meet["referee"].get(f"cases/{case}/consequences").json()
    assert both["note"] == "Confirmed, the team would be disqualified."
    seen = meet["second"].get(f"reports/{helped['id']}").headers["ETag"]
    gone = meet["second"].post(
        f"reports/{helped['id']}/withdraw", {"reason": "Another lane."}, etag=seen
    )
    assert gone.status_code == 200, gone.text
    foreseen = meet["referee"].get(f"cases/{case}/consequences").json()
    assert "its decision is final" in foreseen["note"]
    assert foreseen["if_confirmed"]["moves"] == []


def test_the_fresh_case_can_be_dismissed(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    report = meet.report(by="second")
    assert meet.rule(report["case"], verdict="dismissed").status_code == 201


def test_another_take_over_is_another_matter(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    report = meet.report(by="chief_umpire", post=None, take_over=3)
    assert meet.rule(report["case"]).status_code == 201


def test_a_take_over_that_nobody_named_may_be_the_same(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    report = meet.report(by="chief_umpire", post=None)
    a_problem(meet.rule(report["case"]), 409, "conflict")


def test_another_infringement_is_another_matter(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    report = meet.report(by="second", observation={"seen": "help_given"})
    assert meet.rule(report["case"], infringement="help_given").status_code == 201


def test_a_race_that_is_run_again_is_another_matter(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    meet.hold_back()
    meet.start()
    assert reported_again(meet).status_code == 201


def test_what_the_referee_alone_decided_is_looked_at_again(meet: MeetAtHand) -> None:
    """CR18.6 (from memory): on any available evidence the referee may reconsider."""
    meet.start()
    first = meet.rule(meet.report()["case"]).json()
    assert meet.load_result().status_code == 201
    announced(meet)
    protest = lodge(meet, a_protest(meet, first))
    decided(meet, protest, "upheld", orders=set_aside(first))
    assert reported_again(meet).status_code == 201


def a_dismissal_the_jury_let_stand(meet: MeetAtHand) -> Json:
    """Lane 4 was reported and not disqualified; the team in lane 5 went to the jury in vain."""
    meet.start()
    ruling = meet.rule(meet.report()["case"], verdict="dismissed").json()
    assert meet.load_result().status_code == 201
    announced(meet)
    document = a_protest(meet, ruling, team=team(meet, 5))
    protest = lodge(meet, document)
    decided(meet, protest)
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    answer = jury_decides(meet, lodged, names[0], "rejected")
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def test_what_the_jury_let_stand_as_dismissed_is_not_confirmed_by_a_fresh_report(
    meet: MeetAtHand,
) -> None:
    a_dismissal_the_jury_let_stand(meet)
    told = a_problem(reported_again(meet), 409, "conflict")
    assert "dismissed" in told["detail"]


def test_a_dismissal_nobody_appealed_binds_nobody(meet: MeetAtHand) -> None:
    meet.start()
    assert meet.rule(meet.report()["case"], verdict="dismissed").status_code == 201
    assert reported_again(meet).status_code == 201
