"""Planning the crew at the desk: a list looked at, a choice pinned, a search seen to its end or
stopped, and its plan taken over only when somebody says so.
"""

from __future__ import annotations

import os
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.looking import a_window
from tests.builders import MeetAtHand, a_bare_meet, add_official
from tests.crew_search.test_search import a_long_day, a_programme
from tests.running import Service

pytestmark = pytest.mark.browser

PATIENCE_MS = 120_000


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    """Seven umpires, of whom six suffice."""
    meet = a_bare_meet(service)
    for number in range(7):
        add_official(meet, f"Umpire {number}", "umpire")
    add_official(meet, "chief", "chief_umpire")
    return meet


def address(meet: MeetAtHand) -> str:
    return f"/meets/{meet.id}/organiser/crew-search"


def load(page: Page, rows: str) -> None:
    sent: Any = {"name": "crew.csv", "mimeType": "text/csv", "buffer": rows.encode()}
    page.set_input_files("#people-file-file", sent)


def search(page: Page) -> None:
    page.get_by_role("button", name="Search for a plan").click()
    expect(page.locator("#take-plan")).to_be_visible(timeout=PATIENCE_MS)


def test_from_a_list_to_a_crew_plan(chromium: Browser, meet: MeetAtHand) -> None:
    a_programme(meet)
    with a_window(chromium, meet.service, meet["chief"]) as window:
        page = window.open(address(meet))
        load(page, "name,experience,until\n" + "".join(f"Umpire {n},2,18:00\n" for n in range(6)))
        expect(page.locator("#people-file .would")).to_contain_text("6 people can be planned")
        expect(page.locator("#people-file .would")).to_contain_text("Umpire 6")
        page.locator("#people-file").get_by_role("button", name="Load it").click()
        expect(page.locator("table.people tbody tr")).to_have_count(6)
        page.select_option("#pin-who", label="Umpire 3")
        page.select_option("#pin-at", "3")
        page.get_by_role("button", name="Keep this choice").click()
        expect(page.get_by_role("button", name="Take it back")).to_have_count(1)
        search(page)
        assert meet.organiser.get("crew").json()["posts"] == [], "nothing is planned yet"
        expect(page.locator("#search")).to_contain_text(
            "Every edge of every lane in use is watched"
        )
        page.locator("#take-plan").click()
        page.wait_for_url("**/organiser/crew")
        expect(page.locator("table.posts tbody tr")).not_to_have_count(0)
        expect(page.get_by_label("Who stands where in")).to_be_visible()
    posts = meet.organiser.get("crew").json()["posts"]
    mine = [one for one in posts if one["official_name"] == "Umpire 3"]
    assert any(one["take_over"] == 3 for one in mine)


def test_a_drop_out_is_replaced_by_the_smallest_change(chromium: Browser, meet: MeetAtHand) -> None:
    heats = a_programme(meet)
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        page.select_option("#who-drops", label="Umpire 6")
        page.get_by_role("button", name="Drops out").click()
        expect(page.get_by_role("button", name="is back")).to_have_count(1)
        search(page)
        page.locator("#take-plan").click()
        page.wait_for_url("**/organiser/crew")
        page = window.open(address(meet))
        page.get_by_role("button", name="is back").click()
        expect(page.get_by_role("button", name="is back")).to_have_count(0)
        page.select_option("#who-drops", label="Umpire 0")
        page.get_by_role("button", name="Drops out").click()
        expect(page.get_by_role("button", name="is back")).to_have_count(1)
        page.get_by_label("the smallest change of the plan in force").check()
        page.select_option("#from-heat", heats[1]["id"])
        search(page)
        changes = page.locator("#changes tbody tr")
        expect(changes).to_have_count(2, timeout=PATIENCE_MS)
        expect(changes.nth(0)).to_contain_text("Umpire 0")
        expect(changes.nth(1)).to_contain_text("Umpire 6")


def test_a_search_shows_how_far_it_is_and_is_stopped(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    for number in range(7, 20):
        add_official(meet, f"Umpire {number}", "umpire")
    a_long_day(meet)
    with a_window(chromium, service, meet.organiser) as window:
        page = window.open(address(meet))
        page.fill("#seconds", "120")
        page.get_by_role("button", name="Search for a plan").click()
        expect(page.locator("#search progress")).to_be_visible(timeout=PATIENCE_MS)
        expect(page.locator("table.counts tbody tr")).not_to_have_count(0, timeout=PATIENCE_MS)
        page.locator("#stop-search").click()
        expect(page.locator("#take-plan")).to_be_visible(timeout=PATIENCE_MS)
        expect(page.locator("#search")).to_contain_text("Stopped, with the best plan so far")


def test_what_cannot_be_planned_is_told_in_the_form(chromium: Browser, meet: MeetAtHand) -> None:
    rows = "event,round,heat,lane,team\nWomen 4x100 m,final,1,4,Tern\n"
    meet.organiser.post("start-lists", content=rows)
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        page.get_by_role("button", name="Search for a plan").click()
        expect(page.locator("#begin-search .problem")).to_contain_text("no start time")
        window.wrong.clear()  # the refusal itself


def test_what_a_good_file_would_have_done_is_not_said_of_a_bad_one(
    chromium: Browser, meet: MeetAtHand
) -> None:
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        load(page, "name\nUmpire 0\n")
        would = page.locator("#people-file .would")
        expect(would).to_contain_text("1 person can be planned")
        expect(would).to_contain_text("Umpire 6")
        expect(would).not_to_contain_text("chief")
        load(page, "name,untill\nUmpire 0,12:00\n")
        expect(page.locator("#people-file table.problems")).to_contain_text("not known: untill")
        expect(would).to_be_empty()


def test_only_those_who_can_be_planned_are_offered_and_a_list_without_a_pinned_one_says_so(
    chromium: Browser, meet: MeetAtHand
) -> None:
    a_programme(meet)
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        for picker in ("#pin-who option", "#who-drops option"):
            names = ["", *(f"Umpire {number}" for number in range(7))]
            expect(page.locator(picker)).to_have_text(names)
        page.select_option("#pin-who", label="Umpire 6")
        page.get_by_role("button", name="Keep this choice").click()
        expect(page.get_by_role("button", name="Take it back")).to_have_count(1)
        load(page, "name\nUmpire 0\nchief\n")
        expect(page.locator("#people-file .would")).to_contain_text("bind nobody: Umpire 6")
        page.locator("#people-file").get_by_role("button", name="Load it").click()
        expect(page.locator("table.people tbody tr")).to_have_count(2)
        expect(page.locator("#wishes")).to_contain_text("not among those who can be planned")
        expect(page.locator("#pin-who option")).to_have_text(["", "Umpire 0", "chief"])


def test_nobody_drops_out_by_a_tap_too_many(chromium: Browser, meet: MeetAtHand) -> None:
    a_programme(meet)
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        for button in ("Drops out", "Keep this choice"):
            page.get_by_role("button", name=button, exact=True).click()
        expect(page.locator("#who-drops:invalid, #pin-who:invalid")).to_have_count(2)
    assert meet.organiser.get("crew/wishes").json()["version"] == 0


def test_a_plan_that_was_found_is_looked_at_before_it_is_taken_over(
    chromium: Browser, meet: MeetAtHand
) -> None:
    a_programme(meet)
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        search(page)
        expect(page.locator("#changes")).to_have_count(0)  # there is no plan that would change
        by_edge = page.locator("#found-by-edge")
        by_edge.locator("summary").click()
        expect(by_edge.locator("tbody")).to_have_count(6)
        first = by_edge.locator("tbody").first
        expect(first.locator("th")).to_have_text("take-over 1, start")
        expect(first.locator("td").nth(1)).to_contain_text("heats 1–4 10:00–10:30")
        told = meet.organiser.get(f"crew/searches/{search_id(page)}").json()
        people = {one["official"] for one in told["plan"]["posts"]}
        by_person = page.locator("#found-by-person")
        by_person.locator("summary").click()
        expect(by_person.locator("tbody")).to_have_count(len(people))
        expect(by_person.locator("tbody td").last).to_contain_text("take-over")
        if shots := os.environ.get("SHOTS"):
            for width in (390, 1280):
                page.set_viewport_size({"width": width, "height": 900})
                page.screenshot(path=f"{shots}/plan-found-{width}.png", full_page=True)
        page.set_viewport_size({"width": 390, "height": 800})
        is_wide = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
        assert not page.evaluate(is_wide)


def search_id(page: Page) -> str:
    taken = page.locator("form:has(#take-plan)").get_attribute("data-to") or ""
    return taken.split("/")[-2]


def test_a_bound_that_says_nothing_is_not_shown(chromium: Browser, meet: MeetAtHand) -> None:
    a_programme(meet)
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        search(page)
        rows = page.locator("table.counts tbody tr")
        told = meet.organiser.get(f"crew/searches/{search_id(page)}").json()["counts"]
        expect(rows).to_have_count(len(told))
        for number, one in enumerate(told):
            says = one["at_least"] or one["at_least"] == one["count"]
            cell = rows.nth(number).locator("td").last
            expect(cell).to_have_text(str(one["at_least"]) if says else "")


def test_one_persons_hours_are_changed_and_everybody_else_stays_as_they_were(
    chromium: Browser, meet: MeetAtHand
) -> None:
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        load(page, "name,experience,from,not\nUmpire 0,3,09:00,end\nUmpire 1,2,,\n")
        page.locator("#people-file").get_by_role("button", name="Load it").click()
        rows = page.locator("table.people tbody tr")
        expect(rows).to_have_count(2)
        before = meet.organiser.get("crew/wishes").json()["people"]
        page.select_option("#hours-who", label="Umpire 0")
        expect(page.locator("#hours-from")).to_have_value("09:00")
        page.fill("#hours-from", "25:00")
        page.get_by_role("button", name="Set the hours").click()
        expect(page.locator("#hours-of .problem")).to_contain_text("Write it as 09:30")
        window.wrong.clear()  # the refusal itself
        page.select_option("#hours-who", label="Umpire 1")
        page.fill("#hours-from", "12:00")
        page.get_by_role("button", name="Set the hours").click()
        expect(rows.filter(has_text="Umpire 1")).to_contain_text("12:00–")
        hours = [{"begins": "12:00", "ends": None}]
        after = meet.organiser.get("crew/wishes").json()["people"]
        assert after == [before[0], {**before[1], "hours": hours}]
        page.select_option("#hours-who", label="chief")
        page.fill("#hours-until", "11:00")
        page.get_by_role("button", name="Set the hours").click()
        expect(rows).to_have_count(3)
    stored = meet.organiser.get("crew/wishes").json()["people"]
    assert (stored[:2], stored[2]["hours"]) == (after, [{"begins": None, "ends": "11:00"}])


def test_breaks_are_set_and_stay_when_something_else_is_wished(
    chromium: Browser, meet: MeetAtHand
) -> None:
    a_programme(meet)
    with a_window(chromium, meet.service, meet.organiser) as window:
        page = window.open(address(meet))
        page.fill("#longest-stint", "60")
        page.fill("#shortest-break", "20")
        page.get_by_role("button", name="Set the breaks").click()
        expect(page.locator("#drop-out input[name=longest_stint_minutes]")).to_have_value("60")
        page.select_option("#who-drops", label="Umpire 6")
        page.get_by_role("button", name="Drops out").click()
        expect(page.get_by_role("button", name="is back")).to_have_count(1)
    wished = meet.organiser.get("crew/wishes").json()
    assert (wished["longest_stint_minutes"], wished["shortest_break_minutes"]) == (60, 20)
    assert len(wished["dropped"]) == 1
