"""Protests under the edition nfhs-2019: what they are about decides whether and until when.

NFHS 3-5-3 and 3-5-4, as presented in a state association's slides.
"""

from __future__ import annotations

from datetime import timedelta

import httpx
import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    an_announced_disqualification,
    an_appeal,
    decided,
    lodge,
    set_aside,
)
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_problem
from tests.running import Service


@pytest.fixture
def school(service: Service) -> MeetAtHand:
    today = service.clock.now().date().isoformat()
    return a_meet(service, edition="nfhs-2019", first_day=today, last_day=today)


def put(meet: MeetAtHand, document: Json, by: str = "results") -> httpx.Response:
    return meet[by].put(f"protests/{new_id()}", document)


def test_the_ground_is_asked_for_in_the_editions_words(school: MeetAtHand) -> None:
    ruling = an_announced_disqualification(school)
    told = a_problem(put(school, a_protest(school, ruling)), 422, "malformed")
    for kind in ("misapplication of rules", "clerical or scoring error", "ineligible participant"):
        assert kind in told["detail"]
    assert told["errors"][0]["pointer"] == "/ground"
    unknown = put(school, a_protest(school, ruling, ground="protest"))
    assert "knows no such ground" in a_problem(unknown, 422, "malformed")["detail"]


def test_a_misapplication_of_rules_is_protested_within_half_an_hour(school: MeetAtHand) -> None:
    ruling = an_announced_disqualification(school)
    sent = a_protest(school, ruling, ground="misapplication of rules")
    protest = lodge(school, sent)
    assert protest["timeliness"]["rule"] == "3-5-3a"
    assert protest["timeliness"]["in_time"] is True
    school.service.clock.move(timedelta(minutes=31))
    assert lodge(school, sent)["marks"] == ["late"]


def test_a_judgement_call_is_not_protestable_but_by_the_referees_recorded_word(
    school: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(school)
    sent = a_protest(school, ruling, ground="judgement")
    told = a_problem(put(school, sent), 409, "not-protestable")
    assert "judgement call" in told["detail"]
    assert "3-5-4" in told["detail"]
    why = "The umpire has asked for it."
    by_desk = put(school, {**sent, "allowed_because": why})
    assert "Only the referee" in a_problem(by_desk, 409, "not-protestable")["detail"]
    taken = put(school, {**sent, "allowed_because": why}, by="referee")
    assert taken.status_code == 201, taken.text
    assert taken.json()["allowed_because"] == why
    record = school.service.http.get(
        f"/api/meets/{school.id}/record",
        headers={"Authorization": f"Bearer {school.referee.token}"},
    )
    assert why in record.text


def test_a_clerical_error_is_protested_until_two_days_after_the_meet(school: MeetAtHand) -> None:
    an_announced_disqualification(school)
    sent = a_protest(school, ground="clerical or scoring error")
    protest = lodge(school, sent)
    assert protest["timeliness"]["margin_seconds"] is None
    assert protest["timeliness"]["words"] == "in time: no closing time"
    school.service.clock.move(timedelta(hours=1))
    ended = school.service.clock.now()
    out = school.organiser.put("end", {"ended_at": rfc3339(ended), "pin": PIN})
    assert out.status_code in {200, 201}, out.text
    measured = school.desk.get(f"protests/{protest['id']}").json()["timeliness"]
    # 48 hours, and the hour before the meet ended.
    assert measured["margin_seconds"] == pytest.approx(49 * 3600, abs=5)
    assert measured["rule"] == "3-5-3b"
    school.service.clock.stand_at(ended + timedelta(hours=48))
    assert lodge(school, sent)["marks"] == []
    school.service.clock.stand_at(ended + timedelta(hours=48, seconds=1))
    assert lodge(school, sent)["marks"] == ["late"]


def test_who_may_not_run_is_protested_any_time(school: MeetAtHand) -> None:
    an_announced_disqualification(school)
    school.service.clock.move(timedelta(days=5))
    protest = lodge(school, a_protest(school, ground="ineligible participant"))
    assert protest["marks"] == []
    assert protest["timeliness"]["rule"] == "3-5-3c"


def test_no_deposit_is_taken_where_none_is_asked(school: MeetAtHand) -> None:
    ruling = an_announced_disqualification(school)
    sent = a_protest(school, ruling, ground="misapplication of rules")
    protest = lodge(school, sent)
    decided(school, protest)
    school.desk.put(f"protests/{protest['id']}/advice", {})
    paid = school.desk.put(f"appeals/{new_id()}", an_appeal(school, protest))
    told = a_problem(paid, 422, "malformed")
    assert "asks for no deposit" in told["detail"]
    assert told["errors"][0]["pointer"] == "/deposit"
    free = an_appeal(school, protest)
    del free["deposit"]
    lodged = school.desk.put(f"appeals/{new_id()}", free)
    assert lodged.status_code == 201, lodged.text
    assert lodged.json()["state"] == "admitted"
    late_paid = school.desk.put(
        f"appeals/{lodged.json()['id']}/deposit",
        {"amount": 100, "currency": "USD", "receipt": "R-1"},
    )
    a_problem(late_paid, 422, "malformed")


def test_world_athletics_lets_a_judgement_be_protested(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling, ground="judgement"))
    assert (protest["ground"], protest["timeliness"]["rule"]) == ("judgement", "TR8.2")
    assert decided(meet, protest, "upheld", orders=set_aside(ruling))["state"] == "upheld"
