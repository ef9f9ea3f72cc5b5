"""Two people with a tape: what they type is stored and judged beside the line, and a list is looked
at before it is taken.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.looking import a_window
from tests.builders import MeetAtHand, a_meet
from tests.running import Service

pytestmark = pytest.mark.browser

PHONE = {"width": 360, "height": 740}


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return a_meet(service, terms={"zone_tolerance_m": 0.02})


def address(meet: MeetAtHand) -> str:
    return f"/meets/{meet.id}/organiser/survey"


def best_tape(meet: MeetAtHand, lane: int, line: str) -> float:
    zone = meet.organiser.get("survey/zones/4x100/3").json()
    one = next(one for one in zone["lines"] if (one["lane"], one["line"]) == (lane, line))
    return float(one["tapes"][0]["metres"])


@pytest.mark.parametrize("width", [PHONE["width"], 1280])
def test_what_is_typed_is_judged_beside_its_line_and_can_be_put_right(
    chromium: Browser, meet: MeetAtHand, width: int
) -> None:
    right = best_tape(meet, 6, "end")
    with a_window(chromium, meet.service, meet["chief_umpire"]) as window:
        window.page.set_viewport_size({"width": width, "height": PHONE["height"]})
        page = window.open(address(meet))
        page.fill("#zone-3-6-end", f"{right - 0.05:.3f}")
        page.fill("#zone-3-5-end", f"{best_tape(meet, 5, 'end'):.3f}")
        page.get_by_role("button", name="Store what was measured in this zone").nth(2).click()
        expect(page.get_by_text("wrong in lane 6")).to_be_visible()
        wrong = page.locator("tr.wrong")
        expect(wrong).to_have_count(1)
        expect(wrong).to_contain_text("50 mm")
        assert page.input_value("#zone-3-5-end") != ""
        page.fill("#zone-3-6-end", f"{right:.3f}")
        page.get_by_role("button", name="Store what was measured in this zone").nth(2).click()
        expect(page.get_by_text("right where measured")).to_be_visible()
        page.fill("#zone-3-6-end", "")
        page.fill("#zone-3-5-end", "")
        page.get_by_role("button", name="Store what was measured in this zone").nth(2).click()
        expect(page.locator("tbody").nth(2)).not_to_contain_text("mm")
        expect(page.get_by_text("not measured")).to_have_count(3)
    assert meet.organiser.get("survey/zones/4x100/3").json()["version"] == 3


def test_what_cannot_have_been_measured_is_told_in_the_form_and_stays_typed(
    chromium: Browser, meet: MeetAtHand
) -> None:
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        page.fill("#zone-3-6-end", "25")
        page.get_by_role("button", name="Store what was measured in this zone").nth(2).click()
        expect(page.get_by_text("Lane 6, end: by 25 m")).to_be_visible()
        assert page.input_value("#zone-3-6-end") == "25"
        window.wrong.clear()  # the refusal itself
    assert meet.organiser.get("survey/zones/4x100/3").json()["version"] == 0


def test_a_list_says_what_it_would_find_before_it_is_taken(
    chromium: Browser, meet: MeetAtHand
) -> None:
    far = best_tape(meet, 6, "end") - 0.05
    rows = "relay,take_over,lane,line,measured_from,measured_m\n"
    rows += f"4x100,3,6,end,end of the second bend,{far:.3f}\n"
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        sent = {"name": "measured.csv", "mimeType": "text/csv", "buffer": rows.encode()}
        page.set_input_files("#survey-file-file", sent)  # type: ignore[arg-type]
        expect(page.locator("#survey-file .would")).to_contain_text("1 measured line in 1 zone")
        expect(page.locator("#survey-file .would")).to_contain_text(
            "lane 6: end 0.050 m too far on"
        )
        page.get_by_role("button", name="Load it").click()
        expect(page.get_by_text("wrong in lane 6")).to_be_visible()
