"""Announcing over HTTP: signed, numbered, never changed, and open about what was still missing.

The time of the announcement starts the protest clock (World Athletics TR8.2, TR8.3). Explicit word
and reason where a post is silent or a case is open: the design's rule.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.builders import PIN, Json, MeetAtHand, a_problem

DESPITE = "The post at the first zone has no telephone."


@pytest.fixture
def ready(meet: MeetAtHand) -> MeetAtHand:
    """The first heat was run, every post has called white, and its list is loaded."""
    meet.start()
    for umpire in ("umpire", "second"):
        meet.call("white", by=umpire)
    assert meet.load_result().status_code == 201
    return meet


def shown(meet: MeetAtHand, announcement: str, kind: str = "json") -> str:
    answer = meet.service.http.get(f"/api/meets/{meet.id}/announcements/{announcement}.{kind}")
    assert answer.status_code == 200, answer.text
    return answer.text


def state_of(meet: MeetAtHand) -> str:
    return str(meet.referee.get(f"heats/{meet.heat()}").json()["state"])


def test_a_judged_heat_is_announced_without_a_further_word(ready: MeetAtHand) -> None:
    assert state_of(ready) == "judged"
    announced = ready.announce()
    assert announced.status_code == 201
    told = announced.json()
    assert (told["number"], told["supersedes"], told["despite"]) == (1, None, None)
    assert told["blockers"] == {"silent_posts": [], "open_cases": []}
    assert told["announced_by_name"] == "results"
    assert state_of(ready) == "announced"


def test_a_silent_post_needs_an_explicit_word_and_shows(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("white")
    meet.load_result()
    before = meet.head()
    told = a_problem(meet.announce(), 409, "needs-word")
    assert told["silent_posts"] == [meet.posts["second"]]
    assert told["open_cases"] == []
    assert told["errors"][0]["pointer"] == "/despite"
    assert meet.head() == before
    announced = meet.announce(despite=DESPITE).json()
    assert announced["despite"] == DESPITE
    assert announced["blockers"]["silent_posts"] == [meet.posts["second"]]


def test_an_open_case_needs_an_explicit_word_and_shows(ready: MeetAtHand) -> None:
    case = ready.report()["case"]
    told = a_problem(ready.announce(), 409, "needs-word")
    assert told["open_cases"] == [case]
    announced = ready.announce(despite=DESPITE).json()
    assert announced["blockers"]["open_cases"] == [case]
    assert "still awaited" in shown(ready, announced["id"], "txt")
    ready.rule(case, verdict="dismissed")
    assert ready.announce(despite=DESPITE).json()["despite"] is None


@pytest.mark.parametrize("despite", ["", "  ", "no", "x" * 4001])
def test_the_word_is_a_reason(meet: MeetAtHand, despite: str) -> None:
    meet.load_result()
    a_problem(meet.announce(despite=despite), 422, "malformed")


def test_an_announcement_names_the_result_that_was_looked_at(ready: MeetAtHand) -> None:
    case = ready.report()["case"]
    seen = ready.desk.get(f"heats/{ready.heat()}/result").headers["ETag"]
    ready.rule(case)
    before = ready.head()
    sent = {"heat": ready.heat(), "pin": PIN}
    address = f"announcements/{new_id()}"
    a_problem(ready.desk.put(address, sent), 428, "precondition-missing")
    a_problem(ready.desk.put(address, sent, etag=seen), 412, "stale")
    assert ready.head() == before


def test_a_heat_without_a_result_is_not_announced(meet: MeetAtHand) -> None:
    a_problem(meet.announce(despite=DESPITE), 409, "conflict")


def test_an_amended_result_supersedes_the_first_which_stays_as_it_was(ready: MeetAtHand) -> None:
    first = ready.announce().json()
    before = shown(ready, first["id"])
    ready.rule(ready.report()["case"])
    second = ready.announce(remark="Lane 4 is disqualified").json()
    assert (second["number"], second["supersedes"]) == (2, first["id"])
    assert [line["annotation"] for line in second["lines"]][-1] == "DQ TR24.7"
    # Beside the snapshot it is told which announcement stands now; the snapshot is the same text.
    after = shown(ready, first["id"])
    assert before.endswith(',"superseded_by":null}')
    assert after.startswith(before.removesuffix("null}"))
    assert json.loads(after)["superseded_by"]["id"] == second["id"]
    listed = ready.desk.get("announcements").json()["announcements"]
    latest = {one["id"]: one["is_latest"] for one in listed if one["heat"] == ready.heat()}
    assert latest == {first["id"]: False, second["id"]: True}


def test_the_same_announcement_again_is_the_same(ready: MeetAtHand) -> None:
    announcement, sent = new_id(), {"heat": ready.heat(), "pin": PIN}
    seen = ready.desk.get(f"heats/{ready.heat()}/result").headers["ETag"]
    address = f"announcements/{announcement}"
    first = ready.desk.put(address, sent, etag=seen)
    before = ready.head()
    again = ready.desk.put(address, sent, etag=seen)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    a_problem(ready.desk.put(address, sent | {"remark": "Other."}, etag=seen), 409, "id-taken")
    assert ready.head() == before


@pytest.mark.parametrize("seconds", [1, 60, 86_400])
def test_nothing_is_announced_in_the_future(ready: MeetAtHand, seconds: int) -> None:
    now = datetime(2026, 6, 13, 12, tzinfo=UTC)
    ready.service.clock.stand_at(now)
    before = ready.head()
    told = a_problem(
        ready.announce(announced_at=rfc3339(now + timedelta(seconds=seconds))), 422, "malformed"
    )
    assert told["errors"][0]["pointer"] == "/announced_at"
    assert ready.head() == before


def test_nothing_is_announced_as_of_yesterday(ready: MeetAtHand) -> None:
    at = datetime.now(UTC) - timedelta(hours=12, minutes=1)
    told = a_problem(ready.announce(announced_at=rfc3339(at)), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/announced_at"


def test_an_announcement_made_by_loudspeaker_is_entered_with_its_own_time(
    ready: MeetAtHand,
) -> None:
    at = datetime.now(UTC) - timedelta(minutes=7)
    told = ready.announce(announced_at=rfc3339(at)).json()
    assert datetime.fromisoformat(told["announced_at"]) == at
    assert datetime.fromisoformat(told["entered_at"]) > at
    closes = datetime.fromisoformat(told["windows"][0]["closes_at"])
    assert closes == at + timedelta(minutes=30)


def test_an_amended_result_is_not_announced_before_the_one_it_amends(ready: MeetAtHand) -> None:
    first = datetime.fromisoformat(ready.announce().json()["announced_at"])
    for at in (first, first - timedelta(seconds=1)):
        told = a_problem(
            ready.announce(announced_at=rfc3339(at), remark="Amended"), 422, "malformed"
        )
        assert "Announcement 1" in told["detail"]


@pytest.mark.parametrize("lanes", [range(1, 10), range(1, 8)])
def test_a_start_list_that_changed_under_a_finish_list_is_noticed(
    meet: MeetAtHand, lanes: range
) -> None:
    meet.load_result()
    event = meet.heats[0]["event_name"]
    rows = [f"{event},heats,1,{lane},Team in lane {lane}" for lane in lanes]
    changed = "\n".join(["event,round,heat,lane,team", *rows])
    assert meet.organiser.post("start-lists", content=changed).status_code == 200
    before = meet.head()
    told = a_problem(meet.announce(despite=DESPITE), 409, "conflict")
    assert "start list" in told["detail"]
    assert meet.head() == before


def test_a_heat_that_nobody_started_on_the_screen_can_be_announced(meet: MeetAtHand) -> None:
    meet.load_result()
    assert meet.announce(despite=DESPITE).status_code == 201
    told = a_problem(
        meet.referee.post(f"heats/{meet.heat()}/start", etag='"v2"'), 409, "not-possible"
    )
    assert told["possible"] == ["announce"]


def test_a_flag_after_the_announcement_is_kept_and_blocks_the_next(ready: MeetAtHand) -> None:
    ready.announce()
    late: Json = ready.call("yellow", lane=4).json()
    assert late["marks"] == ["heat was not running"]
    told = a_problem(ready.announce(), 409, "needs-word")
    assert told["open_cases"] == [late["case"]]


def test_announcements_are_listed_newest_first_page_by_page(meet: MeetAtHand) -> None:
    meet.load_result()
    made = [meet.announce(despite=DESPITE, remark=f"No {n}.").json()["id"] for n in range(51)]
    listed: list[str] = []
    before: str | None = ""
    while before is not None:
        page = meet.desk.get("announcements", params={"before": before} if before else None).json()
        listed += [one["id"] for one in page["announcements"] if one["heat"] == meet.heat()]
        before = page["next"]
    assert listed == made[::-1]
