"""The server's clock is stepped by an hour while a meet runs: nothing is lost or out of order, no
window moves, and nobody waits longer than without it.

A machine that started with a wrong clock is set right by the network in one step (common practice).
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest

from app.ids import new_id
from tests.builders import MeetAtHand, a_problem, a_report, a_ruling
from tests.faults.own_process import is_ready, wait_for
from tests.people import PIN
from tests.running import Service

HOUR = timedelta(hours=1)
steps = pytest.mark.parametrize("step", [HOUR, -HOUR], ids=["forward", "back"])


def entries(meet: MeetAtHand) -> list[dict[str, object]]:
    lines = meet.referee.get("record").text.splitlines()[:-1]
    return [json.loads(json.loads(line)["entry"]) for line in lines]


@steps
def test_the_record_goes_on_in_its_order_and_keeps_what_the_clock_said(
    meet: MeetAtHand, step: timedelta
) -> None:
    first = meet.report(lane=3)
    meet.service.clock.move(step)
    second = meet.report(lane=4)
    told = entries(meet)
    assert [one["seq"] for one in told] == list(range(1, len(told) + 1))
    subjects = [one["subject"] for one in told]
    assert subjects.index(first["id"]) < subjects.index(second["id"])
    at = [
        datetime.fromisoformat(str(told[subjects.index(one["id"])]["at"]))
        for one in (first, second)
    ]
    assert timedelta(0) <= at[1] - at[0] - step < timedelta(minutes=1)
    assert meet.rule(first["case"]).status_code == 201
    assert meet.rule(second["case"]).status_code == 201


@steps
def test_a_window_stays_where_it_was_when_it_was_opened(meet: MeetAtHand, step: timedelta) -> None:
    assert meet.load_result().status_code == 201
    assert meet.announce(despite="None called.").status_code == 201
    before = windows(meet)
    assert before
    meet.service.clock.move(step)
    assert windows(meet) == before
    protest = {
        "heat": meet.heat(),
        "team": meet.heats[0]["lanes"][3]["team"],
        "about": "placing",
        "lodged_by": "Mira Anchor",
        "words": "The baton was inside the zone.",
    }
    lodged = meet.desk.put(f"protests/{new_id()}", protest)
    assert lodged.status_code == 201, lodged.text
    # Half an hour is over by the server's clock then; by hand the time can be put right.
    assert lodged.json()["timeliness"]["in_time"] == (step < timedelta(0)), lodged.text


def windows(meet: MeetAtHand) -> list[tuple[str, str]]:
    told = meet.desk.get("windows.json").json()["windows"]
    return [(one["opened_at"], one["closes_at"]) for one in told]


@steps
def test_sessions_answers_and_readiness_outlast_a_step(meet: MeetAtHand, step: timedelta) -> None:
    report, sent = new_id(), a_report(meet.heat(), meet.posts["umpire"])
    assert meet.umpire.put(f"reports/{report}", sent).status_code == 201
    wait_for(meet.service.http, is_ready)
    meet.service.clock.move(step)
    wait_for(meet.service.http, is_ready)
    assert meet.umpire.put(f"reports/{report}", sent).status_code == 200
    assert meet.umpire.get("/api/me").status_code == 200
    case = meet.umpire.get(f"reports/{report}").json()["case"]
    document = a_ruling(pin=PIN)
    version = meet.referee.get(f"cases/{case}").headers["ETag"]
    ruled = meet.referee.put(f"cases/{case}/rulings/{new_id()}", document, etag=version)
    assert ruled.status_code == 201, ruled.text


@steps
def test_a_personal_link_outlasts_a_step(meet: MeetAtHand, step: timedelta) -> None:
    link = meet.organiser.put(f"officials/{meet.umpire.id}/join-links/{new_id()}").json()
    meet.service.clock.move(step)
    sent = {"token": link["token"], "session": new_id(), "pin": PIN}
    assert meet.service.http.post("/api/join", json=sent).status_code == 200
    again = meet.service.http.post("/api/join", json={**sent, "session": new_id()})
    a_problem(again, 403, "join-refused")


@steps
def test_what_is_followed_live_comes_on_after_a_step(
    service: Service, meet: MeetAtHand, step: timedelta
) -> None:
    size = meet.head()["size"]
    headers = {"Authorization": f"Bearer {meet.referee.token}", "Last-Event-ID": str(size)}
    with service.http.stream("GET", f"/api/meets/{meet.id}/feed", headers=headers) as feed:
        service.clock.move(step)
        report = meet.report()["id"]
        assert any(str(report) in line for line in feed.iter_lines())
