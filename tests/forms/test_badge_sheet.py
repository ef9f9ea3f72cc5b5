"""Badges lie whole on their sheet, with a code on each that another's reader reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO
from typing import Any

import pypdf
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from app.forms.badge_sheet import Badge, BadgeSheet, draw_badge_sheet
from app.forms.paper import Paper
from tests.forms.builders import NAMES
from tests.forms.pdf_reading import count_pages, read_info, read_pages, read_text, take_picture
from tests.forms.test_printing import check_rims
from tests.forms.test_structure import elements_of, is_in_order, read_structure

both_papers = pytest.mark.parametrize("paper", list(Paper))
UNPRINTABLE = {"Chinese", "Japanese", "Korean"}
DOTS_PER_INCH = 200  # as a phone sees a sheet held before it
WORKS = "Scan to join. Works once, until 11 December 2026, 09:40:12 CET."
LINK = "https://relays.test/join#0198c2f4-7a31-7c55-9d02-3f1e5b7a9c10.{:043d}"


def a_badge(number: int = 1, **changes: Any) -> Badge:
    """An umpire's badge, with a link as long as real ones."""
    badge = Badge("Bo Halyard", "Umpire", "Saltmarsh Harriers", LINK.format(number), WORKS)
    return replace(badge, **changes)


def a_sheet(*badges: Badge, **changes: Any) -> BadgeSheet:
    """A sheet of an invented meet."""
    made = "2026-11-27 09:40:12 CET (Europe/Paris)"
    return replace(BadgeSheet("Harbour Relays", made, badges or (a_badge(),)), **changes)


def codes_on(pdf: bytes) -> list[str]:
    """What a reader of codes, which shares nothing with their maker, finds page by page."""
    found: list[str] = []
    for page in range(1, count_pages(pdf) + 1):
        picture = take_picture(pdf, page, DOTS_PER_INCH)
        image = Image.frombytes("L", (picture.width, picture.height), picture.dots)
        found += [code.text for code in zxingcpp.read_barcodes(image)]
    return found


def links_of(badges: Sequence[Badge]) -> list[str]:
    return sorted(badge.link for badge in badges)


@both_papers
def test_every_badge_has_its_own_code_and_eight_fit_on_a_page(paper: Paper) -> None:
    badges = [a_badge(number) for number in range(1, 18)]
    pdf = draw_badge_sheet(a_sheet(*badges), paper)
    assert count_pages(pdf) == 3
    assert sorted(codes_on(pdf)) == links_of(badges)


@both_papers
def test_a_badge_says_who_it_is_and_how_long_its_link_works(paper: Paper) -> None:
    badge = a_badge(roles="Umpire, chief umpire")
    (page,) = read_pages(draw_badge_sheet(a_sheet(badge), paper))
    for words in ("Bo Halyard", "Umpire, chief umpire", "Saltmarsh Harriers", "Harbour Relays"):
        assert words in page, words
    assert WORKS in page
    assert "give each badge to its official, and destroy what is left over." in page


@both_papers
def test_the_link_can_be_read_by_the_code_alone(paper: Paper) -> None:
    """Whoever searches, copies or hears a file read must not come by somebody's link."""
    pdf = draw_badge_sheet(a_sheet(), paper)
    secret = a_badge().link.rpartition(".")[2]
    reader = pypdf.PdfReader(BytesIO(pdf))
    told = [*(page.extract_text() for page in reader.pages), *read_info(pdf).values()]
    told += [str(one.get("/Alt", "")) for one in elements_of(pdf)]
    assert not [text for text in told if secret in text or "join#" in text]
    assert secret.encode() not in pdf


def test_who_has_no_club_has_no_empty_line() -> None:
    (page,) = read_pages(draw_badge_sheet(a_sheet(a_badge(affiliation="")), Paper.A4))
    assert "Bo Halyard Umpire Scan to join" in page


@pytest.mark.parametrize("script", list(NAMES))
def test_a_name_in_any_script_prints_or_the_sheet_says_what_it_could_not(script: str) -> None:
    name = NAMES[script]
    text = read_text(draw_badge_sheet(a_sheet(a_badge(name=name)), Paper.A4))
    assert [word for word in name.split() if word not in text] == []
    assert ("Could not be printed:" in text) == (script in UNPRINTABLE)
    if script in UNPRINTABLE:
        assert f"U+{ord(name[0]):04X}" in text.partition("Could not be printed:")[2]
        assert "in name of badge 1" in text


LONG = ["W" * 120, "Ẫ" * 120, "\ufdfd" * 120, "sail " * 24, "بدر " * 30, "ที่" * 40]
ALL_ROLES = "Umpire, chief umpire, referee, results desk, jury, organiser"


@both_papers
@pytest.mark.parametrize("long", LONG)
def test_the_longest_texts_are_set_smaller_and_nothing_leaves_its_badge(
    long: str, paper: Paper
) -> None:
    """120 letters are the most that a name, a club or a meet may have."""
    badges = [
        a_badge(number, name=long, roles=ALL_ROLES, affiliation=long) for number in range(1, 9)
    ]
    pdf = draw_badge_sheet(a_sheet(*badges, meet=long), paper)
    assert count_pages(pdf) == 1
    assert check_rims(pdf) == []
    assert sorted(codes_on(pdf)) == links_of(badges)  # no letter stands in a code or its white
    text = "".join(read_text(pdf).split())
    letters = set(long) - {" "}
    assert not [one for one in letters if text.count(one) < 8 * 2 * long.count(one)]


@both_papers
def test_every_dot_of_ink_is_at_least_8_mm_from_the_rim(paper: Paper) -> None:
    assert check_rims(draw_badge_sheet(a_sheet(*map(a_badge, range(1, 20))), paper)) == []


@settings(max_examples=30, deadline=None)
@given(st.text(max_size=120), st.text(max_size=120), st.sampled_from(list(Paper)))
def test_no_text_makes_a_badge_fail_or_spoils_its_code(name: str, meet: str, paper: Paper) -> None:
    badge = a_badge(name=name, affiliation=meet, roles=ALL_ROLES)
    pdf = draw_badge_sheet(a_sheet(badge, meet=meet), paper)
    assert codes_on(pdf) == [badge.link]


def test_the_same_badges_give_the_same_bytes() -> None:
    first = draw_badge_sheet(a_sheet(), Paper.A4)
    draw_badge_sheet(a_sheet(a_badge(name="湖 Ωmega")), Paper.LETTER)
    assert draw_badge_sheet(a_sheet(), Paper.A4) == first


@both_papers
def test_a_sheet_is_read_badge_by_badge(paper: Paper) -> None:
    pdf = draw_badge_sheet(a_sheet(a_badge(1), a_badge(2, name="Cleo Anchor")), paper)
    told = read_structure(pdf)
    assert told[0] == ("H1", "Badges to cut out")
    assert [text for role, text in told if role == "H2"] == ["Bo Halyard", "Cleo Anchor"]
    order = ["Harbour Relays", "Bo Halyard", "Umpire", "Saltmarsh Harriers", WORKS]
    assert is_in_order(" ".join(text for _, text in told), [*order, "Cleo Anchor", WORKS])
    assert read_info(pdf)["Tagged"] == "yes"
    alts = [one["/Alt"] for one in elements_of(pdf) if one["/S"] == "/Figure"]
    assert alts == [
        "QR code: the personal link of Bo Halyard.",
        "QR code: the personal link of Cleo Anchor.",
    ]


def test_the_file_says_whose_badges_they_are() -> None:
    info = read_info(draw_badge_sheet(a_sheet(), Paper.A4))
    assert info["Title"] == "Badges – Harbour Relays"
    assert info["Subject"] == "Links issued 2026-11-27 09:40:12 CET (Europe/Paris)"
