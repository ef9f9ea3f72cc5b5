"""Texts of a start list as the store keeps them: how long they may be, and whose affiliation stays.

Case folding after the Unicode Standard, 3.13: a key can be three times as long as its name.
"""

from __future__ import annotations

import random
from unicodedata import normalize

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sheets.start_list import LONGEST
from tests.builders import Json, MeetAtHand, a_bare_meet, a_problem, all_heats
from tests.running import Service
from tests.sheets.builders import Value, a_row, as_csv

THREEFOLD = "\u0390"  # ΐ folds to three characters, "ŉ" and "ß" to two
FOLDED_WIDEST = [chr(code) for code in range(0x1F50, 0x1FFD) if len(chr(code).casefold()) == 3]


@pytest.fixture
def bare(service: Service) -> MeetAtHand:
    return a_bare_meet(service)


def load(meet: MeetAtHand, *rows: dict[str, Value], **query: str) -> httpx.Response:
    return meet.organiser.post("start-lists", content=as_csv(rows), params=query)


def told(answer: httpx.Response) -> list[tuple[int, str]]:
    found = a_problem(answer, 422, "file-refused")["problems"]
    return [(problem["row"], problem["column"]) for problem in found]


def written(column: str, length: int) -> str:
    """A text of this length that its column takes as far as its meaning goes."""
    return f"{'4x100 ' if column == 'event' else ''}{'x' * length}"[:length]


@pytest.mark.parametrize("column", LONGEST)
def test_a_text_as_long_as_its_column_is_taken_and_a_longer_one_named(
    bare: MeetAtHand, column: str
) -> None:
    relay = {"relay": "medley"} if column in {"leg5", "leg6", "leg7", "leg8"} else {}
    longest = LONGEST[column]
    before = bare.head()
    too_long = a_row(5, **relay, **{column: written(column, longest + 1)})
    assert told(load(bare, a_row(4, **relay), too_long)) == [(3, column)]
    assert bare.head() == before
    if not relay:
        assert load(bare, a_row(5, **{column: written(column, longest)})).status_code == 200


def test_names_whose_keys_are_longer_than_themselves_are_kept(bare: MeetAtHand) -> None:
    row = a_row(
        4,
        event=f"4x100 {THREEFOLD * (LONGEST['event'] - 6)}",
        round=THREEFOLD * LONGEST["round"],
        team=THREEFOLD * LONGEST["team"],
    )
    assert load(bare, row).status_code == 200
    again = load(bare, row).json()
    assert (again["heats_added"], again["heats_changed"], again["heats_unchanged"]) == (0, 0, 1)


def test_the_widest_name_that_packs_badly_is_kept(bare: MeetAtHand) -> None:
    # PostgreSQL refuses an index entry of more than about 2,700 bytes after packing it.
    shuffled = random.Random(4)
    for letters in (FOLDED_WIDEST, [chr(0x10400), *map(chr, range(0x20000, 0x2A000))]):
        team = normalize("NFC", "".join(shuffled.choices(letters, k=LONGEST["team"])))
        assert load(bare, a_row(4, team=team)).status_code == 200
        (heat,) = all_heats(bare)
        assert heat["lanes"][0]["name"] == team


def test_a_text_that_grows_in_its_normal_form_is_measured_as_it_is_kept(bare: MeetAtHand) -> None:
    # U+0344 is two characters in NFC (Unicode Standard Annex 15, composition exclusions).
    grown = "q" * 499 + "\u0344"
    assert told(load(bare, a_row(4, team=grown))) == [(2, "team")]


@pytest.mark.parametrize("check", ["false", "true"])
def test_a_lane_that_the_meets_track_lacks_is_named(service: Service, check: str) -> None:
    meet = a_bare_meet(service, track={"lanes": 6})
    before = meet.head()
    answer = load(meet, a_row(6), a_row(7), a_row(8, heat=2), check=check)
    if check == "true":
        found: list[Json] = answer.json()["problems"]
        assert [(one["row"], one["column"]) for one in found] == [(3, "lane"), (4, "lane")]
        assert "track has 6" in found[0]["problem"]
    else:
        assert told(answer) == [(3, "lane"), (4, "lane")]
    assert meet.head() == before
    assert load(meet, a_row(6)).status_code == 200


def test_a_long_list_for_a_narrow_track_is_answered_with_a_short_one(service: Service) -> None:
    meet = a_bare_meet(service, track={"lanes": 1})
    rows = [a_row(lane, heat=heat) for heat in range(1, 101) for lane in range(2, 9)]
    problems = a_problem(load(meet, *rows), 422, "file-refused")["problems"]
    assert len(problems) == 201
    assert "And 500 more" in problems[-1]["problem"]


def affiliations(meet: MeetAtHand) -> dict[str, str]:
    lanes = [lane for heat in all_heats(meet) for lane in heat["lanes"]]
    return {lane["name"].casefold(): lane["affiliation"] for lane in lanes}


def test_a_row_without_an_affiliation_leaves_the_known_one(bare: MeetAtHand) -> None:
    load(bare, a_row(4, team="Tern", affiliation="Harbour"))
    load(bare, a_row(4, heat=2, team="Tern", affiliation=""))
    assert affiliations(bare) == {"tern": "Harbour"}
    load(bare, a_row(4, heat=2, team="Tern", affiliation="Hill"))
    assert affiliations(bare) == {"tern": "Hill"}


def test_an_affiliation_given_in_one_row_holds_for_the_whole_file(bare: MeetAtHand) -> None:
    bare_row = a_row(4, team="Tern", affiliation="")
    load(bare, bare_row, bare_row | {"heat": 2, "affiliation": "Harbour"}, bare_row | {"heat": 3})
    assert affiliations(bare) == {"tern": "Harbour"}


TEAMS = ("Tern", "Gull", "Heron")


@st.composite
def files(draw: st.DrawFn) -> list[dict[str, Value]]:
    """A good file of up to three heats in which some rows leave out the affiliation."""
    base = {team: draw(st.sampled_from(["", "Harbour", "Hill"])) for team in TEAMS}
    rows = []
    for heat in draw(st.lists(st.integers(1, 3), unique=True, min_size=1, max_size=3)):
        for lane, team in enumerate(draw(st.permutations(TEAMS))[: draw(st.integers(1, 3))], 1):
            name = draw(st.sampled_from([team, team.upper()]))
            said = draw(st.sampled_from(["", base[team], base[team].upper()]))
            rows.append(a_row(lane, heat=heat, team=name, affiliation=said, bib=str(lane)))
    return rows


@given(st.tuples(files(), files()), st.permutations([0, 1, 0, 1]))
@settings(max_examples=25)
def test_the_same_file_a_second_time_changes_nothing_whatever_came_before(
    service: Service, both: tuple[list[dict[str, Value]], ...], order: list[int]
) -> None:
    meet = a_bare_meet(service)
    known: dict[str, str] = {}
    for rows in (both[index] for index in order):
        assert load(meet, *rows).status_code == 200
        stated: dict[str, str] = {}
        for row in rows:
            if row["affiliation"]:
                stated.setdefault(str(row["team"]).casefold(), str(row["affiliation"]))
        known |= stated
        before = meet.head()
        again = load(meet, *rows).json()
        assert (again["heats_added"], again["heats_changed"]) == (0, 0)
        assert meet.head() == before
        shown = affiliations(meet)
        assert shown == {team: known.get(team, "") for team in shown}
