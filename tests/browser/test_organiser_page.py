"""The organiser's pages in a browser: a meet set up from files, its crew drawn, and a rehearsal."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from app.ids import new_id
from tests.browser.looking import Watched, a_window, faults, sideways
from tests.browser.whole_meet import (
    BAD_CREW_LIST,
    BAD_OFFICIALS,
    BAD_START_LIST,
    CREW,
    CREW_LIST,
    OFFICIALS,
    START_LISTS,
    a_file,
    load_all,
)
from tests.builders import MeetAtHand, a_bare_meet, add_official
from tests.running import SETUP_KEY, Service

pytestmark = pytest.mark.browser

ISOLATES = dict.fromkeys(map(ord, "\u2068\u2069"))
"""What sets a name apart in plain text (UAX 9)."""
PAGES = ("", "/officials", "/start-lists", "/crew", "/crew-search", "/survey", "/rehearsals")
PHONE, TWICE = {"width": 320, "height": 640}, {"width": 720, "height": 450}
"""A phone held upright; and a desk's window at 200 %, which halves what it can show."""


def at(hand: MeetAtHand, path: str = "") -> str:
    return f"/meets/{hand.id}/organiser{path}"


def opened(window: Watched, path: str) -> Page:
    """A page that follows the meet already."""
    page = window.open(path)
    expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
    return page


def look_at(page: Page) -> None:
    """No fault in the light and in the dark, and nowhere is there a way sideways."""
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert faults(page) == [], (page.url, scheme)
    for size in (PHONE, TWICE):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        assert sideways(page) == 0, (page.url, size)
        assert faults(page) == [], (page.url, size)


def a_whole_meet(service: Service) -> MeetAtHand:
    hand = load_all(a_bare_meet(service))
    for number in (1, 2):
        rehearsal = new_id()
        made = hand.organiser.put(f"rehearsals/{rehearsal}", {"relay": "4x100"})
        assert made.status_code == 201, made.text
        if number == 1:
            assert hand.organiser.post(f"rehearsals/{rehearsal}/end").status_code == 200
    return hand


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
def test_no_page_has_a_fault_whether_the_meet_is_empty_or_whole(
    chromium: Browser, service: Service, path: str, language: str
) -> None:
    for hand in (a_bare_meet(service), a_whole_meet(service)):
        with a_window(chromium, service, hand.organiser, locale=language) as window:
            page = opened(window, at(hand, path))
            expect(page.locator("html")).to_have_attribute("lang", language[:2])
            for folded in page.locator("main details > summary").all():
                folded.click()
            look_at(page)


@dataclass(frozen=True)
class Form:
    """A form for a file, a bad file with the places of its problems, and a good one."""

    path: str
    ident: str
    bad: str
    places: list[list[str]]
    good: str
    would: str
    loaded: str
    """What the page shows once the good file is loaded."""
    before: tuple[tuple[str, str], ...] = ()


FORMS = [
    Form(
        "/officials",
        "officials-file",
        BAD_OFFICIALS,
        [["3", "roles"], ["4", "name"]],
        OFFICIALS,
        "Dee Tiller",
        "#officials >> text=Dee Tiller",
    ),
    Form(
        "/start-lists",
        "start-list-file",
        BAD_START_LIST,
        [["3", "lane"], ["4", "lane"]],
        START_LISTS,
        "3 heats, 24 lanes",
        "#heats >> text=Mixed 4x400 m",
    ),
    Form(
        "/crew",
        "crew-file",
        BAD_CREW_LIST,
        [["2", "official"], ["3", "take_over"]],
        CREW_LIST,
        "18 posts for 18 people",
        "#crew table >> text=Žofie Marlin",
        (("officials-list", OFFICIALS),),
    ),
]


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.ident)
def test_a_bad_file_shows_each_problem_in_its_place_and_a_good_one_is_loaded(
    chromium: Browser, service: Service, form: Form
) -> None:
    hand = a_bare_meet(service)
    for path, content in form.before:
        assert hand.organiser.post(path, content=content).status_code == 200
    before = hand.head()
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, form.path))
        button = page.locator(f"#{form.ident} button[type=submit]")
        page.set_input_files(f"#{form.ident}-file", a_file("list.csv", form.bad))
        rows = page.locator("table.problems tbody tr")
        expect(rows).to_have_count(len(form.places))
        told = [row.locator("td").all_inner_texts() for row in rows.all()]
        assert [row[:2] for row in told] == form.places
        assert all(len(row[2]) > 15 for row in told)
        expect(button).to_be_disabled()
        look_at(page)
        page.set_input_files(f"#{form.ident}-file", a_file("list.csv", form.good))
        expect(page.locator(f"#{form.ident} .would")).to_contain_text(form.would)
        expect(page.locator("table.problems")).to_have_count(0)
        assert hand.head() == before
        assert faults(page) == []
        expect(button).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.locator(form.loaded).first).to_be_visible()
        expect(page.locator(f"#{form.ident} .file-seen")).to_contain_text("is stored")
    assert hand.head() != before


def first_row(content: str) -> str:
    """A list's columns and its first row."""
    return "\n".join(content.splitlines()[:2])


@pytest.mark.parametrize(
    ("path", "content", "would"),
    [
        ("/start-lists", START_LISTS, "1 heat, 1 lane."),
        ("/crew", CREW_LIST, "1 post for 1 person."),
    ],
)
def test_what_a_list_of_one_row_would_do_is_told_of_one(
    chromium: Browser, service: Service, path: str, content: str, would: str
) -> None:
    hand = load_all(a_bare_meet(service))
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, path))
        page.set_input_files("form[data-file] input", a_file("list.csv", first_row(content)))
        expect(page.locator("form[data-file] .would")).to_contain_text(would)


def test_a_file_that_became_stale_meanwhile_is_refused_and_nothing_is_lost(
    chromium: Browser, service: Service
) -> None:
    """Somebody else planned the crew since the file was looked at."""
    hand = load_all(a_bare_meet(service))
    etag = hand.organiser.get("crew").headers["ETag"]
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/crew"))
        page.set_input_files("#crew-file-file", a_file("crew.csv", CREW_LIST))
        expect(page.locator("#crew-file button[type=submit]")).to_be_enabled()
        one = "\n".join(CREW_LIST.splitlines()[:2])
        assert hand.organiser.post("crew-list", content=one, etag=etag).status_code == 200
        expect(page.locator("#crew tbody tr")).to_have_count(1)
        window.expects = {412}
        page.keyboard.press("Enter")
        expect(page.locator("#crew-file .problem")).to_be_visible()
        assert faults(page) == []
    assert len(hand.organiser.get("crew").json()["posts"]) == 1


def test_numbers_in_the_pictures_of_the_crew_are_the_people_in_the_table(
    chromium: Browser, service: Service
) -> None:
    hand = load_all(a_bare_meet(service))
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/crew"))
        rows = page.locator("table.posts tbody tr").all()
        table = [
            (row.locator("td").first.inner_text(), row.locator("th").inner_text()) for row in rows
        ]
        assert sorted(name for _, name in table) == sorted(CREW)
        expect(page.locator("svg.plan-track.lying")).to_have_count(2)
        expect(page.locator("svg.plan-enlarged")).to_have_count(6)
        for relay in page.locator("section.relay").all():
            whole = relay.locator("svg.plan-track.lying .plan-number").all_text_contents()
            assert sorted(whole) == sorted(number for number, _ in table)
            for zone in relay.locator("figure").all():
                drawn = zone.locator("svg .plan-post text").all_text_contents()
                named = [
                    (one.locator(".no").inner_text(), one.locator("bdi").inner_text())
                    for one in zone.locator(".who-is li").all()
                ]
                assert sorted(drawn) == sorted(number for number, _ in named)
                assert set(named) <= set(table)
                told = (zone.locator("svg desc").text_content() or "").translate(ISOLATES)
                assert all(f"{number} {name}: " in told for number, name in named)


def test_the_crew_is_on_paper_as_it_is_on_the_page(chromium: Browser, service: Service) -> None:
    hand = load_all(a_bare_meet(service))
    with a_window(chromium, service, hand.organiser, color_scheme="dark") as window:
        page = opened(window, at(hand, "/crew"))
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 680, "height": 1000})  # what A4 leaves between margins
        expect(page.locator("form#crew-file")).to_be_hidden()
        expect(page.locator("nav.steps")).to_be_hidden()
        expect(page.locator(".pictured .who-is").first).to_be_visible()
        assert sideways(page) == 0
        ink = "all => all.map(one => getComputedStyle(one).color)"
        assert set(page.eval_on_selector_all("svg.plan", ink)) == {"rgb(0, 0, 0)"}


def test_a_track_that_cannot_be_drawn_says_so_and_the_table_stays(
    chromium: Browser, service: Service
) -> None:
    hand = load_all(a_bare_meet(service, track={"radius_m": 17.2, "straight_m": 50.0}))
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/crew"))
        expect(page.get_by_text("Correct them in the settings")).to_be_visible()
        expect(page.locator("table.posts tbody tr")).to_have_count(18)
        expect(page.locator("svg.plan")).to_have_count(0)
        assert faults(page) == []


def test_the_crews_papers_come_from_its_page(chromium: Browser, service: Service) -> None:
    hand = load_all(a_bare_meet(service))
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/crew"))
        for name in (
            *("Briefing cards on A4", "Briefing cards on Letter"),
            *("Chief's sheet on A4", "Chief's sheet on Letter"),
        ):
            address = page.get_by_role("link", name=f"{name} (PDF)").get_attribute("href")
            answer = page.request.get(window.home + (address or ""))
            assert answer.status == 200
            assert answer.body().startswith(b"%PDF")


def test_cards_with_codes_are_made_on_the_page_of_the_crew(
    chromium: Browser, service: Service
) -> None:
    hand = load_all(a_bare_meet(service))
    size = hand.head()["size"]
    umpires = {one["official"] for one in hand.organiser.get("crew").json()["posts"]}
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/crew"))
        page.select_option("#cards-paper", label="Letter")
        with page.expect_download() as got:
            page.get_by_role("button", name="Cards with codes").click()
        assert got.value.path().read_bytes().startswith(b"%PDF")
        assert got.value.suggested_filename == "briefing-cards.pdf"
        expect(page.locator("#cards [role=status]")).to_contain_text("ready to be printed")
        assert faults(page) == []
    assert hand.head()["size"] == size + len(umpires)


def test_badges_are_made_for_those_ticked(chromium: Browser, service: Service) -> None:
    """Also where the meet has one official, whose box is the only one."""
    for hand, people in ((a_bare_meet(service), 1), (load_all(a_bare_meet(service)), 23)):
        with a_window(chromium, service, hand.organiser) as window:
            page = opened(window, at(hand, "/officials"))
            page.select_option("#paper", label="Letter")
            page.click("#tick-all")
            expect(page.locator("input[name=officials]")).to_have_count(people)
            page.get_by_label("Badge for Olive Organiser").check()
            ticked = page.locator("input[name=officials]:checked").count()
            assert ticked == people
            with page.expect_request("**/badges.pdf") as sent, page.expect_download() as got:
                page.get_by_role("button", name="Badges for those ticked").click()
            assert len(sent.value.post_data_json["officials"]) == people
            assert got.value.path().read_bytes().startswith(b"%PDF")
            expect(page.locator("#badges-said")).to_contain_text("ready to be printed")
            assert faults(page) == []


def test_who_is_ticked_for_a_badge_stays_so_when_others_join_and_one_sheet_is_made(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.organiser) as window:
        page = opened(window, at(meet, "/officials"))
        page.get_by_label(f"Badge for {meet.umpire.name}").check()
        page.locator("#badges button[type=submit]").focus()
        add_official(meet, "Rua Lookout", "umpire")
        expect(page.locator("#officials")).to_contain_text("Rua Lookout")
        expect(page.get_by_label(f"Badge for {meet.umpire.name}")).to_be_checked()
        expect(page.locator("input[name=officials]:checked")).to_have_count(1)
        sent: list[str] = []
        page.on("request", lambda one: sent.append(one.url) if "badges.pdf" in one.url else None)
        with page.expect_download():
            page.locator("#badges button[type=submit]").dblclick()
        expect(page.locator("#badges-said")).to_contain_text("ready to be printed")
        assert len(sent) == 1


def test_badges_for_nobody_say_what_to_do_and_give_out_no_link(
    chromium: Browser, service: Service
) -> None:
    hand = load_all(a_bare_meet(service))
    before = hand.head()
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/officials"))
        page.get_by_role("button", name="Badges for those ticked").click()
        expect(page.locator("#badges .problem")).to_contain_text("Tick those")
        assert faults(page) == []
    assert hand.head() == before


def test_an_official_is_named_and_changed_by_the_keyboard(
    chromium: Browser, service: Service
) -> None:
    hand = a_bare_meet(service)
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/officials"))
        page.locator("#official-name").focus()
        page.keyboard.type("Bo Halyard")
        page.keyboard.press("Tab")
        page.keyboard.type("Lantern Quay")
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        page.keyboard.press("Enter")
        row = page.locator("#officials tr", has_text="Bo Halyard")
        expect(row).to_contain_text("zone umpire")
        row.get_by_role("button", name="Change").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#official-name")).to_be_focused()
        expect(page.locator("#official-affiliation")).to_have_value("Lantern Quay")
        page.get_by_label("chief umpire").focus()
        page.keyboard.press("Space")
        page.keyboard.press("Enter")
        expect(row).to_contain_text("chief umpire, zone umpire")
        expect(page.locator("#official-name")).to_have_value("")


def test_a_rehearsal_is_made_and_ended_by_the_keyboard_and_leaves_no_heat(
    chromium: Browser, service: Service
) -> None:
    hand = load_all(a_bare_meet(service))
    heats = hand.organiser.get("heats").json()
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/rehearsals"))
        expect(page.locator("#going-on")).to_contain_text("No rehearsal goes on")
        page.locator("#new-rehearsal input[value='1']").focus()
        page.keyboard.press("Space")
        page.locator("#new-rehearsal button").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#going-on .rehearsal")).to_contain_text("lanes 2–8")
        assert faults(page) == []
        page.get_by_role("button", name="End rehearsal 1").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#ended")).to_contain_text("Rehearsal 1")
        expect(page.locator("#going-on .rehearsal")).to_have_count(0)
        assert faults(page) == []
    assert hand.organiser.get("heats").json() == heats


def test_a_rehearsal_in_no_lane_says_what_to_do(chromium: Browser, service: Service) -> None:
    hand = a_bare_meet(service, track={"lanes": 1})
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/rehearsals"))
        page.get_by_label("1", exact=True).uncheck()
        window.expects = {422}
        page.locator("#new-rehearsal button").click()
        problem = page.locator("#new-rehearsal .problem")
        expect(problem).to_be_visible()
        expect(problem.get_by_role("link")).to_contain_text("Lanes in which a team is to run")
        assert faults(page) == []
        page.get_by_label("1", exact=True).check()
        page.locator("#new-rehearsal button").click()
        expect(page.locator("#going-on .rehearsal")).to_contain_text("lane 1")


def test_a_chief_umpire_is_led_to_the_crew_and_ends_a_rehearsal_that_others_made(
    chromium: Browser, service: Service
) -> None:
    hand = a_whole_meet(service)
    chief = add_official(hand, "Rua Lookout", "chief_umpire")
    with a_window(chromium, service, chief) as window:
        page = opened(window, f"/meets/{hand.id}/head")
        page.get_by_role("link", name="Crew").click()
        expect(page.locator("h1")).to_have_text("Crew")
        look_at(page)
        page.get_by_role("link", name="Rehearsals").click()
        expect(page.locator("#new-rehearsal")).to_have_count(0)
        page.get_by_role("button", name="End rehearsal 2").click()
        expect(page.locator("#going-on .rehearsal")).to_have_count(0)


def test_a_meet_is_set_up_by_the_keyboard_and_leads_to_the_organisers_own_link(
    chromium: Browser, service: Service
) -> None:
    with a_window(chromium, service) as window:
        page = window.open("/set-up")
        for folded in page.locator("main details > summary").all():
            folded.click()
        look_at(page)
        page.set_viewport_size({"width": 1440, "height": 900})
        page.locator("#key").focus()
        page.keyboard.type("not the key")
        page.fill("#name", "Quay Relays")
        page.fill("#first_day", "2026-06-13")
        page.fill("#last_day", "2026-06-13")
        page.fill("#time_zone", "Europe/Nowhere")
        page.select_option("#edition", "world-athletics-2025")
        page.fill("#organiser", "Ada Pilot")
        window.expects = {401, 403, 422}
        page.keyboard.press("Enter")
        expect(page.locator("#new-meet .problem")).to_be_visible()
        look_at(page)
        page.fill("#key", SETUP_KEY)
        page.locator("#key").press("Enter")
        expect(page.locator("#time_zone")).to_have_attribute("aria-invalid", "true")
        problem = page.locator("#new-meet .problem")
        expect(problem).to_contain_text(
            "Time zone: This is no time zone name such as Europe/Paris."
        )
        assert "/" not in problem.inner_text().replace("Europe/Paris", ""), (
            "no pointer for programs"
        )
        expect(page.locator("#name")).to_have_value("Quay Relays")
        page.fill("#time_zone", "Europe/Paris")
        page.locator("#time_zone").press("Enter")
        page.wait_for_url("**/join*")
        expect(page.locator("main")).to_contain_text("Ada Pilot")


def test_the_time_zone_of_whoever_sets_a_meet_up_is_put_in(
    chromium: Browser, service: Service
) -> None:
    with a_window(chromium, service, timezone_id="America/St_Johns") as window:
        page = window.open("/set-up")
        expect(page.locator("#time_zone")).to_have_value("America/St_Johns")


def test_whoever_lost_a_device_or_forgot_the_pin_is_let_in_anew(
    chromium: Browser, service: Service
) -> None:
    hand = load_all(a_bare_meet(service))
    person = add_official(hand, "Lost Phone", "umpire")
    assert person.get("watch").status_code == 200
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/officials"))
        expect(page.locator("#one-organiser")).to_contain_text("the only organiser")
        mine = page.locator(f"#official-{hand.organiser.id}")
        expect(mine.get_by_role("button", name="Link")).to_be_visible()
        expect(mine.get_by_role("button", name="PIN")).to_have_count(0)
        page.locator(f"#official-{person.id}").get_by_role("button", name="New PIN").click()
        look_at(page)
        # On a phone a row is as wide as the names in it need.
        page.set_viewport_size(PHONE)  # type: ignore[arg-type]
        name = page.locator(f"#official-{person.id} th").bounding_box()
        assert name
        assert name["width"] > name["height"]
        expect(page.locator("#anew-name")).to_have_text("Lost Phone")
        page.locator("#anew-do").click()
        link = page.locator("#link-text")
        expect(link).to_have_value(re.compile(r"/join#\w"))
        token = link.input_value().split("#")[1]
        expect(page.locator(f"#official-{person.id}")).to_contain_text("has not joined")
    assert person.get("watch").status_code == 401
    joined = service.http.post(
        "/api/join", json={"token": token, "pin": "7302", "session": new_id()}
    )
    assert joined.status_code in {200, 201}, joined.text


def test_fields_side_by_side_stand_in_one_line_also_where_one_has_a_hint(
    chromium: Browser, service: Service
) -> None:
    hand = a_bare_meet(service)
    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand))
        for width in (1440, 1024, 640):
            page.set_viewport_size({"width": width, "height": 900})
            tops = page.eval_on_selector_all(
                "form.columns > .field",
                """all => all.map(one => [one.getBoundingClientRect().top,
                    one.querySelector("input, select").getBoundingClientRect().top])""",
            )
            by_row: dict[float, set[float]] = {}
            for row, field in tops:
                by_row.setdefault(round(row), set()).add(round(field))
            assert len(by_row) < len(tops)
            assert all(len(found) == 1 for found in by_row.values()), (width, by_row)


def test_a_personal_link_can_be_read_and_sent_where_no_badge_can_be_printed(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.organiser) as window:
        page = opened(window, at(meet, "/officials"))
        page.get_by_role("button", name=f"A link for {meet.umpire.name}").click()
        expect(page.locator("#link")).to_contain_text(meet.umpire.name)
        link = page.locator("#link-text")
        expect(link).to_have_value(re.compile(f"^{window.home}/join#.+"))
        assert faults(page) == []
        told = service.http.post("/api/join/look", json={"token": link.input_value().split("#")[1]})
        assert told.json()["name"] == meet.umpire.name
        page.keyboard.press("Escape")
        expect(link).to_have_value("")


def test_a_link_that_comes_late_is_shown_under_nobody_elses_name(
    chromium: Browser, service: Service
) -> None:
    hand = load_all(a_bare_meet(service))
    first, second = (add_official(hand, name, "umpire") for name in ("First", "Second"))
    held: list[Route] = []

    def hold_the_first(route: Route) -> None:
        if first.id in route.request.url:
            held.append(route)
        else:
            route.continue_()

    with a_window(chromium, service, hand.organiser) as window:
        page = opened(window, at(hand, "/officials"))
        page.route("**/join-links/*", hold_the_first)
        page.locator(f"#official-{first.id} [data-link]").click()
        expect(page.locator("#link-name")).to_have_text("First")
        page.keyboard.press("Escape")
        page.locator(f"#official-{second.id} [data-link]").click()
        expect(page.locator("#link-text")).to_have_value(re.compile(r"/join#\w"))
        shown = page.locator("#link-text").input_value()
        with page.expect_response("**/join-links/*"):
            held[0].continue_()
        page.wait_for_timeout(100)
        expect(page.locator("#link-name")).to_have_text("Second")
        assert page.locator("#link-text").input_value() == shown
