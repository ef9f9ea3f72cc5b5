"""One heat from six windows at once, from the personal link to the final result.

Two umpires (one of them without a network for half of it), the head official, the results desk,
the jury and the public: all that they do is done on their pages, and each sees what the others did.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from app.ids import new_id
from tests.appeals.desk import cast, jurors
from tests.browser.looking import SIZES, Watched, a_window, home_of
from tests.browser.test_joining_page import a_link
from tests.browser.zone_phone import PHONE, RECEIVED, kept_for_later, place_baton
from tests.builders import MeetAtHand, Person, a_bare_meet, a_post, a_start_list
from tests.running import Service

pytestmark = pytest.mark.browser

PIN = "271828"
FINISH = "lane,time\n" + "\n".join(f"{lane},{42 + lane / 10:.2f}" for lane in range(1, 9))
OUT, LANE = "Plover 1", 4
TABLET = {"viewport": {"width": SIZES["tablet"][0], "height": SIZES["tablet"][1]}}
ROLES = {
    **dict.fromkeys(("Bo Halyard", "Ines Compass"), "umpire"),
    "Cleo Anchor": "referee",
    "Dee Tiller": "results",
    "Noor Quill": "jury",
}


@dataclass
class Six:
    """The six windows, each at the place where its person works."""

    first: Page
    second: Page
    head: Page
    desk: Page
    jury: Page
    public: Page


def a_meet_with_nobody_there_yet(service: Service) -> MeetAtHand:
    """Officials are named, start lists and crew are loaded; nobody has opened a link."""
    meet = a_bare_meet(service)
    for name, role in ROLES.items():
        person = Person(new_id(), name, "", service.http, meet.id)
        named = meet.organiser.put(f"officials/{person.id}", {"name": name, "roles": [role]})
        assert named.status_code == 201, named.text
        meet.people[name] = person
    assert meet.organiser.post("start-lists", content=a_start_list(1)).status_code == 200
    meet.heats = meet.organiser.get("heats").json()["heats"]
    posts = [
        a_post(new_id(), meet["Bo Halyard"].id),
        a_post(new_id(), meet["Ines Compass"].id, lanes=[4, 5]),
    ]
    assert meet.organiser.put("crew", {"posts": posts}).status_code == 201
    return meet


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return a_meet_with_nobody_there_yet(service)


@pytest.fixture
def six(chromium: Browser, service: Service, meet: MeetAtHand) -> Iterator[Six]:
    with ExitStack() as stack:

        def window(**options: object) -> Watched:
            return stack.enter_context(a_window(chromium, service, **options))

        phones = [window(**PHONE), window(**PHONE)]
        windows = [*phones, window(**TABLET), window(), window(), window(locale="de-DE")]
        for seen in (windows[3], windows[-1]):  # at the desk and at the board time is passed
            seen.page.clock.install()
        for seen, name in zip(windows, ROLES, strict=False):
            join(seen, meet, name)
        windows[-1].open(f"/meets/{meet.id}")
        yield Six(*(seen.page for seen in windows))


def join(window: Watched, meet: MeetAtHand, name: str) -> None:
    """Open the personal link as a badge's code has it, look whose it is, choose a PIN."""
    page = window.open(f"/join#{a_link(meet, name)}")
    expect(page.locator("#whose")).to_have_text(name)
    page.fill("#pin", PIN)
    page.click("#join button")
    page.wait_for_url(re.compile(f"/meets/{meet.id}/"))
    expect(page.locator("#line")).to_have_attribute("data-state", "in touch")


def sign(page: Page) -> None:
    expect(page.locator("#signing")).to_be_visible()
    page.fill("#signing-pin", PIN)
    page.keyboard.press("Enter")
    expect(page.locator("#signing")).to_be_hidden()


def report_beyond_the_zone(phone: Page, words: str) -> None:
    """Yellow, the lane, what was seen, where the baton was, words, signed."""
    phone.locator("#yellow").tap()
    phone.locator(f"[data-do=lane][data-with='{LANE}']").tap()
    phone.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").tap()
    place_baton(phone, 0.2)
    phone.fill("#words", words)
    phone.locator("#sign").tap()


def told_anew(board: Page) -> Page:
    """A board that nobody is joined to asks every ten seconds: they pass."""
    board.clock.fast_forward("00:11")
    return board


@pytest.mark.both_engines
def test_six_windows_tell_one_heat_from_the_link_to_the_final_result(
    six: Six, meet: MeetAtHand, service: Service
) -> None:
    both_umpires_report_and_one_of_them_has_no_network(six)
    the_head_official_rules(six)
    the_desk_announces_and_everybody_reads_it(six)
    a_protest_is_rejected(six)
    an_appeal_is_upheld(six, meet)
    the_amended_result_becomes_final(six, service)
    nobody_opens_what_is_not_theirs(six, f"{home_of(service)}/meets/{meet.id}")


def both_umpires_report_and_one_of_them_has_no_network(six: Six) -> None:
    kept_for_later(six.second)
    six.head.click("#start-heat")
    for phone in (six.first, six.second):
        expect(phone.locator("#care")).to_be_visible()
    six.second.context.set_offline(True)
    expect(six.second.locator("#line")).to_have_attribute("data-state", "out of touch")
    report_beyond_the_zone(six.second, "Well beyond the line.")
    expect(six.second.locator("#waiting .unsent")).to_contain_text("2 items")

    report_beyond_the_zone(six.first, "Both hands on the baton at the line.")
    expect(six.first.locator(f".entry {RECEIVED}")).to_be_visible()
    expect(six.head.locator("#docket .docket-case")).to_have_count(1)
    expect(six.head.locator(".missing li")).to_have_text(re.compile("Ines Compass"))
    silent = six.desk.locator(".in-the-way li", has_text=re.compile("Silent.*Ines Compass"))
    expect(silent).to_be_visible()

    six.second.context.set_offline(False)
    expect(six.second.locator("#waiting .unsent")).to_have_count(0, timeout=15_000)
    expect(six.head.locator(".missing")).to_have_count(0)
    expect(six.head.locator("#docket .docket-reports li")).to_have_count(2)
    expect(silent).to_have_count(0)


def the_head_official_rules(six: Six) -> None:
    head = six.head
    head.click("#docket .docket-case a")
    expect(head.locator("#case-title")).to_contain_text(f"Lane {LANE} · {OUT}")
    expect(head.locator("#reports .finding")).to_have_count(2)
    expect(head.locator("#reports .finding").first).to_contain_text("TR24.7")
    expect(head.locator("#moves")).to_contain_text(OUT)
    head.check("#confirm")
    head.get_by_role("button", name="Seen by two umpires, independently of each other.").click()
    head.click("#sign-ruling")
    sign(head)
    expect(head.locator("#docket-count")).to_contain_text("0 cases")


def the_desk_announces_and_everybody_reads_it(six: Six) -> None:
    desk = six.desk
    desk.get_by_role("link", name="heat 1").first.click()
    desk.set_input_files(
        "#finish-file", {"name": "heat.csv", "mimeType": "text/csv", "buffer": FINISH.encode()}
    )
    desk.get_by_role("button", name="Load this list").click()
    expect(desk.locator("#result tr.out")).to_contain_text("DQ TR24.7")
    expect(desk.locator("#in-the-way .ready")).to_be_visible()
    desk.locator("#announce button[type=submit]").click()
    sign(desk)
    expect(desk.locator("#announced")).to_contain_text("Announcement 1")

    board = told_anew(six.public)
    expect(board.locator("#disqualified .out")).to_contain_text(OUT)
    expect(board.locator("#disqualified .out")).to_contain_text("DQ TR24.7")
    expect(left_to_protest(board)).to_contain_text(re.compile(r"noch (30:00|29:\d\d)"))


def left_to_protest(board: Page) -> Locator:
    return board.locator("#windows .left")


def a_protest_is_rejected(six: Six) -> None:
    desk, head = six.desk, six.head
    desk.click("#take-in")
    desk.select_option("#team", label=f"{LANE} · {OUT}")
    desk.get_by_label("a ruling", exact=True).check()
    desk.fill("#words", "The baton was inside.")
    desk.fill("#lodged-by", "Mira Anchor")
    desk.get_by_role("button", name="Take it in").click()
    expect(desk.locator("#lodged .in-time")).to_contain_text("in time by")

    head.locator("#docket a", has_text="Protest 1").click()
    head.get_by_label("rejected").check()
    head.get_by_role("button", name="Two umpires saw it independently.").click()
    head.locator("#decide button[type=submit]").click()
    sign(head)
    expect(desk.locator("#decided")).to_contain_text("rejected")
    desk.get_by_role("button", name="They have been told").click()
    expect(desk.locator("#decided")).to_contain_text("The protesters were told")


def an_appeal_is_upheld(six: Six, meet: MeetAtHand) -> None:
    desk, jury = six.desk, six.jury
    desk.click("#appeal-intake summary")
    desk.fill("#appeal-words", "The video was not looked at.")
    desk.get_by_label("The deposit of").check()
    desk.fill("#paid-receipt", "R-17")
    desk.locator("#appeal button[type=submit]").click()
    expect(desk.locator("[id^=appeal-live-]")).to_contain_text("Appeal 1")

    members = jurors(meet, "Far Club", "Near Club")
    jury.click("#waiting a")
    chair = meet["Noor Quill"].id
    for seat, official in (("chair", chair), *(("member", meet[name].id) for name in members)):
        jury.select_option(f"#seat-{official}", seat)
    jury.fill("#secretary-name", "Ada Pilot")
    jury.click("#naming button[type=submit]")
    expect(jury.locator("#panel")).to_contain_text("0 of 3 have voted")
    jury.click("#vote button[value=upheld]")
    sign(jury)
    lodged = {"id": jury.url.rsplit("/", 1)[1]}
    for name in members:
        assert cast(meet, lodged, name).status_code == 201
    expect(jury.locator("#panel")).to_contain_text("3 of 3 have voted")
    jury.check("#decision input[value=upheld]")
    jury.check("#decision .orders input[type=checkbox]")
    jury.fill("#decision-reasons", "The video shows the baton inside the zone.")
    jury.click("#decision form[data-decides] button[type=submit]")
    sign(jury)
    expect(jury.locator("#decision")).to_contain_text("3 to uphold, 0 to reject")


def the_amended_result_becomes_final(six: Six, service: Service) -> None:
    desk, board = six.desk, six.public
    desk.get_by_role("link", name="To the heat").click()
    expect(desk.locator("#in-the-way .ready")).to_be_visible()
    desk.locator("#announce button[type=submit]").click()
    sign(desk)
    expect(desk.locator("#announced")).to_contain_text("Announcement 2")
    newest = told_anew(board).locator("#announcements .posted").first
    expect(newest).to_contain_text("Geändertes Ergebnis")
    expect(newest.locator("tbody tr", has_text=OUT)).to_contain_text("42.40")
    expect(board.locator("#disqualified .out")).to_have_count(0)

    service.clock.move(timedelta(minutes=31))
    desk.clock.fast_forward("31:00")
    expect(desk.locator("#standing")).to_contain_text("Final since")
    expect(told_anew(board).locator("#announcements .posted").first).to_contain_text("endgültig")
    expect(left_to_protest(board)).to_have_count(0)


def nobody_opens_what_is_not_theirs(six: Six, meet: str) -> None:
    """By the address alone, as somebody would who has seen it on another's screen."""
    refused = {
        "first": ("head", "desk", "jury", "organiser"),
        "desk": ("head", "zone", "organiser"),
        "jury": ("head", "organiser"),
        "public": ("head", "desk", "jury", "organiser", "zone", "record"),
    }
    for who, places in refused.items():
        page: Page = getattr(six, who)
        opened = [page.request.get(f"{meet}/{place}").status for place in places]
        assert opened == [401 if who == "public" else 403] * len(places), (who, opened)
