"""Names as long as they may be, without a space, on the narrowest phone."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser

from tests.appeals.desk import a_protest, an_announced_disqualification, lodge
from tests.browser.looking import a_window, sideways
from tests.builders import MeetAtHand, a_meet, add_official
from tests.running import Service

pytestmark = pytest.mark.browser

LONG = "Wharfside" * 8


def a_meet_of_long_names(service: Service) -> MeetAtHand:
    meet = a_meet(service, name=LONG, venue=LONG)
    add_official(meet, LONG, "umpire", affiliation=LONG)
    rows = [f"{LONG} 4x100 m,{LONG[:40]},1,{lane},{lane}{LONG},{LONG}" for lane in range(1, 9)]
    listed = "\n".join(["event,round,heat,lane,team,affiliation", *rows])
    loaded = meet.organiser.post("start-lists", content=listed)
    assert loaded.status_code == 200, loaded.text
    meet.heats = meet.organiser.get("heats").json()["heats"][-1:]
    return meet


def test_no_page_is_wider_than_a_phone_whatever_the_names_are(
    chromium: Browser, service: Service
) -> None:
    meet = a_meet_of_long_names(service)
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling, words=LONG, lodged_by=LONG))
    heat = meet.heat()
    pages = {
        "referee": ["", "head", f"cases/{ruling['case']}", f"protests/{protest['id']}", "jury"],
        "results": ["desk", f"desk/heats/{heat}", f"desk/heats/{heat}/protest", "protests"],
        "organiser": [f"organiser{one}" for one in ("", "/officials", "/start-lists", "/crew")],
        "umpire": ["zone", "keys"],
    }
    too_wide = {}
    for role, paths in pages.items():
        options = {"viewport": {"width": 320, "height": 640}}
        with a_window(chromium, service, meet[role], **options) as window:
            for path in paths:
                page = window.open(f"/meets/{meet.id}/{path}".rstrip("/"))
                page.wait_for_timeout(100)
                if wide := sideways(page):
                    too_wide[path] = wide
    assert too_wide == {}
