"""The announcer's text of an amended result: nothing in it is untrue when it is read aloud.

The time for protests: World Athletics TR8.2 (30 minutes), number from memory. Letters of those who
go on: World Athletics CR25.4 (Q, q, and qR and qJ in federation notices of 2023). That an announcer
says which result is amended, by whose decision and what changed by it, names teams that share a
place as equal, says who is through from the heat, and names no day but another one than today, is
common practice.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.clock import clock_time, long_date
from app.results.marks_aloud import marks_aloud
from tests.appeals.desk import an_upheld_appeal, announced, cast, decided, jury_decides
from tests.appeals.test_reopening import reopen
from tests.appeals.test_rounds_moved import a_round, protest, re_run_of
from tests.builders import Json, MeetAtHand, a_meet
from tests.forms.pdf_reading import read_text
from tests.rounds.builders import Event, an_event, two_heats
from tests.running import Service

ZONE = "Europe/Paris"
NOON = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)


@pytest.fixture
def own(service: Service) -> MeetAtHand:
    """A meet of its own, whose clock may be moved."""
    return a_meet(service)


def read_aloud(meet: MeetAtHand, told: Json) -> list[str]:
    address = f"/api/meets/{meet.id}/announcements/{told['id']}.txt"
    return meet.service.http.get(address).text.splitlines()


def sheet(meet: MeetAtHand, told: Json) -> list[str]:
    address = f"/api/meets/{meet.id}/announcements/{told['id']}.pdf"
    return read_text(meet.service.http.get(address).content).splitlines()


def test_each_team_that_shares_a_place_is_said_to_be_equal(own: MeetAtHand) -> None:
    event = two_heats(own)
    told = read_aloud(own, event.run("heats 1", "42.10", "42.50", "42.50"))
    assert told[2:5] == [
        "First, Tern, 42.10.",
        "Equal second, Gull, 42.50.",
        "Equal second, Heron, 42.50.",
    ]


def test_a_window_that_has_closed_is_not_read_as_if_it_were_open(own: MeetAtHand) -> None:
    own.service.clock.stand_at(NOON)
    told = two_heats(own).run("heats 1", "42.10", "42.50", "43.00")
    closes = datetime.fromisoformat(told["windows"][0]["closes_at"])
    own.service.clock.stand_at(closes)
    until = clock_time(closes, ZONE)
    assert (
        f"Protests can be lodged until {until}, 30 minutes from this announcement."
        in read_aloud(own, told)
    ), "the last instant counts"
    own.service.clock.stand_at(closes + timedelta(seconds=1))
    assert f"Protests could be lodged until {until}: that time is over." in read_aloud(own, told)


def test_a_re_run_against_a_time_amends_the_result_and_is_said_with_that_time(
    own: MeetAtHand,
) -> None:
    event = a_round(own)
    orders = [{"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}]
    decided(own, protest(event, "Heron"), "upheld", orders=orders)
    told = event.announce("heats 1").json()
    assert told["changes"] == [], "who goes on is open again, and nothing else is otherwise"
    text = read_aloud(own, told)
    assert text[0].startswith("Amended result for ")
    assert "Amended result" in sheet(own, told)
    assert any("the time to beat is 42.60" in line for line in text)
    again = re_run_of(event)
    event.load(again, "42.55")
    text = read_aloud(own, event.announce(again).json())
    assert text[0].startswith("Result for ")
    assert any("the time to beat is 42.60" in line for line in text)
    other = event.announce("heats 2").json()
    assert other["changes"] == ["Curlew, lane 4: not through; before: through by time (q)."]


def test_the_first_result_of_a_re_run_tells_what_was_decided_since_it_was_ordered(
    own: MeetAtHand,
) -> None:
    """What came before is told by the round that it repeats."""
    event = a_round(own)
    heron = event.team("Heron")
    correct = [{"order": "correct", "team": heron, "time": "42.95"}]
    decided(own, protest(event, "Heron"), "upheld", orders=correct)
    assert len(event.announce("heats 1").json()["because"]) == 1
    again = [{"order": "run again", "teams": [heron], "time_to_beat": "42.60"}]
    decided(own, protest(event, "Tern"), "upheld", orders=again)
    assert len(event.announce("heats 1").json()["because"]) == 1
    advance = [{"order": "advance", "team": heron}]
    decided(own, protest(event, "Heron"), "upheld", orders=advance)
    run = re_run_of(event)
    event.load(run, "42.65")
    told = event.announce(run).json()
    assert [one.split(" was upheld")[0] for one in told["because"]] == [
        "Protest 2 of Tern, heats, heat 1,",
        "Protest 3 of Heron, heats, heat 1,",
    ]


def half_a_round(meet: MeetAtHand) -> Event:
    """One of two heats is announced, so that nobody knows yet who goes on by time."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    return event


def test_a_letter_that_a_decision_gives_before_the_round_is_complete_is_told(
    own: MeetAtHand,
) -> None:
    event = half_a_round(own)
    orders = [{"order": "advance", "team": event.team("Heron")}]
    out = decided(own, protest(event, "Heron"), "upheld", orders=orders)
    told = event.announce("heats 1").json()
    gained = "Heron, lane 5: through by the referee's decision (qR)"
    assert told["changes"] == [f"{gained}; before: not known yet whether through."]
    assert read_aloud(own, told)[0].startswith("Amended result for ")
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    decided(own, protest(event, "Tern"), "upheld", orders=undo)
    back = event.announce("heats 1").json()
    assert back["changes"] == [
        "Heron, lane 5: not known yet whether through; before: through by the referee's decision "
        "(qR)."
    ]


def test_of_who_went_on_by_another_heats_announcement_the_letter_told_there_is_said(
    own: MeetAtHand,
) -> None:
    """That an amended result says what was said before is common practice."""
    event = two_heats(own)
    event.set(by_time=1)
    for heat in ("heats 1", "heats 2"):
        event.run(heat, *TIMES[heat])
    gull, heron = event.team("Gull"), event.team("Heron")
    orders = [
        {"order": "correct", "team": heron, "time": "42.40"},
        {"order": "advance", "team": gull},
    ]
    decided(own, protest(event, "Heron"), "upheld", orders=orders)
    told = event.announce("heats 1").json()
    assert told["changes"] == [
        "Heron, lane 5: place 2, 42.40; before: place 3, 43.00.",
        "Gull, lane 4: place 3, 42.50, through by the referee's decision (qR); before: place 2, "
        "42.50, through by time (q).",
    ]
    assert told["through"] == ["Now through to the final: Heron by time."]


def test_a_letter_that_another_heats_announcement_told_first_has_not_changed(
    own: MeetAtHand,
) -> None:
    event = half_a_round(own)
    orders = [{"order": "advance", "team": event.team("Heron")}]
    decided(own, protest(event, "Heron"), "upheld", orders=orders)
    first = event.run("heats 2", *TIMES["heats 2"])
    assert "Heron" in [one["team_name"] for one in first["qualified"] if one["letter"] == "qR"]
    told = event.announce("heats 1").json()
    assert (told["changes"], told["through"]) == ([], [])
    assert any("Heron goes on to the final (qR)." in line for line in told["because"])
    assert read_aloud(own, told)[0].startswith("Amended result for ")


def test_a_letter_that_a_re_run_told_before_the_round_was_complete_has_not_changed(
    own: MeetAtHand,
) -> None:
    event = half_a_round(own)
    again = {"order": "run again", "teams": [event.team("Heron")], "added_places": 1}
    decided(own, protest(event, "Heron"), "upheld", orders=[again])
    assert event.announce("heats 1").json()["changes"] == []
    run = re_run_of(event)
    event.load(run, "42.40")
    (line,) = event.announce(run).json()["lines"]
    assert line["qualification"] == "qR"
    told = event.announce("heats 1", remark="Heron has run again.").json()
    assert told["changes"] == []


def test_who_was_not_among_those_who_went_on_by_another_heat_was_not_through(
    own: MeetAtHand,
) -> None:
    event = a_round_run_in(own, ("heats 1", "heats 2"))
    orders = [{"order": "advance", "team": event.team("Heron")}]
    decided(own, protest(event, "Heron"), "upheld", orders=orders)
    told = event.announce("heats 1").json()
    assert told["changes"] == [
        "Heron, lane 5: through by the referee's decision (qR); before: not through."
    ]
    assert told["through"] == []


def test_the_same_result_again_is_announced_again(own: MeetAtHand) -> None:
    event = half_a_round(own)
    told = event.announce("heats 1", remark="It was not heard").json()
    assert not told["is_ordered_here"]
    assert read_aloud(own, told)[0].startswith("Result, announced again, for ")


def test_an_appeal_that_is_rejected_when_looked_at_again_is_not_read_as_upheld(
    own: MeetAtHand,
) -> None:
    heard = an_upheld_appeal(own)
    announced(own)
    assert reopen(own, heard, heard["names"][0]).status_code == 200
    for name in heard["names"]:
        assert cast(own, heard, name, "rejected").status_code == 201
    assert jury_decides(own, heard, heard["names"][0], "rejected").status_code == 201
    text = "\n".join(read_aloud(own, announced(own)))
    assert "Appeal 1 of Plover 1, reopened on new evidence, was rejected by the jury" in text
    assert "counts again" in text


TIMES = {"heats 1": ("42.10", "42.50", "43.00"), "heats 2": ("42.20", "42.60", "43.10")}
ABOUT = (
    "The finish of Heron is corrected: 42.55 instead of 43.00.",
    "Qualified for the final: Tern and Plover by place; Gull and Heron by time.",
)


def a_round_run_in(meet: MeetAtHand, order: Iterable[str]) -> Event:
    """Both heats are announced, the second of the order with who goes on: Curlew by time."""
    event = two_heats(meet)
    event.set()
    for heat in order:
        event.run(heat, *TIMES[heat])
    return event


@pytest.mark.parametrize("order", [("heats 1", "heats 2"), ("heats 2", "heats 1")])
def test_whom_a_decision_in_another_heat_puts_out_is_named_with_whom_it_lets_in(
    own: MeetAtHand, order: tuple[str, str]
) -> None:
    """Whichever heat was announced first, and so did not tell who goes on by time."""
    event = a_round_run_in(own, order)
    orders = [{"order": "correct", "team": event.team("Heron"), "time": "42.55"}]
    decided(own, protest(event, "Heron"), "upheld", orders=orders)
    told = {heat: event.announce(heat, remark="By decision") for heat in ("heats 1", "heats 2")}
    first, second = (read_aloud(own, one.json()) for one in told.values())
    assert "No longer through to the final: Curlew of heat 2." in first
    assert "Now through to the final: Heron of heat 1 by time." in second
    assert {
        "No longer through to the final: Curlew.",
        "Changed: Curlew, lane 4: not through; before: through by time.",
    }.intersection(second)
    for text in (first, second):
        assert text[0].startswith("Amended result for ")
        assert all(any(words in line for line in text) for words in ABOUT)
    assert "Protest 1 of Heron, heat 1, was upheld by the referee" in "\n".join(second)
    assert "Now through to the final: Heron of heat 1 by time." in sheet(
        own, told["heats 2"].json()
    )


def test_whom_a_ruling_in_another_heat_lets_in_is_named_with_whom_it_puts_out(
    own: MeetAtHand,
) -> None:
    event = a_round_run_in(own, ("heats 1", "heats 2"))
    event.disqualify("Gull")
    text = read_aloud(own, event.announce("heats 1").json())
    assert "Now through to the final: Heron by time." in text
    assert "No longer through to the final: Gull." in text
    text = read_aloud(own, event.announce("heats 2", remark="Heat 1 was amended").json())
    assert "Now through to the final: Heron of heat 1 by time." in text
    assert "No longer through to the final: Gull of heat 1." in text


def test_nobody_is_said_to_be_out_while_it_is_open_who_goes_on(own: MeetAtHand) -> None:
    event = a_round_run_in(own, ("heats 1", "heats 2"))
    orders = [{"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}]
    decided(own, protest(event, "Heron"), "upheld", orders=orders)
    assert event.announce("heats 1").json()["through"] == []
    again = re_run_of(event)
    event.load(again, "42.55")
    told = event.announce(again).json()
    assert told["through"] == [
        "Now through to the final: Heron by time.",
        "No longer through to the final: Curlew of heat 2.",
    ]


def test_the_same_teams_going_on_are_no_news(own: MeetAtHand) -> None:
    event = a_round_run_in(own, ("heats 1", "heats 2"))
    event.load("heats 2", "42.15", "42.60", "43.10")
    assert event.announce("heats 2").json()["through"] == []


OTHERS = "may go on by time: that is not known before all heats have been announced."


@pytest.mark.parametrize(
    ("setting", "told"),
    [
        ({}, ["Through to the final from this heat: Tern by place.", f"Others {OTHERS}"]),
        (
            {"by_place": 2, "by_time": 0},
            ["Through to the final from this heat: Tern and Gull by place."],
        ),
        ({"by_place": 0}, [f"Teams of this heat {OTHERS}"]),
    ],
)
def test_a_first_result_says_who_is_through_by_place_and_whether_others_may_go_on(
    own: MeetAtHand, setting: Json, told: list[str]
) -> None:
    event = two_heats(own)
    event.set(**setting)
    text = read_aloud(own, event.run("heats 1", *TIMES["heats 1"]))
    assert text[2:5] == ["First, Tern, 42.10.", "Second, Gull, 42.50.", "Third, Heron, 43.00."]
    assert text[5 : 5 + len(told)] == told
    assert text[5 + len(told)].startswith("This result is announced although ")


TIE = "Gull and Curlew tie for one place: lots decide."


def test_where_all_heats_are_announced_and_lots_decide_it_is_said_between_whom(
    own: MeetAtHand,
) -> None:
    """Lots decide a tie at the cut without room: World Athletics TR21, from memory."""
    event = two_heats(own)
    event.set(by_time=1, lanes=3)
    first = event.run("heats 1", "42.100", "42.200", "42.300")
    last = event.run("heats 2", "42.150", "42.200", "42.350")
    text = read_aloud(own, last)
    assert text[5:7] == ["Through to the final from this heat: Plover by place.", TIE]
    assert "by time" not in "\n".join(text)
    assert f"Others {OTHERS}" in read_aloud(own, first), "as it was then"
    assert event.lots("Gull", "Curlew").status_code == 201
    assert read_aloud(own, last)[5:7] == text[5:7]
    text = read_aloud(own, event.announce("heats 2").json())
    assert "Qualified for the final: Tern and Plover by place; Gull by lot." in text
    assert TIE not in text


def test_whom_lots_for_a_place_leave_out_may_go_on_by_time_and_what_that_waits_for_is_said(
    own: MeetAtHand,
) -> None:
    event = an_event(
        own, {"heats 1": ("Tern", "Gull", "Heron", "Avocet"), "heats 2": ("Plover", "Curlew")}
    )
    event.set(by_time=1, lanes=3)
    text = read_aloud(own, event.run("heats 1", "42.100", "42.100", "42.100", "42.50"))
    waits = "Others may go on by time: that is not known before"
    assert {
        "Tern, Gull and Heron tie for one place: lots decide.",
        f"{waits} all heats have been announced and lots have been drawn.",
    }.issubset(text)
    text = read_aloud(own, event.run("heats 2", "42.20", "42.60"))
    assert {
        "Through to the final from this heat: Plover by place.",
        "Tern, Gull and Heron tie for one place: lots decide.",
        f"{waits} lots have been drawn.",
    }.issubset(text)


def test_that_lots_decide_is_of_what_is_looked_at_before_it_is_announced(own: MeetAtHand) -> None:
    event = two_heats(own)
    event.set(by_time=1, lanes=3)
    event.load("heats 1", "42.100", "42.200", "42.300")
    before = event.result("heats 1")
    assert (before["is_round_complete"], before["open_draw"]) == (False, None)
    event.run("heats 2", "42.150", "42.200", "42.350")
    after = event.result("heats 1")
    names = [team["name"] for team in after["open_draw"]["teams"]]
    assert (after["is_round_complete"], names) == (True, ["Gull", "Curlew"])
    assert after["version"] != before["version"]


def test_where_nobody_else_of_the_heat_can_go_on_nothing_is_said_of_others(own: MeetAtHand) -> None:
    event = two_heats(own)
    event.set()
    text = "\n".join(read_aloud(own, event.run("heats 1", "42.10", "DNF", "DNS")))
    assert "Through to the final from this heat: Tern by place." in text
    assert OTHERS not in text


def test_with_the_last_heat_all_who_qualified_are_read_and_nothing_is_open(own: MeetAtHand) -> None:
    event = a_round_run_in(own, ["heats 1"])
    text = "\n".join(read_aloud(own, event.run("heats 2", *TIMES["heats 2"])))
    assert "Qualified for the final: Tern and Plover by place; Gull and Curlew by time." in text
    assert "from this heat" not in text
    assert OTHERS not in text


def test_of_a_round_that_leads_nowhere_nobody_is_through(own: MeetAtHand) -> None:
    text = "\n".join(read_aloud(own, two_heats(own).run("heats 1", *TIMES["heats 1"])))
    assert "hrough" not in text


def before_midnight(meet: MeetAtHand, minutes: int) -> datetime:
    """The clock stands so many minutes before the day ends at the meet."""
    local = meet.service.clock.now().astimezone(ZoneInfo(ZONE))
    midnight = datetime.combine(local.date() + timedelta(days=1), time(), ZoneInfo(ZONE))
    at = midnight.astimezone(UTC) - timedelta(minutes=minutes)
    meet.service.clock.stand_at(at)
    return at


def test_what_is_of_the_same_day_is_read_with_the_clock_time_alone(own: MeetAtHand) -> None:
    at = before_midnight(own, 180)
    event = two_heats(own)
    first = event.run("heats 1", *TIMES["heats 1"])
    own.service.clock.stand_at(at + timedelta(minutes=10))
    second = event.announce("heats 1", remark="It was not heard").json()
    words = "Superseded by announcement 2, made at 21:10:00 C"
    assert read_aloud(own, first)[0].startswith(words)
    own.service.clock.stand_at(at + timedelta(minutes=45))
    assert read_aloud(own, second)[-1].startswith("Final since 21:40:00 C")
    text = read_aloud(own, second)
    assert sum(f"{at.year}" in line for line in text) == 1, "the day is said once"


def test_what_is_of_another_day_is_read_with_it(own: MeetAtHand) -> None:
    at = before_midnight(own, 10)
    event = two_heats(own)
    first = event.run("heats 1", *TIMES["heats 1"])
    orders = [{"order": "correct", "team": event.team("Heron"), "time": "42.55"}]
    decided(own, protest(event, "Heron"), "upheld", orders=orders)
    today, after = long_date(at, ZONE), at + timedelta(minutes=15)
    own.service.clock.stand_at(after)
    amended = read_aloud(own, event.announce("heats 1").json())
    tomorrow = long_date(after, ZONE)
    decision = next(line for line in amended if line.startswith("Protest 1 "))
    assert f"by the referee on {today} at 23:50:00 C" in decision
    text = read_aloud(own, first)
    assert text[0].startswith(f"Superseded by announcement 2, made on {tomorrow} at 00:05:00 C")
    assert any(f"until {tomorrow}, 00:20:00 C" in line for line in text)


@pytest.mark.parametrize(
    ("printed", "said"),
    [
        (
            "Tern, lane 4: DQ TR24.7, not through; before: place 2, 42.50, through by place (Q).",
            "Tern, lane 4: disqualified by rule TR24.7, not through; before: place 2, 42.50, "
            "through by place.",
        ),
        (
            "Tern, lane 4: DNF; before: lane 5, DNS.",
            "Tern, lane 4: did not finish; before: lane 5, did not start.",
        ),
        (
            "Tern, lane 4: place 3, 42.35, L; before: place 3, 42.35.",
            "Tern, lane 4: place 3, 42.35, lane infringement noted; before: place 3, 42.35.",
        ),
        (
            "The disqualification of Tern (DQ TR24.20) is set aside.",
            "The disqualification of Tern by rule TR24.20 is set aside.",
        ),
        (
            "Tern is disqualified (DQ TR24.7: pass completed beyond the take-over zone).",
            "Tern is disqualified by rule TR24.7: pass completed beyond the take-over zone.",
        ),
        ("Crew L, lane 4: place 3, 42.35; before: place 2, 42.35.",) * 2,
        ("That Tern goes on (qJ) is taken back.", "That Tern goes on is taken back."),
    ],
)
def test_marks_of_the_sheet_are_read_in_words(printed: str, said: str) -> None:
    """The marks: World Athletics CR25.4 (DNS, DNF, DQ, L, Q, q), from memory."""
    assert marks_aloud(printed) == said


@pytest.mark.parametrize(
    ("names", "printed", "said"),
    [
        (
            ("Ravens (q)", "Ravens"),
            "Protest 1 was upheld for Ravens (q). Tern, lane 4: through by time (q).",
            "Protest 1 was upheld for Ravens (q). Tern, lane 4: through by time.",
        ),
        (
            ("DQ Team", "DNS Harriers", "Team"),
            "Now in the draw: DQ Team, DNS Harriers and Tern, lane 4: DNS, not through.",
            "Now in the draw: DQ Team, DNS Harriers and Tern, lane 4: did not start, not through.",
        ),
        (
            ("Gulls (DQ squad)",),
            "Gulls (DQ squad), lane 4: DQ TR24.7; before: place 2, 42.35, L.",
            "Gulls (DQ squad), lane 4: disqualified by rule TR24.7; before: place 2, 42.35, lane "
            "infringement noted.",
        ),
        (
            ("DNS", "L", "q", "NS"),
            "DNS, lane 4: DNS; before: place 2, 42.35, L.",
            "DNS, lane 4: did not start; before: place 2, 42.35, lane infringement noted.",
        ),
    ],
)
def test_what_looks_like_a_mark_in_the_name_of_a_team_is_read_as_it_is(
    names: tuple[str, ...], printed: str, said: str
) -> None:
    """But for a name that is nothing but a mark, which cannot be told from one."""
    assert marks_aloud(printed, names) == said


def test_names_that_look_like_marks_are_read_as_they_are_in_whichever_heat_they_ran(
    own: MeetAtHand,
) -> None:
    event = an_event(
        own,
        {
            "heats 1": ("Gulls (DQ squad)", "DNS Harriers", "DQ Team"),
            "heats 2": ("Plover", "Ravens (q)", "Tern"),
        },
    )
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    teams = ("Gulls (DQ squad)", "DNS Harriers", "DQ Team")
    again = {"order": "run again", "teams": [event.team(name) for name in teams]}
    decided(own, protest(event, "DQ Team"), "upheld", orders=[again])
    event.load("heats 2", "42.20", "DNS", "43.10")
    first, second = (
        "\n".join(read_aloud(own, event.announce(heat, remark="So ordered").json()))
        for heat in ("heats 1", "heats 2")
    )
    for text in (first, second):
        assert "Gulls (DQ squad), DNS Harriers and DQ Team run again, the same runners" in text
    assert "Changed: Ravens (q), lane 4: did not start; before: place 2, 42.60." in second


def test_what_was_decided_and_what_changed_is_read_without_marks(own: MeetAtHand) -> None:
    an_upheld_appeal(own)
    told = announced(own)
    text = "\n".join(read_aloud(own, told))
    assert "by rule TR24.7 is set aside." in text
    assert "before: disqualified by rule TR24.7." in text
    assert "DQ" not in text
    assert "before: DQ TR24.7." in "\n".join(sheet(own, told))
