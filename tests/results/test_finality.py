"""Since when a result is final, and what it waits for: derived, never done.

That a result is final when every window has lapsed and nothing is pending is common practice: the
rules fix the clocks only (handed down with World Athletics TR8.2, TR8.7, TR8.11).
"""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, event

from app.appeals.tables import appeals, decisions, protests
from app.ids import HeatId, MeetId, new_id
from app.results.finality import final_heats, finality_of
from tests.appeals.desk import (
    a_panel,
    an_announced_disqualification,
    appeal,
    cast,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.appeals.desk import a_protest as desk_protest
from tests.appeals.desk import announced as desk_announced
from tests.appeals.desk import decided as desk_decided
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_problem
from tests.forms.pdf_reading import read_text
from tests.results.remedies import SET_ASIDE, a_decision, a_protest, an_appeal, change, withdrawn_at
from tests.running import Service

NOON = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)
CLOSES = NOON + timedelta(minutes=30)
TICK = timedelta(microseconds=1)
LATER = NOON + timedelta(hours=2)
DESPITE = "Nobody started the heat on the screen."


def announced(service: Service, heats: int = 1, **meet: Any) -> MeetAtHand:
    """A meet whose first heat was announced at noon; the clock stands there."""
    service.clock.stand_at(NOON)
    hand = a_meet(
        service, **{"heats": heats, "roles": ("results", "referee"), "umpires": (), **meet}
    )
    hand.load_result()
    assert hand.announce(despite=DESPITE).status_code == 201
    return hand


def board(hand: MeetAtHand, heat: int = 0) -> tuple[datetime | None, list[str]]:
    """Since when a heat's result is final and what it waits for, told alike wherever it is told."""
    listed = hand.desk.get("announcements").json()["announcements"]
    line = next(one for one in listed if one["heat"] == hand.heat(heat) and one["is_latest"])
    result = hand.desk.get(f"heats/{hand.heat(heat)}/result").json()["announced"]
    paper = hand.service.http.get(f"/api/meets/{hand.id}/announcements/{line['id']}.json").json()
    told = {(one["final_since"], *one["pending"]) for one in (line, result, paper)}
    assert len(told) == 1, told
    since = datetime.fromisoformat(line["final_since"]) if line["final_since"] else None
    states = [one["state"] for one in hand.desk.get("heats").json()["heats"]]
    assert (states[heat] == "final") is (since is not None)
    assert hand.desk.get(f"heats/{hand.heat(heat)}").json()["state"] == states[heat]
    return since, line["pending"]


def test_a_result_is_final_once_the_last_instant_of_its_window_is_over(service: Service) -> None:
    hand = announced(service)
    waiting = (None, ["Protests until 12:30:00 CEST."])
    for instant in (NOON, CLOSES):
        service.clock.stand_at(instant)
        assert board(hand) == waiting
    for instant in (CLOSES + TICK, LATER):
        service.clock.stand_at(instant)
        assert board(hand) == (CLOSES, [])


def test_a_day_is_named_where_the_window_closes_on_another(service: Service) -> None:
    hand = announced(service, terms={"protest_minutes": 24 * 60})
    assert board(hand)[1] == ["Protests until 14 June 2026, 12:00:00 CEST."]


def test_the_papers_say_what_a_result_waits_for_and_since_when_it_is_final(
    service: Service,
) -> None:
    hand = announced(service)
    ident = hand.desk.get("announcements").json()["announcements"][0]["id"]
    address = f"/api/meets/{hand.id}/announcements/{ident}"

    def sheet() -> str:
        return " ".join(read_text(service.http.get(f"{address}.pdf").content).split())

    assert "Not final yet. Protests until 12:30:00 CEST." in sheet()
    assert "inal" not in service.http.get(f"{address}.txt").text
    service.clock.stand_at(LATER)
    assert "Final since 2026-06-13 12:30:00 CEST (Europe/Paris)." in sheet()
    assert "Final since 12:30:00 CEST." in service.http.get(f"{address}.txt").text.splitlines()


def test_a_superseded_announcement_says_nothing_of_finality(service: Service) -> None:
    hand = announced(service)
    hand.announce(remark="It was not heard")
    service.clock.stand_at(LATER)
    first, second = sorted(
        hand.desk.get("announcements").json()["announcements"], key=lambda one: one["number"]
    )
    assert (first["final_since"], first["pending"]) == (None, [])
    assert second["final_since"] is not None


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("lodged", ["Protest 1 awaits the referee."]),
        ("referred", ["Protest 1 awaits the jury."]),
        ("upheld", []),
        ("rejected", []),
        ("withdrawn", []),
    ],
)
def test_a_result_waits_for_protests_that_nobody_has_decided(
    service: Service, state: str, words: list[str]
) -> None:
    hand = announced(service)
    a_protest(hand, state=state)
    service.clock.stand_at(LATER)
    assert board(hand) == (None if words else CLOSES, words)


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("lodged", ["Appeal 1 awaits the jury."]),
        ("late", ["Appeal 1 awaits the jury."]),
        ("admitted", ["Appeal 1 awaits the jury."]),
        ("upheld", []),
        ("rejected", []),
        ("withdrawn", []),
    ],
)
@pytest.mark.parametrize("protest", ["rejected", "referred"])
def test_a_result_waits_for_appeals_that_nobody_has_decided(
    service: Service, state: str, words: list[str], protest: str
) -> None:
    hand = announced(service)
    an_appeal(hand, a_protest(hand, state=protest), state=state)
    service.clock.stand_at(LATER)
    assert board(hand) == (None if words else CLOSES, words)


ADVICE = ["The decision on protest 1 is to be told to those who protested."]


@pytest.mark.parametrize(
    ("decision", "words"),
    [
        ({}, ADVICE),
        ({"verdict": "upheld"}, ADVICE),
        # There the time counts from the amended result.
        (
            {"verdict": "upheld", "carried_out": [SET_ASIDE]},
            ["An amended result is to be announced."],
        ),
        ({"verdict": "referred"}, []),
        ({"instance": "jury"}, []),
        ({"advised_at": LATER - timedelta(hours=1)}, []),
    ],
)
def test_a_result_waits_for_the_advice_that_nothing_is_amended(
    service: Service, decision: Json, words: list[str]
) -> None:
    # World Athletics TR8.7.2: the time for an appeal counts from that advice.
    hand = announced(service)
    a_decision(hand, a_protest(hand, state="rejected"), **decision)
    service.clock.stand_at(LATER)
    since, pending = board(hand)
    assert pending == words
    assert (since is None) is bool(words)


def test_what_a_decision_ordered_is_announced_before_a_result_is_final_whatever_its_lines_say(
    service: Service,
) -> None:
    # World Athletics TR8.7.1: the time for an appeal counts from the amended result.
    hand = announced(service)
    service.clock.stand_at(LATER)
    a_decision(hand, a_protest(hand, state="upheld"), verdict="upheld", carried_out=[SET_ASIDE])
    assert board(hand) == (None, ["An amended result is to be announced."])
    service.clock.move(timedelta(minutes=1))
    told = hand.announce()
    assert told.status_code == 201
    assert [one["remedy"] for one in told.json()["windows"]] == ["protest", "appeal"]
    assert board(hand)[1] == ["Protests until 14:31:00 CEST.", "Appeals until 14:31:00 CEST."]


def test_a_result_waits_for_a_re_run_of_some_of_its_teams(service: Service) -> None:
    # Rio 2016, women's 4x100 m: an obstructed team ran again, alone, and its time counted.
    service.clock.stand_at(NOON)
    hand = a_meet(service, heats=2)
    ruling = an_announced_disqualification(hand)
    lodged = lodge(hand, desk_protest(hand, ruling))
    again = {"order": "run again", "teams": [team(hand)], "time_to_beat": "42.30"}
    orders = [*set_aside(ruling), again]
    service.clock.move(timedelta(minutes=1))
    desk_decided(hand, lodged, "upheld", orders=orders)
    told = desk_announced(hand)
    assert told["changes"]
    service.clock.stand_at(LATER)
    assert board(hand) == (None, ["The re-run of some teams is to come."])
    hand.heats = hand.desk.get("heats").json()["heats"]
    hand.load_result(2)
    desk_announced(hand, 2)
    # Who is disqualified in the re-run is out of the heat too (TR7.1, from memory).
    (waits,) = board(hand)[1]
    assert waits.endswith(", re-run: protests until 14:30:00 CEST.")
    assert board(hand, 2)[1] == ["Protests until 14:30:00 CEST."]
    service.clock.move(timedelta(minutes=31))
    assert board(hand) == board(hand, 2) == (LATER + timedelta(minutes=30), [])


def test_it_is_final_since_the_last_thing_was_settled(service: Service) -> None:
    hand = announced(service)
    protest = a_protest(hand, state="rejected")
    appeal = an_appeal(hand, protest, state="admitted")
    decision = a_decision(hand, protest, advised_at=NOON + timedelta(minutes=5))
    service.clock.stand_at(LATER)
    assert board(hand) == (None, ["Appeal 1 awaits the jury."])
    at = [NOON + timedelta(minutes=minutes) for minutes in (50, 60, 70)]
    change(hand, appeals, appeal, state="withdrawn", withdrawn=withdrawn_at(at[0]))
    assert board(hand) == (at[0], [])
    change(hand, protests, protest, state="withdrawn", withdrawn=withdrawn_at(at[1]))
    assert board(hand) == (at[1], [])
    change(hand, decisions, decision, decided_at=at[2])
    assert board(hand) == (at[2], [])


def test_an_open_case_or_a_ruling_after_it_keeps_a_result_from_being_final(
    service: Service,
) -> None:
    hand = announced(service, roles=("results", "referee", "umpire"))
    hand.call("white")
    service.clock.stand_at(LATER)
    assert board(hand)[0] == CLOSES
    first, second = hand.report(lane=4)["case"], hand.report(lane=5)["case"]
    assert board(hand) == (None, ["2 cases await the head official."])
    hand.rule(first, verdict="dismissed")
    assert board(hand) == (None, ["A case awaits the head official."])
    service.clock.move(timedelta(minutes=5))
    hand.rule(second, verdict="dismissed")
    assert board(hand) == (LATER + timedelta(minutes=5), [])
    ruling = hand.rule(hand.report(lane=6)["case"]).json()
    assert board(hand) == (None, ["An amended result is to be announced."])
    assert hand.announce().status_code == 201
    assert board(hand)[1] == ["Protests until 14:35:00 CEST."]
    assert ruling["id"]


def test_a_heat_that_is_held_back_before_it_is_final_is_to_be_run(service: Service) -> None:
    hand = announced(service)
    hand.hold_back()
    service.clock.stand_at(LATER)
    assert board(hand) == (None, ["The heat is to be run again."])


@pytest.mark.parametrize("act", ["hold-back", "start"])
def test_a_heat_whose_result_is_final_stays_as_it_is(service: Service, act: str) -> None:
    hand = announced(service)
    service.clock.stand_at(LATER)
    seen = hand.referee.get(f"heats/{hand.heat()}")
    assert seen.json()["state"] == "final"
    before = hand.head()
    refused = hand.referee.post(f"heats/{hand.heat()}/{act}", etag=seen.headers["ETag"])
    told = a_problem(refused, 409, "conflict")
    assert "final since 2026-06-13 12:30:00 CEST (Europe/Paris)" in told["detail"]
    assert datetime.fromisoformat(told["final_since"]) == CLOSES
    assert hand.head() == before
    # A protest that comes late and is kept makes it open again, and the referee may order a re-run.
    a_protest(hand)
    word = {"despite": "The referee has ordered it."}
    held = hand.referee.post(f"heats/{hand.heat()}/hold-back", word, etag=seen.headers["ETag"])
    assert held.status_code == 200


def test_a_final_result_is_announced_again_only_with_a_remark_and_is_open_then(
    service: Service,
) -> None:
    hand = announced(service)
    service.clock.stand_at(LATER)
    told = a_problem(hand.announce(), 409, "needs-word")
    assert "final since 2026-06-13 12:30:00 CEST" in told["detail"]
    assert hand.announce(remark="The first was not heard").status_code == 201
    assert board(hand) == (None, ["Protests until 14:30:00 CEST."])


def test_what_counts_from_the_end_of_the_meet_holds_a_result_up_and_what_never_ends_does_not(
    service: Service,
) -> None:
    # NFHS 3-5-3b: 48 hours after the meet; 3-5-3c: ineligibility at any time.
    hand = announced(service, edition="nfhs-2019")
    service.clock.stand_at(LATER)
    waits = "Protests (clerical or scoring error) until 48 hours after the end of the meet."
    assert board(hand) == (None, [waits])
    assert hand.referee.put("end", {"pin": PIN}).status_code == 201
    closes = LATER + timedelta(hours=48)
    assert board(hand)[1] == [
        "Protests (clerical or scoring error) until 15 June 2026, 14:00:00 CEST."
    ]
    service.clock.stand_at(closes + TICK)
    assert board(hand) == (closes, [])


def test_a_heat_that_was_never_announced_is_not_final_and_waits_for_nothing(
    service: Service,
) -> None:
    hand = announced(service, heats=2)
    service.clock.stand_at(LATER)
    states = [one["state"] for one in hand.desk.get("heats").json()["heats"]]
    assert states == ["final", "to come"]
    hand.load_result(1)
    assert hand.desk.get(f"heats/{hand.heat(1)}/result").json()["announced"] is None


def test_no_name_and_nothing_reported_stands_on_the_board(service: Service) -> None:
    hand = announced(service, roles=("results", "referee", "umpire"))
    protest = a_protest(hand, words="Bo Halyard pushed us.")
    an_appeal(hand, protest, words="Bo Halyard pushed us.")
    a_decision(hand, protest, reasons="Bo Halyard did not.")
    hand.report(words="Bo Halyard ran into lane 5.")
    told = " ".join(board(hand)[1])
    for secret in ("Bo Halyard", "Mira Anchor", "umpire", "lane"):
        assert secret not in told


@pytest.fixture(scope="module")
def long_board(running_service: Service) -> MeetAtHand:
    """A hundred announced heats, each with a protest and a decision on it, half of them final."""
    running_service.clock.stand_at(NOON)
    hand = a_meet(running_service, heats=100, roles=("results", "referee"), umpires=())
    for heat in range(100):
        hand.load_result(heat)
        assert hand.announce(heat, despite=DESPITE).status_code == 201
        state = "rejected" if heat % 2 else "lodged"
        protest = a_protest(hand, heat, state=state)
        if heat % 2:
            a_decision(hand, protest, heat, advised_at=NOON)
    return hand


def test_a_hundred_heats_take_as_many_statements_as_one(
    service: Service, long_board: MeetAtHand
) -> None:
    meet, heats = MeetId(long_board.id), [HeatId(one["id"]) for one in long_board.heats]
    counts, took = [], []

    def read(conn: Connection, some: list[HeatId]) -> None:
        asked: list[str] = []

        def count(_conn: Connection, _cursor: object, statement: str, *_: object) -> None:
            asked.append(statement)

        event.listen(conn, "before_cursor_execute", count)
        began = time.perf_counter()
        found = finality_of(conn, meet, some, LATER)
        took.append(time.perf_counter() - began)
        event.remove(conn, "before_cursor_execute", count)
        counts.append(len(asked))
        finals = [one for one in some if found[one].since is not None]
        assert finals == some[1::2]
        assert final_heats(conn, meet, some, LATER) == set(finals)

    for some in (heats[:2], heats, heats):
        service.store.read_now(lambda conn, some=some: read(conn, some))
    assert counts[0] == counts[1] == counts[2]
    print(f"100 heats: {counts[1]} statements, {min(took[1:]) * 1000:.1f} ms")


SETTLED = ("upheld", "rejected", "withdrawn")


@given(
    protests_in=st.lists(st.sampled_from(("lodged", *SETTLED)), max_size=3),
    appeals_in=st.lists(st.sampled_from(("lodged", "late", "admitted", *SETTLED)), max_size=2),
    after=st.timedeltas(timedelta(0), timedelta(hours=1)),
)
@settings(max_examples=25, deadline=None)
def test_a_result_is_final_exactly_when_nothing_is_open_and_its_window_is_over(
    one_board: MeetAtHand,
    protests_in: list[str],
    appeals_in: list[str],
    after: timedelta,
) -> None:
    hand = one_board
    service = hand.service
    known = [a_protest(hand, state=state) for state in protests_in]
    for state in appeals_in if known else ():
        known.append(an_appeal(hand, known[0], state=state))
    heat, now = HeatId(hand.heat()), NOON + after
    one = service.store.read_now(lambda conn: finality_of(conn, MeetId(hand.id), [heat], now)[heat])
    undecided = protests_in.count("lodged")
    undecided += sum(state not in SETTLED for state in appeals_in) if protests_in else 0
    runs = now <= CLOSES
    assert (one.since is not None) is (not undecided and not runs)
    assert len(one.pending) == undecided + runs
    for ident in known:
        for table in (appeals, protests):
            change(hand, table, ident, state="withdrawn")


@pytest.fixture
def one_board(service: Service) -> MeetAtHand:
    return announced(service)


def a_round(hand: MeetAtHand, **changes: Any) -> None:
    """From the heats two go on by place and two by time."""
    setting: Json = {"event": hand.heats[0]["event"], "round": "heats"}
    onward = {"next_round": "final", "by_place": 2, "by_time": 2, "lanes": 8}
    answer = hand.organiser.put(f"rounds/{new_id()}", setting | (changes or onward))
    assert answer.status_code == 201, answer.text


def two_announced(service: Service, **round_: Any) -> MeetAtHand:
    """Both heats of a round were announced at noon, the first again with all letters."""
    service.clock.stand_at(NOON)
    hand = a_meet(service)
    a_round(hand, **round_)
    for heat in (0, 1):
        hand.start(heat)
        hand.load_result(heat)
        desk_announced(hand, heat)
    desk_announced(hand, remark="The letters are known now.")
    return hand


def test_a_heat_waits_for_what_can_move_its_letters_in_the_other_heats_of_its_round(
    service: Service,
) -> None:
    hand = two_announced(service)
    service.clock.stand_at(NOON + timedelta(minutes=10))
    desk_announced(hand, 1, remark="It was not heard")
    first = "Heat 2 of this round: protests until 12:40:00 CEST."
    assert board(hand)[1] == ["Protests until 12:30:00 CEST.", first]
    # What runs as long here is not told twice.
    assert board(hand, 1)[1] == ["Protests until 12:40:00 CEST."]
    lodged = lodge(hand, desk_protest(hand, team=team(hand, 7)))
    service.clock.stand_at(CLOSES + timedelta(minutes=5))
    assert board(hand) == (None, ["Protest 1 awaits the referee.", first])
    service.clock.stand_at(LATER)
    waits = "Heat 1 of this round: protest 1 awaits the referee."
    assert board(hand, 1) == (None, [waits])
    desk_decided(hand, lodged)
    told = "Heat 1 of this round: the decision on protest 1 is to be told to those who protested."
    assert board(hand, 1) == (None, [told])
    hand.desk.put(f"protests/{lodged['id']}/advice", {})
    assert board(hand, 1) == (None, ["Heat 1 of this round: appeals until 14:30:00 CEST."])
    service.clock.stand_at(LATER + timedelta(minutes=31))
    closed = LATER + timedelta(minutes=30)
    assert board(hand) == board(hand, 1) == (closed, [])


def test_a_heat_waits_for_a_re_run_in_its_round_and_for_what_can_be_lodged_about_it(
    service: Service,
) -> None:
    hand = two_announced(service)
    lodged = lodge(hand, desk_protest(hand, team=team(hand, 8)))
    order = {"order": "run again", "teams": [team(hand, 8)], "time_to_beat": "42.30"}
    service.clock.move(timedelta(minutes=1))
    desk_decided(hand, lodged, "upheld", orders=[order])
    desk_announced(hand)
    service.clock.stand_at(LATER)
    waits = "Heat 1 of this round: the re-run of some teams is to come."
    assert board(hand, 1) == (None, [waits])
    hand.heats = hand.desk.get("heats").json()["heats"]
    hand.start(2)
    hand.load_result(2, "lane,time\n8,44.00")
    desk_announced(hand, 2)
    assert "Heat 1 of the heats, re-run: protests until 14:30:00 CEST." in board(hand, 1)[1]


TO_COME = "Heat 2 of this round: its result is to be announced."
TO_AMEND = "Heat 2 of this round: an amended result is to be announced."


@pytest.mark.parametrize("round_", [{}, {"points": ["5", "3"]}])
def test_a_heat_waits_for_the_results_of_the_others_that_share_its_letters_or_points(
    service: Service, round_: Json
) -> None:
    service.clock.stand_at(NOON)
    hand = a_meet(service)
    a_round(hand, **round_)
    hand.start(0)
    hand.load_result(0)
    desk_announced(hand)
    service.clock.stand_at(LATER)
    assert board(hand) == (None, [TO_COME])
    hand.start(1)
    hand.load_result(1)
    assert board(hand) == (None, [TO_COME])
    desk_announced(hand, 1)
    assert board(hand) == (None, ["Heat 2 of this round: protests until 14:30:00 CEST."])
    service.clock.stand_at(LATER + timedelta(minutes=31))
    assert board(hand) == board(hand, 1) == (LATER + timedelta(minutes=30), [])


@pytest.mark.parametrize("round_", [{}, {"points": ["5", "3"]}])
def test_a_heat_waits_for_an_amended_result_of_another_that_shares_its_letters_or_points(
    service: Service, round_: Json
) -> None:
    hand = two_announced(service, **round_)
    service.clock.stand_at(LATER)
    # Announced again within the same instant.
    assert board(hand) == (CLOSES + TICK, [])
    rows = [f"{lane['lane']},43.{lane['lane']}0" for lane in hand.heats[1]["lanes"]]
    seen = hand.desk.get(f"heats/{hand.heat(1)}/result").headers["ETag"]
    sent = "\n".join(["lane,time", *rows])
    loaded = hand.desk.put(f"heats/{hand.heat(1)}/result", content=sent, etag=seen)
    assert loaded.status_code == 200, loaded.text
    assert board(hand) == (None, [TO_AMEND])
    assert board(hand, 1) == (None, ["An amended result is to be announced."])
    desk_announced(hand, 1)
    assert TO_AMEND not in board(hand)[1]


def test_a_heat_waits_for_another_whose_team_a_decision_in_it_puts_out(service: Service) -> None:
    # World Athletics TR21: who goes on by time is ranked over all heats of the round.
    service.clock.stand_at(NOON)
    hand = a_meet(service)
    a_round(hand, next_round="final", by_place=1, by_time=1, lanes=8)
    for heat in (0, 1):
        hand.start(heat)
    ruled = hand.rule(hand.report(lane=4)["case"])
    assert ruled.status_code == 201, ruled.text
    for heat, seconds in enumerate((41, 43)):
        lanes = [lane["lane"] for lane in hand.heats[heat]["lanes"]]
        rows = [f"{lane},{seconds}.{lane}0" for lane in lanes if heat or lane in {1, 4}]
        rows += [f"{lane},DNF" for lane in lanes if not heat and lane not in {1, 4}]
        hand.load_result(heat, "\n".join(["lane,time", *rows]))
        desk_announced(hand, heat)
    lodged = lodge(hand, desk_protest(hand, team=team(hand, 4)))
    service.clock.move(timedelta(minutes=1))
    desk_decided(hand, lodged, "upheld", orders=set_aside(ruled.json()))
    desk_announced(hand)
    service.clock.stand_at(LATER)
    assert board(hand) == (None, [TO_AMEND])
    desk_announced(hand, 1)
    service.clock.stand_at(LATER + timedelta(minutes=31))
    assert board(hand) == board(hand, 1) == (LATER + timedelta(minutes=30), [])


def test_heats_of_no_set_round_do_not_wait_for_each_other(service: Service) -> None:
    service.clock.stand_at(NOON)
    hand = a_meet(service, heats=3)
    for heat in (0, 1):
        hand.start(heat)
        hand.load_result(heat)
        desk_announced(hand, heat)
    lodge(hand, desk_protest(hand, team=team(hand, 7)))
    service.clock.stand_at(LATER)
    assert board(hand, 1) == (CLOSES, [])


def test_the_heats_of_a_round_take_as_many_statements_together_as_one_of_them(
    service: Service,
) -> None:
    hand = two_announced(service)
    heats = [HeatId(one["id"]) for one in hand.heats]

    def count(conn: Connection, some: list[HeatId]) -> int:
        asked: list[str] = []

        def note(_conn: Connection, _cursor: object, statement: str, *_: object) -> None:
            asked.append(statement)

        event.listen(conn, "before_cursor_execute", note)
        finality_of(conn, MeetId(hand.id), some, LATER)
        event.remove(conn, "before_cursor_execute", note)
        return len(asked)

    one = service.store.read_now(lambda conn: count(conn, heats[:1]))
    # Those of its round are looked up on top, once.
    assert service.store.read_now(lambda conn: count(conn, heats)) == one - 1


@pytest.mark.parametrize("verdict", ["upheld", "rejected"])
def test_once_the_jury_has_decided_nobody_waits_for_the_advice_that_was_never_given(
    service: Service, verdict: str
) -> None:
    service.clock.stand_at(NOON)
    hand = a_meet(service, heats=1)
    ruling = an_announced_disqualification(hand)
    protest = lodge(hand, desk_protest(hand, ruling))
    desk_decided(hand, protest)
    lodged = appeal(hand, protest)
    names = a_panel(hand, lodged)
    for name in names:
        cast(hand, lodged, name, verdict)
    orders = set_aside(ruling) if verdict == "upheld" else []
    assert jury_decides(hand, lodged, names[0], verdict, orders=orders).status_code == 201
    if orders:
        desk_announced(hand)
    service.clock.stand_at(LATER)
    assert board(hand) == (CLOSES, [])
