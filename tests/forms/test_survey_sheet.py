"""A survey sheet has all of a zone on one page, drawn to the scale that it names."""

from __future__ import annotations

from itertools import pairwise
from math import hypot
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.flow import Flow
from app.forms.painting import Area, Trace
from app.forms.paper import Paper
from app.forms.sheet_head import MeetHead
from app.forms.survey_sheet import draw_survey_sheets
from app.forms.zone_on_track import ZoneOnTrack, draw_zone_on_track
from app.rules.book import editions, load_book
from app.rules.on_plan import edge_radius, way_along
from app.rules.relay import TAKE_OVERS, Relay
from app.rules.track import Track, zone_on_track
from app.surveys.sheets import SurveyOf, on_sheets
from app.surveys.zones import all_zones, zone_at
from tests.forms.builders import NAMES
from tests.forms.pdf_reading import count_pages, read_pages
from tests.forms.test_printing import check_rims
from tests.forms.test_structure import is_in_order, read_structure

both_papers = pytest.mark.parametrize("paper", list(Paper))
METRE = 1000 * 72 / 25.4  # points, at 1:1


def sheets(
    edition: str = "world-athletics-2025", name: str = "Harbour Relays", **track: Any
) -> Any:
    book, on = load_book(edition), Track(**track)
    head = MeetHead(name, "Tidewater Stadium", "2026-06-13", "Europe/Paris")
    of = SurveyOf(head, book.title, on, 0.02, "2026-06-12")
    return on_sheets(of, [zone_at(on, *one) for one in all_zones(book, on, list(Relay))])


@both_papers
@pytest.mark.parametrize("edition", editions())
def test_a_zone_takes_one_page_on_the_widest_track_by_every_edition(
    paper: Paper, edition: str
) -> None:
    made = sheets(edition, lanes=10)
    pdf = draw_survey_sheets(made, paper)
    pages = read_pages(pdf)
    # Of 15 zones, at one place each: 4x100 at 2 and 4x200 at 3; 4x400 at 2 and 3, 4x800 at 1 to 3
    # and the medley at 3.
    assert len(pages) == count_pages(pdf) == 9
    for zone, page in zip(made.zones, pages, strict=True):
        assert f"Zone survey: {zone.relay}, {zone.take_over}" in page
        assert all(row.lies in page and row.tape.split()[1] in page for row in zone.rows)
        assert "Measure while nobody runs" in page


@both_papers
def test_nothing_is_printed_in_the_rim(paper: Paper) -> None:
    assert check_rims(draw_survey_sheets(sheets(lanes=10), paper)) == []


def test_the_sheets_are_read_aloud_in_their_order() -> None:
    told = [text for _, text in read_structure(draw_survey_sheets(sheets(lanes=2), Paper.A4))]
    order = ["Zone survey: 4x100, take-over 1", "Harbour Relays", "TR24.3", "F: finish line"]
    assert is_in_order(
        " ".join(told), [*order, "first bend 80.00", "Zone survey: 4x100, take-over 2"]
    )


@pytest.mark.parametrize("script", ["Greek", "Arabic", "Devanagari"])
def test_a_meets_name_in_any_script_prints(script: str) -> None:
    (page, *_) = read_pages(draw_survey_sheets(sheets(name=NAMES[script], lanes=1), Paper.A4))
    assert all(word in page for word in NAMES[script].split())


def length(points: tuple[tuple[float, float], ...]) -> float:
    return sum(hypot(x2 - x, y2 - y) for (x, y), (x2, y2) in pairwise(points))


@given(
    st.sampled_from(Relay),
    st.sampled_from(TAKE_OVERS),
    st.integers(1, 10),
    st.sampled_from((4, 3, 1)),
    st.floats(120, 320),
)
@settings(max_examples=60, deadline=None)
def test_zones_are_drawn_as_long_as_they_are_at_the_scale_that_is_told(
    relay: Relay, take_over: int, lanes: int, bends: int, tallest: float
) -> None:
    track = Track(lanes=lanes, four_by_200_bends=bends)
    rule = load_book("older-20-plus-10").zone(relay, take_over)
    zones = tuple(
        zone_on_track(track, relay, take_over, lane, rule) for lane in range(1, lanes + 1)
    )
    flow = Flow(Paper.A4, foot_height=40.0)
    scale = draw_zone_on_track(flow, ZoneOnTrack(track, zones), "The zone.", tallest)
    grounds = [one for one in flow.pages[0] if isinstance(one, Area) and one.grey == 0.86]
    assert len(grounds) == lanes
    for lane, (zone, ground) in enumerate(zip(zones, grounds, strict=True), 1):
        half = len(ground.corners) // 2
        inner = ground.corners[:half]
        start, end = zone.start.past_finish_m, zone.end.past_finish_m
        true = way_along(track, lane, start, end, edge_radius(track, lane - 1)).length
        assert length(inner) == pytest.approx(true * METRE / scale, rel=0.001)
        (x, y), (x2, y2) = inner[0], ground.corners[-1]
        width = track.lane_width_m * METRE / scale
        assert hypot(x2 - x, y2 - y) == pytest.approx(width, rel=0.001)
    drawn = [point for one in flow.pages[0] if isinstance(one, Trace) for point in one.points]
    assert min(x for x, _ in drawn) >= flow.left - 1
    assert max(x for x, _ in drawn) <= flow.left + flow.width + 1
    if scale < 1000:
        assert max(y for _, y in drawn) - min(y for _, y in drawn) <= tallest
