"""Announcing over HTTP: signed, numbered, never changed, and open about what was still missing.

The time of the announcement starts the protest clock (World Athletics TR8.2, TR8.3). Explicit word
and reason where a post is silent or a case is open: the design's rule.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Connection, event

from app.clock import rfc3339
from app.ids import MeetId, new_id
from app.results.announcements import announcements_page
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_meet_document, a_post, a_problem
from tests.rulings.test_lane_infringements import ruled, with_a_final
from tests.running import Service

DAY = timedelta(days=1)
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
    assert told["blockers"] == {
        "silent_posts": [],
        "open_cases": [],
        "shaken_rulings": [],
        "shaken_disqualifications": [],
        "awaited_accounts": [],
        "not_started": False,
        "no_posts": False,
    }
    assert told["announced_by_name"] == "results"
    assert state_of(ready) == "announced"


def test_a_silent_post_needs_an_explicit_word_and_shows(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("white")
    meet.load_result()
    before = meet.head()
    told = a_problem(meet.announce(), 409, "needs-word")
    assert told["silent_posts"] == [meet.posts["second"]]
    assert told["in_the_way"] == ["Silent: take-over 1, end, lanes 4–5, inside (second)."]
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
    words = "This result is announced although one case awaited a ruling."
    assert words in shown(ready, announced["id"], "txt").splitlines()
    ready.rule(case, verdict="dismissed")
    assert ready.announce(remark="No report is awaited any more").json()["despite"] is None


def test_a_word_that_nothing_calls_for_is_refused(ready: MeetAtHand) -> None:
    told = a_problem(ready.announce(despite=DESPITE), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/despite"


def test_the_word_covers_only_what_stood_in_the_way_when_the_result_was_looked_at(
    ready: MeetAtHand,
) -> None:
    ready.report()
    seen = ready.desk.get(f"heats/{ready.heat()}/result").headers["ETag"]
    ready.report(by="second", lane=5)
    sent = {"heat": ready.heat(), "pin": PIN, "despite": DESPITE}
    a_problem(ready.desk.put(f"announcements/{new_id()}", sent, etag=seen), 412, "stale")


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
    said, _, known_later = before.partition(',"superseded_by":')
    assert known_later.startswith("null")
    assert after.startswith(f'{said},"superseded_by":')
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
    at = datetime.now(UTC)
    ready.service.clock.stand_at(at + timedelta(minutes=7))
    told = ready.announce(announced_at=rfc3339(at)).json()
    assert datetime.fromisoformat(told["announced_at"]) == at
    assert datetime.fromisoformat(told["entered_at"]) > at
    closes = datetime.fromisoformat(told["windows"][0]["closes_at"])
    assert closes == at + timedelta(minutes=30)


@pytest.mark.parametrize("moment", ["its start", "its ruling"])
def test_nothing_is_announced_before_the_heat_began_or_a_ruling_it_shows(
    ready: MeetAtHand, moment: str
) -> None:
    if moment == "its ruling":
        ready.rule(ready.report()["case"])
    began = ready.referee.get(f"heats/{ready.heat()}").json()["started_at"]
    at = datetime.fromisoformat(began) + timedelta(milliseconds=0 if moment == "its ruling" else -1)
    told = a_problem(ready.announce(announced_at=rfc3339(at)), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/announced_at"
    assert ("start" if moment == "its start" else "ruling") in told["detail"]


def test_an_amended_result_is_not_announced_before_the_one_it_amends(ready: MeetAtHand) -> None:
    began = ready.referee.get(f"heats/{ready.heat()}").json()["started_at"]
    ready.service.clock.stand_at(datetime.fromisoformat(began) + timedelta(minutes=5))
    first = datetime.fromisoformat(ready.announce().json()["announced_at"])
    for at in (first, first - timedelta(seconds=1)):
        told = a_problem(
            ready.announce(announced_at=rfc3339(at), remark="Amended"), 422, "malformed"
        )
        assert "Announcement 1" in told["detail"]


@pytest.mark.parametrize(("before", "after"), [(7, 8), (8, 7)])
def test_a_start_list_that_changed_under_a_finish_list_is_noticed(
    meet: MeetAtHand, before: int, after: int
) -> None:
    list_teams(meet, before)
    times = "\n".join(["lane,time", *(f"{lane},4{lane}.00" for lane in range(1, before + 1))])
    assert meet.load_result(content=times).status_code == 201
    list_teams(meet, after)
    head = meet.head()
    told = a_problem(meet.announce(despite=DESPITE), 409, "conflict")
    assert "start list" in told["detail"]
    assert meet.head() == head


def list_teams(meet: MeetAtHand, lanes: int) -> None:
    event = meet.heats[0]["event_name"]
    rows = [f"{event},heats,1,{lane},Team in lane {lane}" for lane in range(1, lanes + 1)]
    listed = "\n".join(["event,round,heat,lane,team", *rows])
    assert meet.organiser.post("start-lists", content=listed).status_code == 200


def test_times_are_never_announced_for_teams_that_have_changed_lanes_since(
    meet: MeetAtHand,
) -> None:
    meet.load_result()
    seen = meet.desk.get(f"heats/{meet.heat()}/result")
    assert meet.draw_lanes({3: 4, 4: 3}).status_code == 200
    sent = {"heat": meet.heat(), "pin": PIN, "despite": DESPITE}
    stale = meet.desk.put(f"announcements/{new_id()}", sent, etag=seen.headers["ETag"])
    a_problem(stale, 412, "stale")
    told = meet.desk.get(f"heats/{meet.heat()}/result").json()
    assert told["is_list_outdated"] is True
    assert told["lines"] == []
    a_problem(meet.announce(despite=DESPITE), 409, "conflict")
    etag = meet.desk.get(f"heats/{meet.heat()}/result").headers["ETag"]
    again = "\n".join(["lane,time", *(f"{lane},4{lane}.00" for lane in range(1, 9))])
    loaded = meet.desk.put(f"heats/{meet.heat()}/result", content=again, etag=etag)
    assert (loaded.status_code, loaded.json()["is_list_outdated"]) == (200, False)
    lines = {
        line["lane"]: line["team_name"] for line in meet.announce(despite=DESPITE).json()["lines"]
    }
    assert (lines[3], lines[4]) == ("Plover 1", "Heron 1")


def holds(meet: MeetAtHand) -> tuple[bool, list[bool]]:
    """What the result says of its announcement, and what the list says, newest first."""
    told = meet.desk.get(f"heats/{meet.heat()}/result").json()["announced"]["holds"]
    listed = meet.desk.get("announcements").json()["announcements"]
    return told, [one["holds"] for one in listed if one["heat"] == meet.heat()]


def test_the_desk_sees_that_an_announced_result_no_longer_holds(ready: MeetAtHand) -> None:
    case = ready.report()["case"]
    ruling = ready.rule(case).json()["id"]
    ready.announce()
    assert holds(ready) == (True, [True])
    ready.rule(case, verdict="dismissed", reconsiders=ruling)
    assert holds(ready) == (False, [False])
    ready.announce(remark="The ruling on lane 4 was reconsidered")
    assert holds(ready) == (True, [True, False])


def test_a_finish_list_that_is_replaced_shows_on_what_was_announced(ready: MeetAtHand) -> None:
    ready.announce()
    etag = ready.desk.get(f"heats/{ready.heat()}/result").headers["ETag"]
    other = "\n".join(["lane,time", *(f"{lane},5{lane}.00" for lane in range(1, 9))])
    assert ready.desk.put(f"heats/{ready.heat()}/result", content=other, etag=etag).is_success
    assert holds(ready) == (False, [False])


def test_a_flag_that_comes_late_is_no_news(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("white")
    meet.load_result()
    meet.announce(despite=DESPITE)
    meet.call("white", by="second")
    a_problem(meet.announce(), 409, "needs-word")


def test_of_two_desks_that_looked_at_the_same_one_announces(ready: MeetAtHand) -> None:
    ready.announce()
    seen = ready.desk.get(f"heats/{ready.heat()}/result").headers["ETag"]
    sent = {"heat": ready.heat(), "pin": PIN, "remark": "It was not heard"}
    answers = [ready.desk.put(f"announcements/{new_id()}", sent, etag=seen) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 412]


def test_windows_that_the_meet_has_changed_since_are_looked_at_again(service: Service) -> None:
    hand = a_meet(service, roles=("results",), umpires=(), heats=1)
    hand.load_result()
    seen = hand.desk.get(f"heats/{hand.heat()}/result").headers["ETag"]
    organiser = {"id": hand.organiser.id, "name": hand.organiser.name}
    shorter = a_meet_document(organiser=organiser, terms={"protest_minutes": 15})
    etag = hand.organiser.get(f"/api/meets/{hand.id}").headers["ETag"]
    changed = hand.organiser.put(f"/api/meets/{hand.id}", shorter, etag=etag)
    assert changed.status_code == 200, changed.text
    sent = {"heat": hand.heat(), "pin": PIN}
    a_problem(hand.desk.put(f"announcements/{new_id()}", sent, etag=seen), 412, "stale")


def test_another_writing_of_an_affiliation_leaves_an_announcement_as_good_as_it_was(
    ready: MeetAtHand,
) -> None:
    ready.announce()
    known = ready.heats[0]
    header = "event,round,heat,lane,team,affiliation,bib"
    rows = [
        f"{known['event_name']},{known['round']},{known['number']},{lane['lane']},{lane['name']},"
        f"New {lane['affiliation']},{lane['bib']}"
        for lane in known["lanes"]
    ]
    loaded = ready.organiser.post("start-lists", content="\n".join([header, *rows]))
    assert loaded.status_code == 200, loaded.text
    line = ready.desk.get(f"heats/{ready.heat()}/result").json()["lines"][0]
    assert line["affiliation"].startswith("New ")
    assert holds(ready) == (True, [True])


def test_a_window_that_is_over_already_is_opened_only_with_a_reason(service: Service) -> None:
    hand = a_meet(service, roles=("results",), umpires=(), heats=1)
    hand.load_result()
    at = rfc3339(datetime.now(UTC) - timedelta(minutes=31))
    told = a_problem(hand.announce(announced_at=at, despite=DESPITE), 409, "needs-word")
    assert told["errors"][0]["pointer"] == "/remark"
    late = hand.announce(announced_at=at, remark="The desk was offline", despite=DESPITE)
    assert late.status_code == 201


def test_a_window_that_ends_on_another_day_is_read_aloud_with_its_day(service: Service) -> None:
    terms = {"protest_minutes": 3 * 24 * 60}
    hand = a_meet(service, roles=("results",), umpires=(), heats=1, terms=terms)
    service.clock.stand_at(datetime(2026, 6, 13, 12, tzinfo=UTC))
    hand.load_result()
    text = shown(hand, hand.announce(despite=DESPITE).json()["id"], "txt")
    assert "until 16 June 2026, 14:00:00 CEST" in text


def test_a_heat_that_was_announced_before_its_start_keeps_who_was_awaited(
    meet: MeetAtHand,
) -> None:
    meet.load_result()
    meet.announce(despite=DESPITE)
    crew = meet.organiser.get("crew")
    posts = [a_post(new_id(), meet.umpire.id, lanes=[7])]
    planned = meet.organiser.put("crew", {"posts": posts}, etag=crew.headers["ETag"])
    assert planned.status_code == 200
    seen = meet.referee.get(f"heats/{meet.heat()}/posts").json()["posts"]
    awaited = {line["post"] for line in seen}
    before = [
        {name: post[name] for name in post if name != "official_name"}
        for post in crew.json()["posts"]
    ]
    etag = meet.organiser.get("crew").headers["ETag"]
    assert meet.organiser.put("crew", {"posts": before}, etag=etag).status_code == 200
    assert awaited == {meet.posts["umpire"], meet.posts["second"]}


def test_an_unchanged_result_is_announced_again_only_with_a_remark(ready: MeetAtHand) -> None:
    ready.announce()
    before = ready.head()
    told = a_problem(ready.announce(), 409, "needs-word")
    assert told["errors"][0]["pointer"] == "/remark"
    assert ready.head() == before
    assert ready.announce(remark="The first was not heard in the stadium").status_code == 201


def test_a_heat_that_nobody_started_on_the_screen_can_be_announced(meet: MeetAtHand) -> None:
    meet.load_result()
    assert meet.announce(despite=DESPITE).status_code == 201
    told = a_problem(
        meet.referee.post(f"heats/{meet.heat()}/start", etag='"v2"'), 409, "not-possible"
    )
    assert told["possible"] == ["announce", "hold back"]


def test_a_flag_after_the_announcement_is_kept_and_blocks_the_next(ready: MeetAtHand) -> None:
    ready.announce()
    late: Json = ready.call("yellow", lane=4).json()
    assert late["marks"] == ["came after the result was announced"]
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


def test_a_heat_that_nobody_started_is_announced_only_with_the_word(service: Service) -> None:
    hand = a_meet(service, roles=("results",), umpires=(), heats=1)
    hand.load_result()
    told = a_problem(hand.announce(), 409, "needs-word")
    assert (told["not_started"], told["in_the_way"]) == (True, ["The heat has not been started."])
    assert "In the way of this announcement: a heat that was not started." in told["detail"]
    announced = hand.announce(despite=DESPITE).json()
    assert announced["blockers"]["not_started"] is True


def test_the_desk_is_told_whom_to_ask_and_nobody_else_is(ready: MeetAtHand) -> None:
    case = ready.report()["case"]
    told = a_problem(ready.announce(), 409, "needs-word")
    number = ready.case(case)["number"]
    assert told["in_the_way"] == [f"Open case {number}: lane 4, Plover 1 (reported by umpire)."]
    public = shown(ready, ready.announce(despite=DESPITE).json()["id"])
    assert case in public
    assert "in_the_way" not in public


def test_the_desk_is_told_who_reported_lane_by_lane(ready: MeetAtHand) -> None:
    later = ready.report(lane=5, by="second")["case"]
    first = ready.report(lane=4)["case"]
    for _ in range(2):
        ready.report(lane=4, by="second")
    gone = ready.report(lane=3)
    back = ready.umpire.post(
        f"reports/{gone['id']}/withdraw", {"reason": "It was lane 4."}, etag='"v1"'
    )
    assert back.status_code == 200
    number = {case: ready.case(case)["number"] for case in (gone["case"], first, later)}
    told = a_problem(ready.announce(), 409, "needs-word")
    assert told["in_the_way"] == [
        f"Open case {number[gone['case']]}: lane 3, Heron 1 (every report was withdrawn).",
        f"Open case {number[first]}: lane 4, Plover 1 (reported by umpire and second).",
        f"Open case {number[later]}: lane 5, Curlew 1 (reported by second).",
    ]


def test_it_is_read_aloud_what_truly_stood_in_the_way(meet: MeetAtHand) -> None:
    meet.start()
    meet.call("white")
    meet.load_result()
    told = meet.announce(despite=DESPITE).json()
    words = "his result is announced although one post had not reported."
    assert f"T{words}" in shown(meet, told["id"], "txt").splitlines()


def test_times_of_a_recalled_start_are_not_announced_for_the_next(ready: MeetAtHand) -> None:
    ready.hold_back()
    ready.start()
    for umpire in ("umpire", "second"):
        ready.call("white", by=umpire)
    seen = ready.desk.get(f"heats/{ready.heat()}/result")
    assert (seen.json()["is_list_outdated"], seen.json()["lines"]) == (True, [])
    a_problem(ready.announce(), 409, "conflict")
    same = "\n".join(["lane,time", *(f"{lane},{42 + lane / 10:.2f}" for lane in range(1, 9))])
    address = f"heats/{ready.heat()}/result"
    loaded = ready.desk.put(address, content=same, etag=seen.headers["ETag"])
    assert (loaded.status_code, loaded.json()["is_list_outdated"]) == (200, False)
    assert ready.announce().status_code == 201


def test_a_heat_that_was_announced_by_mistake_can_still_be_run(meet: MeetAtHand) -> None:
    meet.load_result()
    meet.announce(despite=DESPITE)
    meet.hold_back()
    meet.start()
    assert holds(meet) == (False, [False])
    for umpire in ("umpire", "second"):
        meet.call("white", by=umpire)
    etag = meet.desk.get(f"heats/{meet.heat()}/result").headers["ETag"]
    times = "\n".join(["lane,time", *(f"{lane},5{lane}.00" for lane in range(1, 9))])
    meet.desk.put(f"heats/{meet.heat()}/result", content=times, etag=etag)
    assert meet.announce().json()["number"] == 2


def test_an_announcement_no_longer_holds_once_its_heat_is_held_back(ready: MeetAtHand) -> None:
    ready.announce()
    assert holds(ready) == (True, [True])
    ready.hold_back()
    assert holds(ready) == (False, [False])
    # Nothing but the reason to announce it once more is asked: it says the same as before.
    a_problem(ready.announce(despite=DESPITE), 409, "conflict")


def test_an_announcement_does_not_hold_while_a_ruling_under_it_is_to_be_reconsidered(
    meet: MeetAtHand,
) -> None:
    rounds = with_a_final(meet)
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    for heat in (0, 2):
        rounds.load_result(heat)
        rounds.announce(heat, despite=DESPITE)
    final = replace(rounds, heats=[rounds.heats[2]])
    assert (holds(rounds), holds(final)) == ((True, [True]), (True, [True]))
    rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    assert (holds(rounds), holds(final)) == ((False, [False]), (False, [False]))
    rounds.rule(second["case"], verdict="confirmed", reconsiders=second["id"])
    assert holds(final) == (False, [False])
    final.announce(despite=DESPITE)
    assert holds(final) == (True, [True, False])


def test_the_list_of_announcements_asks_the_store_as_often_for_one_line_as_for_many(
    service: Service,
) -> None:
    hand = a_meet(service, roles=("results", "referee", "umpire"), umpires=(), heats=3)
    asked = []
    for heat in range(3):
        case = hand.report(heat=heat)["case"]
        hand.load_result(heat)
        hand.announce(heat, despite=DESPITE)
        hand.rule(case)  # touched since
        asked.append(statements_of(service, hand))
    assert asked[0] == asked[1] == asked[2]


def statements_of(service: Service, hand: MeetAtHand) -> int:
    """How many statements a page of announcements takes."""
    found: list[str] = []

    def read(conn: Connection) -> None:
        count = event.listens_for(conn, "before_cursor_execute")
        count(lambda _conn, _cursor, statement, *_: found.append(statement))
        page, _holding = announcements_page(conn, MeetId(hand.id), None)
        assert not any(line.holds for line in page.announcements)

    service.store.read_now(read)
    return len(found)


def test_announcing_reads_what_was_decided_in_the_round_once(ready: MeetAtHand) -> None:
    asked: list[str] = []
    writing = ready.service.store.engines.writing
    ready.announce()

    def note(_conn: Connection, _cursor: object, statement: str, *_: object) -> None:
        asked.append(statement)

    event.listen(writing, "before_cursor_execute", note)
    assert ready.announce(remark="It was not heard.").status_code == 201
    event.remove(writing, "before_cursor_execute", note)
    assert len([one for one in asked if "decisions.is_news, decisions.moves" in one]) == 1


def test_an_account_that_is_still_awaited_needs_the_word_also_when_its_case_is_ruled_on(
    meet: MeetAtHand,
) -> None:
    meet.start()
    flag = meet.call("yellow", lane=4).json()
    meet.report(by="second")
    meet.call("white", by="second")
    meet.rule(flag["case"])
    meet.load_result()
    told = a_problem(meet.announce(), 409, "needs-word")
    assert told["awaited_accounts"] == [flag["report"]]
    assert told["in_the_way"] == ["Account to come: lane 4, Plover 1 (umpire)."]
    assert "1 written account to come" in told["detail"]


def test_an_account_that_was_asked_back_is_awaited_also_when_its_case_is_ruled_on(
    ready: MeetAtHand,
) -> None:
    report = ready.report()
    ready.report(by="second")
    address = f"reports/{report['id']}/return"
    asked = ready.referee.post(address, {"reason": "How far was it?"}, etag='"v1"')
    assert asked.status_code == 200
    ready.rule(report["case"])
    told = a_problem(ready.announce(), 409, "needs-word")
    assert told["awaited_accounts"] == [report["id"]]
    assert told["in_the_way"] == ["Account to come: lane 4, Plover 1 (umpire)."]


@pytest.mark.parametrize(("set_back", "lifted"), [(timedelta(minutes=4), True), (DAY, False)])
def test_a_clock_that_was_set_back_does_not_keep_the_desk_from_announcing(
    ready: MeetAtHand, set_back: timedelta, lifted: bool
) -> None:
    """A little, and the order of things is kept; a day, and teams are not made to wait for it."""
    began = datetime.fromisoformat(ready.referee.get(f"heats/{ready.heat()}").json()["started_at"])
    ready.service.clock.stand_at(began - set_back)
    told = ready.announce()
    assert told.status_code == 201
    at = datetime.fromisoformat(told.json()["announced_at"])
    assert at == (began if lifted else began - set_back)


@pytest.mark.parametrize("shown", ["a ruling", "an announcement"])
def test_a_clock_that_was_set_back_puts_no_result_before_what_it_shows(
    ready: MeetAtHand, shown: str
) -> None:
    began = datetime.fromisoformat(ready.referee.get(f"heats/{ready.heat()}").json()["started_at"])
    before = began + timedelta(minutes=3)
    ready.service.clock.stand_at(before)
    case = ready.report()["case"]
    assert ready.rule(case).status_code == 201
    earliest = before
    if shown == "an announcement":
        assert ready.announce().status_code == 201
        earliest += timedelta(microseconds=1)  # two announcements have an order
    ready.service.clock.stand_at(before - timedelta(minutes=2))
    told = ready.announce(remark="The clock was set back")
    assert told.status_code == 201, told.text
    assert datetime.fromisoformat(told.json()["announced_at"]) == earliest


def test_a_flag_that_was_dismissed_without_an_account_is_not_awaited(meet: MeetAtHand) -> None:
    meet.start()
    flag = meet.call("yellow", lane=4).json()
    meet.call("white", by="second")
    meet.rule(flag["case"], verdict="dismissed")
    meet.load_result()
    assert meet.announce().status_code == 201


def test_an_amended_result_says_what_has_changed_and_a_repeated_one_that_it_is_one(
    ready: MeetAtHand,
) -> None:
    case = ready.report()["case"]
    ruling = ready.rule(case).json()["id"]
    ready.announce()
    ready.rule(case, verdict="dismissed", reconsiders=ruling)
    second = ready.announce().json()
    assert second["changes"][0] == ("Plover 1, lane 4: place 4, 42.40; before: DQ TR24.7.")
    assert [change.split(",")[0] for change in second["changes"][1:]] == [
        "Curlew 1",
        "Puffin 1",
        "Dunlin 1",
        "Petrel 1",
    ]
    text = shown(ready, second["id"], "txt")
    assert text.startswith("Amended result for ")
    assert "Changed: Plover 1, lane 4" in text
    assert second["moved_only"] == 4
    assert [line for line in text.splitlines() if "moves" in line or "move " in line] == [
        "With that, four other teams move to another place."
    ]
    assert "Changed: Curlew" not in text
    third = ready.announce(remark="It was not heard").json()
    assert third["changes"] == []
    assert shown(ready, third["id"], "txt").startswith("Result, announced again, for ")


def test_places_that_the_judges_changed_are_read_as_the_change(ready: MeetAtHand) -> None:
    def listing(first: int, second: int) -> str:
        rows = [f"{lane},DNS," for lane in range(3, 9)]
        return "\n".join(["lane,time,place", f"1,42.10,{first}", f"2,42.10,{second}", *rows])

    address = f"heats/{ready.heat()}/result"
    for places in ((1, 2), (2, 1)):
        etag = ready.desk.get(address).headers["ETag"]
        assert ready.desk.put(address, content=listing(*places), etag=etag).is_success
        told = ready.announce().json()
    assert told["moved_only"] == 0
    text = shown(ready, told["id"], "txt").splitlines()
    assert "Changed: Gull 1, lane 2: place 1, 42.10; before: place 2, 42.10." in text
    assert "Changed: Tern 1, lane 1: place 2, 42.10; before: place 1, 42.10." in text


def test_a_time_that_changed_is_read_and_who_moved_with_it_is_counted(ready: MeetAtHand) -> None:
    ready.announce()
    times = {lane: f"{42 + lane / 10:.2f}" for lane in range(1, 9)} | {2: "42.35"}
    etag = ready.desk.get(f"heats/{ready.heat()}/result").headers["ETag"]
    content = "\n".join(["lane,time", *(f"{lane},{time}" for lane, time in times.items())])
    ready.desk.put(f"heats/{ready.heat()}/result", content=content, etag=etag)
    told = ready.announce().json()
    assert told["changes"] == [
        "Gull 1, lane 2: place 3, 42.35; before: place 2, 42.20.",
        "Heron 1, lane 3: place 2, 42.30; before: place 3, 42.30.",
    ]
    text = shown(ready, told["id"], "txt").splitlines()
    assert [line for line in text if line.startswith(("Changed", "With"))] == [
        "Changed: Gull 1, lane 2: place 3, 42.35; before: place 2, 42.20.",
        "With that, one other team moves to another place.",
    ]


def test_a_crew_plan_that_came_after_the_start_waives_no_post_in_silence(service: Service) -> None:
    hand = a_meet(service, umpires=())
    seen = hand.organiser.get("crew")
    plan = {"posts": [post_as_sent(post) for post in seen.json()["posts"]]}
    emptied = hand.organiser.put("crew", {"posts": []}, etag=seen.headers["ETag"])
    hand.start()
    hand.load_result()
    assert hand.desk.get(f"heats/{hand.heat()}/result").json()["in_the_way"] == []
    hand.organiser.put("crew", plan, etag=emptied.headers["ETag"])
    told = a_problem(hand.announce(), 409, "needs-word")
    assert told["no_posts"] is True
    assert told["in_the_way"] == [
        "No post was set when the heat was started; the crew plan came later."
    ]
    announced = hand.announce(despite=DESPITE).json()
    words = "This result is announced although no post was set for the heat."
    assert words in shown(hand, announced["id"], "txt").splitlines()


def post_as_sent(post: Json) -> Json:
    sent = ("id", "official", "take_over", "edge", "lanes", "side", "relays")
    return {name: post[name] for name in sent}
