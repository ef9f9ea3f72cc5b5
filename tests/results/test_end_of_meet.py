"""The end of the meet, from which a book may count: NFHS 3-5-3b, clerical errors up to 48 hours.

As presented in a state association's slides. That the referee or the organiser says when a meet has
ended, and once, is common practice.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from icalendar import Calendar

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import a_protest, appeal, decided, jurors, lodge, name_panel
from tests.appeals.test_papers import parts, without_head
from tests.appeals.test_papers import words as words_of
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_problem, add_official
from tests.forms.pdf_reading import read_text
from tests.running import Service

NOON = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)
EVENING = NOON + timedelta(hours=8)
TWO_DAYS = timedelta(hours=48)
DESPITE = "Nobody started the heat on the screen."


def a_meet_with_results(service: Service, heats: int = 1, **meet: Any) -> MeetAtHand:
    service.clock.stand_at(NOON)
    roles = ("results", "referee")
    hand = a_meet(
        service, **{"heats": heats, "roles": roles, "umpires": (), "edition": "nfhs-2019", **meet}
    )
    hand.load_result()
    assert hand.announce(despite=DESPITE).status_code == 201
    service.clock.stand_at(EVENING)
    return hand


def end(hand: MeetAtHand, by: str = "referee", **changes: Any) -> httpx.Response:
    return hand[by].put("end", {"pin": PIN, **changes})


def clerical(hand: MeetAtHand) -> list[Json]:
    found = hand.service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    return [one for one in found if one["rule"] == "3-5-3b"]


@pytest.mark.parametrize("by", ["referee", "organiser"])
def test_what_counts_from_the_end_of_the_meet_closes_so_long_after_it(
    service: Service, by: str
) -> None:
    hand = a_meet_with_results(service)
    (before,) = clerical(hand)
    assert (before["state"], before["closes_at"], before["counts_from"]) == (
        "open",
        None,
        "end of meet",
    )
    ended = end(hand, by)
    assert ended.status_code == 201, ended.text
    assert datetime.fromisoformat(ended.json()["ended_at"]) == EVENING
    shown = service.http.get(f"/api/meets/{hand.id}")
    assert shown.json() == ended.json()
    assert shown.headers["ETag"] == ended.headers["ETag"]
    (after,) = clerical(hand)
    assert datetime.fromisoformat(after["closes_at"]) == EVENING + TWO_DAYS
    assert (after["state"], after["minutes"]) == ("open", 2880)
    service.clock.stand_at(EVENING + TWO_DAYS + timedelta(microseconds=1))
    assert clerical(hand)[0]["state"] == "closed"


def test_the_papers_say_how_long_after_the_meet_and_later_until_when(service: Service) -> None:
    hand = a_meet_with_results(service)
    address = f"/api/meets/{hand.id}/announcements"
    ident = service.http.get(address).json()["announcements"][0]["id"]
    text = service.http.get(f"{address}/{ident}.txt").text.splitlines()
    assert [line for line in text if "lodged" in line] == [
        "Protests (misapplication of rules) could be lodged until 12:30:00 CEST: that time is "
        "over.",
        "Protests (clerical or scoring error) can be lodged until 48 hours after the end of the "
        "meet.",
        "Protests (ineligible participant) can be lodged without a closing time.",
        "Protests (terms and conditions not followed) can be lodged without a closing time.",
    ]
    assert end(hand).status_code == 201
    calendar = Calendar.from_ical(service.http.get(f"/api/meets/{hand.id}/windows.ics").text)
    told = [str(one["description"]) for one in calendar.walk("VEVENT")]
    assert [one for one in told if "clerical" in one] == [
        "clerical or scoring error, 48 hours from the end of the meet (3-5-3b, set by the "
        "edition). Closes 2026-06-15 20:00:00 CEST (Europe/Paris), inclusive."
    ]


def test_these_windows_open_with_a_heats_first_result_and_run_on(service: Service) -> None:
    hand = a_meet_with_results(service)
    assert hand.announce(remark="It was not heard").status_code == 201
    found = service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    opened = sorted((one["rule"], one["opened_by"]) for one in found)
    assert opened == [
        ("3-5-3a", "announcement 1"),
        ("3-5-3a", "announcement 2"),
        ("3-5-3b", "announcement 1"),
        ("3-5-3c", "announcement 1"),
        ("3-5-3d", "announcement 1"),
    ]


def test_a_first_result_after_the_end_opens_a_window_whose_end_is_known(service: Service) -> None:
    hand = a_meet_with_results(service, heats=3)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + timedelta(hours=1))
    hand.load_result(1)
    told = hand.announce(1, despite=DESPITE).json()
    (mine,) = [one for one in clerical(hand) if one["heat"] == hand.heat(1)]
    assert datetime.fromisoformat(mine["closes_at"]) == EVENING + TWO_DAYS
    text = service.http.get(f"/api/meets/{hand.id}/announcements/{told['id']}.txt").text
    words = "until 15 June 2026, 20:00:00 CEST, 48 hours after the end of the meet."
    assert f"Protests (clerical or scoring error) can be lodged {words}" in text
    # What would be over already is not opened.
    service.clock.stand_at(EVENING + timedelta(hours=49))
    hand.load_result(2)
    assert hand.announce(2, despite=DESPITE).status_code == 201
    assert [one for one in clerical(hand) if one["heat"] == hand.heat(2)] == []


def test_a_meet_ends_once(service: Service) -> None:
    hand = a_meet_with_results(service)
    at = rfc3339(EVENING - timedelta(minutes=5))
    assert end(hand, ended_at=at).status_code == 201
    before = hand.head()
    for same in ({"ended_at": at}, {}):
        again = end(hand, by="organiser", **same)
        assert again.status_code == 200
        assert datetime.fromisoformat(again.json()["ended_at"]) == EVENING - timedelta(minutes=5)
    told = a_problem(end(hand, ended_at=rfc3339(EVENING)), 409, "conflict")
    assert "This meet ended at 2026-06-13 19:55:00 CEST (Europe/Paris)." in told["detail"]
    assert hand.head()["size"] == before["size"]


@pytest.mark.parametrize(
    ("at", "words"),
    [(EVENING + timedelta(seconds=1), "future"), (NOON - timedelta(seconds=1), "announced after")],
)
def test_a_meet_ends_neither_in_the_future_nor_before_its_last_announcement(
    service: Service, at: datetime, words: str
) -> None:
    hand = a_meet_with_results(service)
    before = hand.head()
    told = a_problem(end(hand, ended_at=rfc3339(at)), 422, "malformed")
    assert words in told["detail"]
    assert told["errors"][0]["pointer"] == "/ended_at"
    assert hand.head() == before
    assert service.http.get(f"/api/meets/{hand.id}").json()["ended_at"] is None


def test_a_meet_has_not_ended_before_its_last_heat_was_started(service: Service) -> None:
    hand = a_meet_with_results(service, heats=2)
    service.clock.stand_at(EVENING - timedelta(minutes=10))
    hand.start(1)
    service.clock.stand_at(EVENING)
    before = hand.head()
    at = rfc3339(EVENING - timedelta(minutes=11))
    told = a_problem(end(hand, ended_at=at), 422, "malformed")
    assert "A heat was started after that" in told["detail"]
    assert told["errors"][0]["pointer"] == "/ended_at"
    assert hand.head() == before
    assert end(hand, ended_at=rfc3339(EVENING - timedelta(minutes=9))).status_code == 201
    sent = {"ended_at": at, "reasons": "Typed too late.", "pin": PIN}
    told = a_problem(
        hand["referee"].put(f"end/time-corrections/{new_id()}", sent), 422, "malformed"
    )
    assert "A heat was started after that" in told["detail"]


def test_the_end_of_a_meet_is_signed(service: Service) -> None:
    hand = a_meet_with_results(service)
    a_problem(end(hand, pin="999182"), 403, "pin-refused")
    a_problem(end(hand, by="results"), 403, "role-missing")
    assert clerical(hand)[0]["closes_at"] is None


def test_a_correction_of_the_announcements_time_leaves_what_counts_from_the_end(
    service: Service,
) -> None:
    hand = a_meet_with_results(service)
    assert end(hand).status_code == 201
    told = service.http.get(f"/api/meets/{hand.id}/announcements").json()["announcements"][0]
    sent = {
        "announced_at": rfc3339(NOON - timedelta(minutes=3)),
        "reasons": "The log says so.",
        "pin": PIN,
    }
    address = f"announcements/{told['id']}/time-corrections/{told['id']}"
    assert hand.desk.put(address, sent).status_code == 201
    (window,) = clerical(hand)
    assert datetime.fromisoformat(window["opened_at"]) == NOON - timedelta(minutes=3)
    assert datetime.fromisoformat(window["closes_at"]) == EVENING + TWO_DAYS


def correct(
    hand: MeetAtHand, at: datetime, by: str = "referee", ident: str = "", **more: str
) -> httpx.Response:
    sent = {"ended_at": rfc3339(at), "reasons": "Typed an hour too late.", "pin": PIN, **more}
    return hand[by].put(f"end/time-corrections/{ident or new_id()}", sent)


@pytest.mark.parametrize("by", ["referee", "organiser"])
def test_an_end_that_was_typed_wrongly_is_corrected_and_what_counts_from_it_follows(
    service: Service, by: str
) -> None:
    hand = a_meet_with_results(service, heats=2)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + timedelta(minutes=30))
    hand.load_result(1)
    assert hand.announce(1, despite=DESPITE).status_code == 201
    seen = hand.organiser.get(f"/api/meets/{hand.id}").headers["ETag"]
    truly, ident = EVENING - timedelta(hours=1), new_id()
    told = correct(hand, truly, by, ident)
    assert told.status_code == 201, told.text
    assert {datetime.fromisoformat(one["closes_at"]) for one in clerical(hand)} == {
        truly + TWO_DAYS
    }
    assert [one["time_corrections"] for one in clerical(hand)] == [1, 1]
    said = hand.desk.get("end/time-corrections").json()
    assert said == told.json()
    assert datetime.fromisoformat(said["ended_at"]) == truly
    (one,) = said["corrections"]
    assert (one["about"], one["was"]) == ("end of the meet", rfc3339(EVENING))
    assert (
        one["becomes_local"] == said["ended_at_local"] == "2026-06-13 19:00:00 CEST (Europe/Paris)"
    )
    shown = hand.organiser.get(f"/api/meets/{hand.id}")
    assert datetime.fromisoformat(shown.json()["ended_at"]) == truly
    assert shown.headers["ETag"] != seen
    again = correct(hand, truly, by, ident)
    assert (again.status_code, again.json()) == (200, said)
    # The end as it was first said is still the same one.
    assert end(hand, ended_at=rfc3339(EVENING)).status_code == 200
    a_problem(end(hand, ended_at=rfc3339(NOON)), 409, "conflict")


def test_everybody_reads_the_times_alone_and_officials_who_was_late_by_them(
    service: Service,
) -> None:
    """A notice board shows results and windows; who protested, and how late, is for officials:
    common practice.
    """
    hand = a_meet_with_results(service)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + TWO_DAYS - timedelta(minutes=30))
    sent = {
        "heat": hand.heat(),
        "team": hand.heats[0]["lanes"][0]["team"],
        "about": "placing",
        "ground": "clerical or scoring error",
        "lodged_by": "Mira Anchor",
    }
    lodged = hand.desk.put(f"protests/{new_id()}", sent).json()
    told = correct(hand, EVENING - timedelta(hours=1), remark="It was read aloud at 19:00.")
    assert told.status_code == 201
    public = service.http.get(f"/api/meets/{hand.id}/end")
    (shown,) = public.json()["corrections"]
    assert set(shown) == {"was", "was_local", "becomes", "becomes_local", "corrected_at"}
    assert datetime.fromisoformat(shown["becomes"]) == EVENING - timedelta(hours=1)
    for kept in (lodged["id"], "LATE", "Typed an hour too late", "read aloud", hand.referee.id):
        assert kept not in public.text
    address = f"/api/meets/{hand.id}/end/time-corrections"
    a_problem(service.http.get(address), 401, "not-joined")
    (known,) = hand.desk.get("end/time-corrections").json()["corrections"]
    assert [one["id"] for one in known["now_late"]] == [lodged["id"]]


def test_an_end_by_which_time_that_runs_is_over_at_once_needs_a_word(service: Service) -> None:
    """Nobody can use a window that is over the moment it is moved: common practice."""
    hand = a_meet_with_results(service)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + TWO_DAYS - timedelta(minutes=30))
    before = hand.head(), clerical(hand)
    refused = a_problem(correct(hand, EVENING - timedelta(hours=1)), 409, "needs-word")
    assert "would be over already (until 2026-06-15 19:00:00" in refused["detail"]
    assert refused["errors"][0]["pointer"] == "/remark"
    assert (hand.head(), clerical(hand)) == before
    assert correct(hand, EVENING - timedelta(minutes=30)).status_code == 201
    told = correct(hand, EVENING - timedelta(hours=1), remark="It was read aloud at 19:00.")
    assert told.json()["corrections"][1]["remark"] == "It was read aloud at 19:00."
    assert "It was read aloud at 19:00." in hand.referee.get("record").text
    (window,) = clerical(hand)
    assert window["state"] == "closed"


def test_nobody_of_its_panel_makes_an_appeals_protest_late_by_the_end_of_the_meet(
    service: Service,
) -> None:
    """That who decides a matter does not change the facts that it rests on is common practice."""
    hand = a_meet_with_results(service)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + TWO_DAYS - timedelta(minutes=30))
    protest = lodge(hand, a_protest(hand, ground="clerical or scoring error"))
    decided(hand, protest)
    lodged = appeal(hand, protest, deposit=None)
    add_official(hand, "second", "referee", "jury")
    add_official(hand, "jury", "jury")
    names = jurors(hand, "Far Club", "Near Club")
    assert name_panel(hand, lodged, [*names, "second"]).status_code == 200
    before, remark = hand.head(), "It was read aloud at 19:00."
    refused = correct(hand, EVENING - timedelta(hours=1), "second", remark=remark)
    told = a_problem(refused, 403, "not-yours")["detail"]
    assert f"of the panel of appeal {lodged['number']}" in told
    assert hand.head() == before
    # By this nothing comes to be late, so it is nobody's own matter.
    assert correct(hand, EVENING - timedelta(minutes=1), "second").status_code == 201
    assert correct(hand, EVENING - timedelta(hours=1), remark=remark).status_code == 201


def test_papers_tell_by_the_window_that_the_end_of_the_meet_was_corrected(service: Service) -> None:
    """By the window that counts from it alone; after a decision, below its signatures."""
    hand = a_meet_with_results(service)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + TWO_DAYS - timedelta(minutes=30))
    protest = lodge(hand, a_protest(hand, ground="clerical or scoring error"))
    other = lodge(hand, a_protest(hand, ground="ineligible participant"))
    decision = decided(hand, protest)["decision"]
    before, _ = parts(hand, decision)
    remark = "It was read aloud at 19:00."
    assert correct(hand, EVENING - timedelta(hours=1), remark=remark).status_code == 201
    said = (
        "End of the meet: 2026-06-13 19:00:00 CEST (Europe/Paris), given before as 2026-06-13 "
        "20:00:00 CEST (Europe/Paris). Corrected by referee at 2026-06-15 19:30:00 CEST "
        "(Europe/Paris). Reason: Typed an hour too late. Remark: It was read aloud at 19:00. "
        f"Protest {protest['number']}: LATE by 30 min, before in time by 30 min."
    )
    assert f"corrected {said}" in words_of(hand, f"protests/{protest['id']}")
    signed, later = parts(hand, decision)
    assert without_head(signed) == without_head(before)
    assert said in later
    (one,) = hand.desk.get(f"protests/{protest['id']}").json()["timeliness"]["time_corrections"]
    assert (one["announcement"], one["number"]) == (None, None)
    assert datetime.fromisoformat(one["was"]) == EVENING
    assert [late["id"] for late in one["now_late"]] == [protest["id"]]
    assert "End of the meet" not in words_of(hand, f"protests/{other['id']}")
    told = hand.desk.get(f"protests/{other['id']}").json()["timeliness"]
    assert told["time_corrections"] == []


def test_papers_say_until_when_by_the_end_as_it_was_corrected(service: Service) -> None:
    """Both what was announced before the end, and what was announced after it."""
    hand = a_meet_with_results(service, heats=2)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + timedelta(minutes=30))
    hand.load_result(1)
    assert hand.announce(1, despite=DESPITE).status_code == 201
    assert correct(hand, EVENING - timedelta(hours=1)).status_code == 201
    until = "until 15 June 2026, 19:00:00 CEST, 48 hours after the end of the meet."
    address = f"/api/meets/{hand.id}/announcements"
    told = service.http.get(address).json()["announcements"]
    assert len(told) == 2
    for one in told:
        text = service.http.get(f"{address}/{one['id']}.txt").text
        assert f"Protests (clerical or scoring error) can be lodged {until}" in text
        assert "20:00:00" not in text
        sheet = read_text(service.http.get(f"{address}/{one['id']}.pdf").content)
        assert "2026-06-15 19:00:00 CEST" in " ".join(sheet.split())


def test_a_corrected_end_says_which_protests_are_late_by_it_and_which_no_longer(
    service: Service,
) -> None:
    hand = a_meet_with_results(service)
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + TWO_DAYS - timedelta(minutes=30))
    sent = {
        "heat": hand.heat(),
        "team": hand.heats[0]["lanes"][0]["team"],
        "about": "placing",
        "ground": "clerical or scoring error",
        "lodged_by": "Mira Anchor",
    }
    lodged = hand.desk.put(f"protests/{new_id()}", sent)
    assert (lodged.status_code, lodged.json()["marks"]) == (201, [])
    by_then = "It was read aloud at 19:00."
    late = correct(hand, EVENING - timedelta(hours=1), remark=by_then).json()["corrections"][0]
    assert [one["number"] for one in late["now_late"]] == [lodged.json()["number"]]
    back = correct(hand, EVENING).json()["corrections"][1]
    assert [one["before"] for one in back["now_in_time"]] == ["LATE by 30 min"]


def test_a_corrected_end_keeps_the_bounds_of_the_first(service: Service) -> None:
    hand = a_meet_with_results(service)
    early = correct(hand, EVENING)
    assert "The meet goes on" in a_problem(early, 409, "conflict")["detail"]
    said = service.http.get(f"/api/meets/{hand.id}/end").json()
    assert said == {"ended_at": None, "ended_at_local": "", "corrections": []}
    assert end(hand).status_code == 201
    service.clock.stand_at(EVENING + timedelta(hours=20))
    for hours, words in (
        (0, "nothing to correct"),
        (21, "future"),
        (13, "first entered at"),
        (-8.1, "announced after that"),
    ):
        told = a_problem(correct(hand, EVENING + timedelta(hours=hours)), 422, "malformed")
        assert words in told["detail"]
        assert told["errors"][0]["pointer"] == "/ended_at"
    a_problem(correct(hand, EVENING - timedelta(hours=1), by="results"), 403, "role-missing")


def test_an_end_that_is_corrected_twice_keeps_the_bounds_of_the_first(service: Service) -> None:
    hand = a_meet_with_results(service)
    service.clock.stand_at(NOON + timedelta(hours=30))
    said = NOON + timedelta(hours=30)
    assert end(hand).status_code == 201
    assert correct(hand, said - timedelta(hours=11)).status_code == 201
    told = a_problem(correct(hand, said - timedelta(hours=13)), 422, "malformed")
    assert "twelve hours before it was first entered" in told["detail"]
    assert correct(hand, said - timedelta(hours=12)).status_code == 201
    service.clock.stand_at(said + timedelta(hours=3))
    later = a_problem(correct(hand, said + timedelta(hours=1)), 422, "malformed")
    assert "2026-06-14 18:00:00 CEST (Europe/Paris)" in later["detail"]


def test_an_end_in_the_future_is_refused_without_leading_anybody_to_end_the_meet_now(
    service: Service,
) -> None:
    """The end is said once (common practice): who would say it later must not say it by mistake."""
    hand = a_meet_with_results(service)
    told = a_problem(end(hand, ended_at=rfc3339(EVENING + timedelta(hours=1))), 422, "malformed")
    assert told["detail"] == (
        "This end of the meet lies in the future. Say it once the meet has ended, and nothing "
        "until then: sent without a time, this ends the meet at once."
    )
    assert hand.service.http.get(f"/api/meets/{hand.id}").json()["ended_at"] is None
