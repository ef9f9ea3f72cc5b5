"""The books hold what the published codes say; each row names the values that must agree."""

import re
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise

import pytest

from app.rules.book import Book, editions, load_book
from app.rules.book_parts import Remedy, ReturnPoint
from app.rules.facts import Mark
from app.rules.observation import Infringement
from app.rules.relay import TAKE_OVERS, Relay
from tests.rules.builders import all_books, rows

BOOKS_OF_ROW = {
    ("world-athletics", "from 2017-11-01"): ("world-athletics-2017", "world-athletics-2021"),
    ("world-athletics", "from 2025-11-01"): ("world-athletics-2025",),
    ("older-20-plus-10", "until 2017-10-31"): ("older-20-plus-10",),
    ("nfhs", "from 2019-20"): ("nfhs-2019",),
}
RETURN_IN_WORDS = {
    ReturnPoint.ALWAYS: "return to where it was last in hand",
    ReturnPoint.IF_SIDEWAYS_OR_FORWARD: "return to where it was last in hand if it went sideways"
    " or forward",
    ReturnPoint.NOT_ASKED: "no return asked; back to own lane first if fetched from an inner lane",
}


def _published() -> Iterator[tuple[dict[str, str], Book]]:
    for row in rows("codes.csv"):
        for key in BOOKS_OF_ROW[row["code"], row["edition"]]:
            yield row, load_book(key)


def _window_minutes(book: Book, remedy: Remedy) -> int | None:
    return next(rule.minutes for rule in book.windows if rule.remedy is remedy)


PAIRS = list(_published())
NAMES = [book.key for _, book in PAIRS]
published = pytest.mark.parametrize(("row", "book"), PAIRS, ids=NAMES)


def test_every_published_row_has_its_book_and_every_book_its_row() -> None:
    assert sorted(NAMES) == sorted(editions())


@published
def test_a_book_has_the_code_and_takes_force_on_the_published_day(
    row: dict[str, str], book: Book
) -> None:
    assert book.code == row["code"]
    first = min(other.in_force_from for of_row, other in PAIRS if of_row == row)
    assert first == date.fromisoformat(row["in_force_from"])


@published
def test_zones_are_as_long_as_published(row: dict[str, str], book: Book) -> None:
    for relay in (Relay.FOUR_BY_100, Relay.FOUR_BY_200, Relay.FOUR_BY_400):
        for take_over in TAKE_OVERS:
            assert book.zone(relay, take_over).length_m == float(row[f"zone_{relay}"])


@published
def test_acceleration_zones_stand_only_where_published(row: dict[str, str], book: Book) -> None:
    stated = re.match(r"(\d+) \((.+) only\)", row["acceleration_zone"])
    metres = float(stated.group(1)) if stated else 0.0
    relays = set(stated.group(2).split(" and ")) if stated else set()
    for relay in Relay:
        for take_over in TAKE_OVERS:
            expected = metres if relay.value in relays else 0.0
            assert book.zone(relay, take_over).acceleration_m == expected


@published
def test_edges_are_read_as_published(row: dict[str, str], book: Book) -> None:
    zone = book.zone(Relay.FOUR_BY_100, 1)
    lines = {"nearer-start edges": (True, False), "both limit lines included": (True, True)}
    assert (zone.first_line_inside, zone.last_line_inside) == lines[row["edge_reading"]]


@published
def test_windows_and_deposit_are_as_published(row: dict[str, str], book: Book) -> None:
    assert _window_minutes(book, Remedy.PROTEST) == int(row["protest_minutes"])
    appeal = _window_minutes(book, Remedy.APPEAL)
    assert (str(appeal) if appeal else "unset: games committee") == row["appeal_minutes"]
    deposit = book.appeal_deposit
    stated = f"{deposit.amount} {deposit.currency}" if deposit else "unset: games committee"
    assert stated == row["appeal_deposit"]


@published
def test_a_dropped_baton_is_treated_as_published(row: dict[str, str], book: Book) -> None:
    rule = book.dropped_baton
    if rule.either_when_dropped_inside_zone:
        words = "inside the zone and rolled out: either runner may fetch it and returns into"
        assert row["dropped_baton"] == f"{words} the zone"
        assert rule.back_into_zone
    else:
        assert RETURN_IN_WORDS[rule.return_point] == row["dropped_baton"]
        assert rule.own_lane_first is (rule.return_point is ReturnPoint.NOT_ASKED)


def test_the_leg_line_lies_ten_metres_before_the_end_of_every_zone() -> None:
    # German federation notice of 19 Sep 2017 (30 m: leg line unchanged); Swiss data sheet 2016
    for book in all_books():
        for relay in Relay:
            for take_over in TAKE_OVERS:
                zone = book.zone(relay, take_over)
                assert zone.length_m - zone.leg_line_m == 10


def test_the_incoming_leg_decides_the_nfhs_zone() -> None:
    # NFHS 2020 5-3-3 and 5-3-4: incoming leg of 200 m or less 30 m, longer 20 m
    book = load_book("nfhs-2019")
    for relay in Relay:
        for take_over in TAKE_OVERS:
            incoming = relay.legs[take_over - 1]
            assert book.zone(relay, take_over).length_m == (30 if incoming <= 200 else 20)


def test_the_medley_has_two_long_zones_and_a_short_one() -> None:
    # World Athletics TR24.3, from memory
    book = load_book("world-athletics-2025")
    lengths = [book.zone(Relay.MEDLEY, take_over).length_m for take_over in TAKE_OVERS]
    assert lengths == [30, 30, 20]


def test_references_are_those_that_results_cite() -> None:
    # TR24.19 as quoted on 30 Jul 2021; TR24.7 in secondary texts; IAAF Rule 170 (2012)
    new, old = load_book("world-athletics-2025"), load_book("older-20-plus-10")
    assert new.reference(Infringement.PASS_COMPLETED_BEYOND_ZONE) == "TR24.7"
    assert new.reference(Infringement.RECEIVER_STARTING_OUTSIDE) == "TR24.19"
    assert new.reference(Infringement.WAITING_ORDER_CHANGED) == "TR24.20"
    assert old.reference(Infringement.PASS_COMPLETED_BEYOND_ZONE) == "R170.7"
    assert old.reference(Infringement.HELP_GIVEN) == "R170.16"
    assert load_book("nfhs-2019").reference(Infringement.DROPPED_BATON) == "5-10"


def test_obstruction_is_cited_as_results_and_federations_cite_it() -> None:
    # IAAF communication on the women's 4x100 m heats of Rio 2016: 163.2(b); results of Sept 2025:
    # TR17.1.2; a published list of NFHS rules and infractions: 4-6-5a
    cited = {"older-20-plus-10": "R163.2", "world-athletics-2025": "TR17.1.2", "nfhs-2019": "4-6-5"}
    for key, rule in cited.items():
        assert load_book(key).reference(Infringement.ANOTHER_TEAM_OBSTRUCTED) == rule


def test_the_deposit_is_told_in_words() -> None:
    # World Athletics TR8.7 in a published summary: USD 100 or its equivalent
    deposit = load_book("world-athletics-2025").appeal_deposit
    assert deposit is not None
    assert deposit.text == "100 USD or its equivalent"
    assert deposit.forfeited_if_rejected


def test_a_lane_infringement_is_tolerated_once_since_november_2021() -> None:
    # CR25.4 and the count over all rounds: federation notice of 31 Oct 2023
    tolerated = {book.key: book.tolerated_lane_infringements for book in all_books()}
    assert tolerated == {
        "nfhs-2019": 0,
        "older-20-plus-10": 0,
        "world-athletics-2017": 0,
        "world-athletics-2021": 1,
        "world-athletics-2025": 1,
    }


def test_a_judgement_cannot_be_protested_under_nfhs_alone() -> None:
    # NFHS 3-5-4a
    for book in all_books():
        assert book.protestable_judgement is (book.code != "nfhs")


def test_editions_of_a_code_follow_each_other_without_gap_or_overlap() -> None:
    world = sorted(
        (book for book in all_books() if book.code in ("older-20-plus-10", "world-athletics")),
        key=lambda book: book.in_force_from,
    )
    for earlier, later in pairwise(world):
        assert earlier.in_force_until is not None
        assert earlier.in_force_until + timedelta(days=1) == later.in_force_from
    assert world[-1].in_force_until is None


@pytest.mark.parametrize(
    ("day", "key"),
    [
        (date(2017, 11, 1), "world-athletics-2017"),
        (date(2021, 10, 31), "world-athletics-2017"),
        (date(2021, 11, 1), "world-athletics-2021"),
        (date(2025, 10, 31), "world-athletics-2021"),
        (date(2025, 11, 1), "world-athletics-2025"),
    ],
)
def test_one_edition_of_a_code_is_in_force_on_a_day(day: date, key: str) -> None:
    in_force = [
        book.key
        for book in all_books()
        if book.code == "world-athletics"
        and book.in_force_from <= day <= (book.in_force_until or date.max)
    ]
    assert in_force == [key]


def test_every_value_names_its_source() -> None:
    for book in all_books():
        assert len(book.sources) >= 60
        assert all(source.strip() for source in book.sources.values())
        assert "zones.4x100.length_m" in book.sources


def test_every_mark_on_the_track_has_its_word() -> None:
    assert {mark.value for mark in Mark} == {
        "zone start",
        "zone end",
        "leg line",
        "acceleration line",
    }
