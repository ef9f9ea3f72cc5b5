"""A time of an announcement that was typed wrongly: corrected by an act of its own, with a reason.

World Athletics TR8.2: the time of every announcement is recorded, and the protest clock counts from
it. That a slip of the desk is corrected openly, with its reason, is common practice.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from icalendar import Calendar

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import a_protest as desk_protest
from tests.appeals.desk import an_announced_disqualification, appeal, lodge, set_aside, team
from tests.appeals.desk import announced as desk_announced
from tests.appeals.desk import decided as desk_decided
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_problem, add_official
from tests.forms.pdf_reading import read_text
from tests.results.remedies import SET_ASIDE, a_decision, a_protest
from tests.running import Service

NOON = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)
DESPITE = "Nobody started the heat on the screen."
WHY = "The loudspeaker's log says so."


def announced(service: Service, **meet: Any) -> tuple[MeetAtHand, Json]:
    """A meet one of whose heats was announced at noon."""
    service.clock.stand_at(NOON)
    roles = ("results", "referee")
    hand = a_meet(service, **{"heats": 1, "roles": roles, "umpires": (), **meet})
    hand.load_result()
    told = hand.announce(despite=DESPITE)
    assert told.status_code == 201
    return hand, told.json()


def correct(hand: MeetAtHand, told: Json, at: datetime, **changes: Any) -> Any:
    sent = {"announced_at": rfc3339(at), "reasons": WHY, "pin": PIN, **changes}
    by = sent.pop("by", "results")
    ident = sent.pop("id", new_id())
    return hand[by].put(f"announcements/{told['id']}/time-corrections/{ident}", sent)


def windows(hand: MeetAtHand) -> list[Json]:
    return list(hand.service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"])


def paper(hand: MeetAtHand, told: Json, kind: str) -> bytes:
    answer = hand.service.http.get(f"/api/meets/{hand.id}/announcements/{told['id']}.{kind}")
    assert answer.status_code == 200
    return answer.content


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def test_a_corrected_time_moves_the_windows_and_keeps_what_was_announced(
    service: Service,
) -> None:
    hand, told = announced(service)
    service.clock.stand_at(NOON + minutes(5))
    corrected = correct(hand, told, NOON - minutes(10))
    assert corrected.status_code == 201, corrected.text
    after = corrected.json()
    later = {"time_corrections", "pending"}
    assert {name: after[name] for name in after if name not in later} == {
        name: told[name] for name in told if name not in later
    }
    (one,) = after["time_corrections"]
    assert datetime.fromisoformat(one["was"]) == NOON
    assert datetime.fromisoformat(one["becomes"]) == NOON - minutes(10)
    assert (one["reasons"], one["corrected_by_name"]) == (WHY, "results")
    (window,) = windows(hand)
    assert datetime.fromisoformat(window["opened_at"]) == NOON - minutes(10)
    assert datetime.fromisoformat(window["closes_at"]) == NOON + minutes(20)
    assert window["time_corrections"] == 1
    listed = hand.desk.get("announcements").json()["announcements"][0]
    assert datetime.fromisoformat(listed["announced_at"]) == NOON - minutes(10)
    assert after["pending"] == listed["pending"] == ["Protests until 12:20:00 CEST."]
    result = hand.desk.get(f"heats/{hand.heat()}/result").json()
    assert datetime.fromisoformat(result["announced"]["announced_at"]) == NOON - minutes(10)


def test_the_papers_say_the_time_that_counts_and_the_one_first_given(service: Service) -> None:
    hand, told = announced(service)
    service.clock.stand_at(NOON + minutes(5))
    assert correct(hand, told, NOON - minutes(10)).is_success
    words = "first given as 12:00:00 CEST. Reason: The loudspeaker's log says so."
    text = paper(hand, told, "txt").decode()
    assert "Announcement 1, made at 11:50:00 CEST." in text
    assert words in text
    assert "Protests can be lodged until 12:20:00 CEST, 30 minutes from this" in text
    sheet = " ".join(read_text(paper(hand, told, "pdf")).split())
    assert words in sheet
    assert "2026-06-13 11:50:00 CEST" in sheet
    assert "Protests until 2026-06-13 12:20:00 CEST" in sheet
    rows = list(csv.DictReader(io.StringIO(paper(hand, told, "csv").decode())))
    assert {row["announced_at"] for row in rows} == {"2026-06-13 11:50:00 CEST (Europe/Paris)"}


def test_a_time_is_corrected_again_and_the_last_one_counts(service: Service) -> None:
    hand, told = announced(service)
    service.clock.stand_at(NOON + minutes(5))
    for at in (NOON - minutes(10), NOON + minutes(2)):
        last = correct(hand, told, at).json()
    assert [one["becomes"] for one in last["time_corrections"]] == [
        rfc3339(NOON - minutes(10)).replace(".000000Z", "Z"),
        rfc3339(NOON + minutes(2)).replace(".000000Z", "Z"),
    ]
    (window,) = windows(hand)
    assert datetime.fromisoformat(window["closes_at"]) == NOON + minutes(32)
    assert "made at 12:02:00 CEST." in paper(hand, told, "txt").decode()


def test_the_calendars_event_grows_its_number_with_each_correction(service: Service) -> None:
    # RFC 5545, 3.8.7.4, read by an independent library.
    hand, told = announced(service)

    def sequence() -> int:
        answer = service.http.get(f"/api/meets/{hand.id}/windows.ics")
        events = Calendar.from_ical(answer.text).walk("VEVENT")
        return max(int(one["sequence"]) for one in events if "announcement 1)" in one["summary"])

    found = [sequence()]
    for number in (1, 2):
        service.clock.stand_at(NOON + minutes(5 * number))
        assert correct(hand, told, NOON + minutes(number)).is_success
        found.append(sequence())
    hand.announce(remark="It was not heard")
    found.append(sequence())
    assert found == sorted(set(found))


def test_the_same_correction_again_is_the_same_and_another_under_its_id_is_refused(
    service: Service,
) -> None:
    hand, told = announced(service)
    ident = new_id()
    service.clock.stand_at(NOON + minutes(5))
    add_official(hand, "other desk", "results")
    first = correct(hand, told, NOON - minutes(1), id=ident)
    before = hand.head()
    again = correct(hand, told, NOON - minutes(1), id=ident)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    a_problem(correct(hand, told, NOON - minutes(2), id=ident), 409, "id-taken")
    a_problem(correct(hand, told, NOON - minutes(1), id=ident, by="other desk"), 409, "id-taken")
    assert hand.head() == before


def test_a_correction_is_signed_and_stands_in_the_record_with_its_reason(service: Service) -> None:
    hand, told = announced(service)
    before = hand.head()
    service.clock.stand_at(NOON + minutes(5))
    wrong = correct(hand, told, NOON - minutes(1), pin="999182")
    a_problem(wrong, 403, "pin-refused")
    a_problem(correct(hand, told, NOON - minutes(1), by="referee"), 403, "role-missing")
    a_problem(correct(hand, told, NOON - minutes(1), reasons=""), 422, "malformed")
    assert correct(hand, told, NOON - minutes(1)).status_code == 201
    *_, last, _head = hand.referee.get("record").text.splitlines()
    entry, body = (json.loads(json.loads(last)[part]) for part in ("entry", "body"))
    assert (entry["kind"], entry["subject"]) == ("announcement time corrected", told["id"])
    assert body["reasons"] == WHY
    assert body["becomes"] == rfc3339(NOON - minutes(1))
    # The wrong PIN is the other entry.
    assert hand.head()["size"] == before["size"] + 2


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (NOON + minutes(6), "future"),
        (NOON - timedelta(hours=12, seconds=1), "twelve hours"),
        (NOON, "that time already"),
    ],
)
def test_an_impossible_time_is_refused(service: Service, at: datetime, words: str) -> None:
    hand, told = announced(service)
    service.clock.stand_at(NOON + minutes(5))
    before = hand.head(), windows(hand)
    refused = a_problem(correct(hand, told, at), 422, "malformed")
    assert words in refused["detail"]
    assert refused["errors"][0]["pointer"] == "/announced_at"
    assert (hand.head(), windows(hand)) == before


def test_no_correction_puts_an_announcement_before_the_start_or_the_ruling_it_shows(
    service: Service,
) -> None:
    service.clock.stand_at(NOON - minutes(10))
    hand = a_meet(service, heats=1, umpires=())
    hand.start()
    hand.load_result()
    service.clock.stand_at(NOON - minutes(5))
    assert hand.rule(hand.report()["case"]).status_code == 201
    service.clock.stand_at(NOON)
    told = hand.announce().json()
    service.clock.stand_at(NOON + minutes(5))
    # What is ruled later is not shown by it, and does not bind it.
    case = hand.report(lane=5)["case"]
    assert hand.rule(case).status_code == 201
    for at, words in ((NOON - minutes(11), "start"), (NOON - minutes(6), "ruling")):
        refused = a_problem(correct(hand, told, at), 422, "malformed")
        assert words in refused["detail"]
    assert correct(hand, told, NOON - minutes(5)).status_code == 201


def test_no_correction_changes_the_order_of_announcements(service: Service) -> None:
    hand, first = announced(service)
    service.clock.stand_at(NOON + minutes(10))
    second = hand.announce(remark="It was not heard").json()
    service.clock.stand_at(NOON + minutes(20))
    late = a_problem(correct(hand, first, NOON + minutes(10)), 422, "malformed")
    assert "Announcement 2 of this heat was made before that." in late["detail"]
    early = a_problem(correct(hand, second, NOON), 422, "malformed")
    assert "Announcement 1 of this heat was made later than that." in early["detail"]
    assert correct(hand, first, NOON + minutes(9)).status_code == 201
    a_problem(correct(hand, second, NOON + minutes(8)), 422, "malformed")
    found = {one["opened_by"]: one["opened_at"] for one in windows(hand)}
    assert datetime.fromisoformat(found["announcement 1"]) == NOON + minutes(9)
    assert datetime.fromisoformat(found["announcement 2"]) == NOON + minutes(10)


def test_a_correction_bound_by_a_decision_that_the_result_shows(service: Service) -> None:
    hand, _first = announced(service)
    service.clock.stand_at(NOON + minutes(5))
    protest = a_protest(hand, state="upheld")
    a_decision(hand, protest, verdict="upheld", carried_out=[SET_ASIDE])
    service.clock.stand_at(NOON + minutes(10))
    second = hand.announce(remark="By the referee's decision").json()
    service.clock.stand_at(NOON + minutes(20))
    a_problem(correct(hand, second, NOON + minutes(4)), 422, "malformed")
    assert correct(hand, second, NOON + minutes(5)).status_code == 201


def test_an_unknown_announcement_has_no_time_to_correct(service: Service) -> None:
    hand, _told = announced(service)
    a_problem(correct(hand, {"id": new_id()}, NOON - minutes(1)), 404, "not-found")


def test_a_correction_may_leave_no_time_and_says_so_by_the_window(service: Service) -> None:
    hand, told = announced(service)
    service.clock.stand_at(NOON + minutes(5))
    after = correct(hand, told, NOON - minutes(40), remark="It was heard in the stands.").json()
    (window,) = windows(hand)
    assert window["state"] == "closed"
    assert datetime.fromisoformat(after["final_since"]) == NOON - minutes(10)
    (one,) = after["time_corrections"]
    assert one["remark"] == "It was heard in the stands."
    assert "It was heard in the stands." in hand.referee.get("record").text
    assert "Remark: It was heard in the stands." in paper(hand, told, "txt").decode()


def test_a_correction_that_closes_a_window_at_once_needs_the_same_word_as_a_late_entry(
    service: Service,
) -> None:
    hand, told = announced(service)
    service.clock.stand_at(NOON + minutes(5))
    before = hand.head(), windows(hand)
    refused = a_problem(correct(hand, told, NOON - minutes(26)), 409, "needs-word")
    assert "over already (until 2026-06-13 12:04:00 CEST (Europe/Paris))" in refused["detail"]
    assert refused["errors"][0]["pointer"] == "/remark"
    assert (hand.head(), windows(hand)) == before
    assert correct(hand, told, NOON - minutes(25)).status_code == 201
    # What is over anyhow is taken from nobody.
    service.clock.stand_at(NOON + minutes(10))
    assert correct(hand, told, NOON - minutes(40)).status_code == 201


def test_a_correction_says_which_protests_and_appeals_were_late_and_are_not_and_the_reverse(
    service: Service,
) -> None:
    service.clock.stand_at(NOON)
    hand = a_meet(service, heats=1)
    ruling = an_announced_disqualification(hand)
    protest = lodge(hand, desk_protest(hand, ruling))
    desk_decided(hand, protest, "upheld", orders=set_aside(ruling))
    service.clock.stand_at(NOON + minutes(50))
    told = desk_announced(hand, announced_at=rfc3339(NOON + minutes(5)), remark="Entered late")
    late = appeal(hand, protest, team=team(hand, 5))
    seen = hand["jury"].get(f"appeals/{late['id']}")
    away = {"admit": False, "reasons": "It came too late.", "pin": PIN}
    hand["jury"].put(f"appeals/{late['id']}/admission", away, etag=seen.headers["ETag"])
    kept = lodge(hand, desk_protest(hand, team=team(hand, 7)))
    desk_decided(hand, kept)
    gone = lodge(hand, desk_protest(hand, team=team(hand, 6)))
    seen = hand.desk.get(f"protests/{gone['id']}")
    by = {"by": "Mira Anchor"}
    taken = hand.desk.post(f"protests/{gone['id']}/withdraw", by, etag=seen.headers["ETag"])
    assert taken.status_code == 200, taken.text
    (one,) = correct(hand, told, NOON + minutes(30)).json()["time_corrections"]
    assert one["now_late"] == []
    words = {"words": "in time by 10 min", "before": "LATE by 15 min"}
    assert one["now_in_time"] == [
        {"what": "protest", "id": kept["id"], "number": 2, **words},
        {"what": "appeal", "id": late["id"], "number": 1, **words},
    ]
    # Common practice: a notice board tells nobody's lateness.
    (shown,) = json.loads(paper(hand, told, "json"))["time_corrections"]
    assert (shown["reasons"], shown["now_in_time"], shown["now_late"]) == (WHY, [], [])
    back = correct(hand, told, NOON + minutes(10), remark="All heard it").json()[
        "time_corrections"
    ][1]
    assert back["now_in_time"] == []
    assert [(one["what"], one["number"]) for one in back["now_late"]] == [
        ("protest", 2),
        ("appeal", 1),
    ]
    record = hand.referee.get("record").text
    assert record.count("now_in_time") == 2
