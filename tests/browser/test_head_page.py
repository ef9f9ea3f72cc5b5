"""The head official's pages in a real browser: zones and docket, a case, keys."""

from __future__ import annotations

import re
import socket
import time
from contextlib import ExitStack

import pytest
from playwright.sync_api import Browser, Page, expect

from app.ids import new_id
from tests.browser.looking import SIZES, Watched, a_window, faults, sideways
from tests.browser.test_passkeys import Tablet
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_ruling, add_official
from tests.conftest import NewDatabase
from tests.running import Service, a_service

pytestmark = pytest.mark.browser

DARK = {"viewport": {"width": 320, "height": 640}, "color_scheme": "dark", "locale": "de-DE"}
TABLET = {"viewport": {"width": SIZES["tablet"][0], "height": SIZES["tablet"][1]}}


def opened(window: Watched, path: str) -> Page:
    """A page that follows the meet."""
    page = window.open(path)
    expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
    return page


def of(meet: MeetAtHand, path: str) -> str:
    return f"/meets/{meet.id}/{path}"


def a_second_report(meet: MeetAtHand) -> Json:
    """Of the same lane, by the umpire beside."""
    baton = {"metres": 0.4, "uncertainty": 0.5}
    observation = {"seen": "pass_completed_beyond_zone", "baton": baton}
    return meet.report(by="second", observation=observation, words="كان بعد الخط")


def protest_about_a_placing(meet: MeetAtHand) -> None:
    team = meet.heats[0]["lanes"][2]["team"]
    sent = {"heat": meet.heat(), "team": team, "about": "placing", "lodged_by": "Mira Anchor"}
    answer = meet.desk.put(f"protests/{new_id()}", {**sent, "words": "We were second."})
    assert answer.status_code == 201, answer.text


def sign(page: Page) -> None:
    expect(page.locator("#signing")).to_be_visible()
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")


def tab_to(page: Page, selector: str) -> None:
    """Go on with the Tab key until it is there; every stop on the way can be seen."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches(':focus-visible')"):
            shown = page.evaluate("document.activeElement.getBoundingClientRect().width")
            assert shown > 0
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"the Tab key does not come to {selector}")


@pytest.mark.both_engines
def test_a_new_call_appears_by_itself_within_a_second(chromium: Browser, service: Service) -> None:
    meet = a_meet(service, umpires=("second", "third"))
    meet.start()
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, "head"))
        expect(page.locator(".block.silent")).to_have_count(3)
        before = time.monotonic()
        meet.call("yellow", lane=4, report=new_id())
        expect(page.locator("#docket .docket-case")).to_have_count(1)
        assert time.monotonic() - before < 1.0
        expect(page.locator(".block.yellow .named")).to_have_text("lane 4")


def test_the_page_heals_when_the_server_comes_back(
    chromium: Browser, new_database: NewDatabase
) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    url, address = new_database("sqlite"), f"http://localhost:{port}"
    with ExitStack() as stack:
        running = stack.enter_context(ExitStack())
        service = running.enter_context(a_service(url, public_url=address, port=port))
        meet = a_meet(service)
        meet.start()
        window = stack.enter_context(a_window(chromium, service, meet.referee, **TABLET))
        page = opened(window, of(meet, "head"))
        service.app.state.services.feed.stop()  # as on SIGTERM
        running.close()
        expect(page.locator("#line")).to_have_attribute("data-state", "out of touch")
        window.wrong.clear()
        service = stack.enter_context(a_service(url, public_url=address, port=port))
        with_it = MeetAtHand(service, meet.id, meet.people, meet.posts, meet.heats)
        for person in with_it.people.values():
            person.http = service.http
        with_it.call("yellow", lane=4, report=new_id())
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch", timeout=20_000)
        expect(page.locator("#docket .docket-case")).to_have_count(1)


def test_the_head_official_starts_a_heat_holds_it_back_and_looks_at_another(
    chromium: Browser, service: Service
) -> None:
    meet = a_meet(service)
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, "head"))
        expect(page.locator("#heat-name")).to_contain_text("heat 1")
        expect(page.locator(".block.awaited")).to_have_count(2)
        page.dblclick("#start-heat")
        expect(page.locator("#heat .tag")).to_have_text("running")
        expect(page.locator(".missing li")).to_have_count(2)
        page.click("#holding-back summary")
        expect(page.locator("#despite")).to_be_hidden()
        page.click("#hold-back")
        expect(page.locator("#heat .tag")).to_have_text("to come")
        meet.start()
        protest_about_a_placing(meet)
        expect(page.locator("#heat .tag")).to_have_text("running")
        page.click("#holding-back summary")
        window.expects = {409}
        page.click("#hold-back")
        expect(page.locator("#despite")).to_be_focused()
        page.keyboard.type("The race is")
        meet.call("white", by="second")
        expect(page.locator(".missing li")).to_have_count(1)
        page.keyboard.type(" run again.")
        page.keyboard.press("Enter")
        expect(page.locator("#heat .tag")).to_have_text("to come")
        page.click("#see-next")
        expect(page.locator(".heat-which")).to_contain_text("Another heat")
        page.click("#point-here")
        expect(page.locator(".heat-which")).to_have_text("Heat now")
        page.go_back()
        expect(page.locator("#heat-name")).to_contain_text("heat 2")


def test_a_case_is_ruled_on_by_keyboard_alone_and_the_next_one_follows(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    case = meet.report()["case"]
    a_second_report(meet)
    other = meet.report(lane=3)["case"]
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, "head"))
        tab_to(page, f"#open-{case}")
        meet.call("white", by="second")
        expect(page.locator(".block.white")).to_have_count(0)
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile(f"/cases/{case}"))
        expect(page.locator(".report")).to_have_count(2)
        expect(page.locator(".zone-wide .zone-mark")).to_have_text(["2", "1"])
        tab_to(page, "#confirm")
        page.keyboard.press("Space")
        tab_to(page, ".chip[data-for=confirmed]")
        page.keyboard.press("Enter")
        assert page.input_value("#reasons") == "Seen clearly by the umpire."
        tab_to(page, "#sign-ruling")
        page.keyboard.press("Enter")
        expect(page.locator("#signing .what")).to_have_text("Confirm case 1: lane 4, Plover 1")
        told, shows = page.locator("#signing .told"), page.locator("#signing .shows")
        expect(told).to_contain_text("what all reports say: Pass completed beyond the zone")
        expect(shows).to_contain_text("If confirmed")
        expect(shows).not_to_contain_text("If dismissed")
        sign(page)
        page.wait_for_url(re.compile(f"/cases/{other}"))
        expect(page.locator("#case-title")).to_be_focused()
        expect(page.locator("#just-ruled")).to_contain_text("confirmed, DQ TR24.7")
        assert meet.case(case)["state"] == "ruled"
        page.check("#dismiss")
        page.click(".chip[data-for=dismissed] >> nth=0")
        page.dblclick("#sign-ruling")
        sign(page)
        page.wait_for_url(re.compile("/head"))
        expect(page.locator("#docket-title")).to_be_focused()
        expect(page.locator("#docket")).to_contain_text("No case is open.")
        assert len(meet.case(other)["rulings"]) == 1


@pytest.mark.both_engines
def test_the_second_of_two_head_officials_is_told_who_was_first_and_loses_no_word(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    add_official(meet, "Cleo Compass", "referee")
    case = meet.report()["case"]
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, f"cases/{case}"))
        page.check("#dismiss")
        page.fill("#reasons", "Own words about it.")
        assert meet.rule(case, by="Cleo Compass").status_code == 201
        expect(page.locator("#standing")).to_contain_text("Cleo Compass")
        expect(page.locator("#ruling .moved-on")).to_be_visible()
        assert page.input_value("#reasons") == "Own words about it."
        window.expects = {412}
        page.click("#sign-ruling")
        expect(page.locator("#ruling-form > .problem")).to_contain_text("Cleo Compass has ruled")
        assert page.input_value("#reasons") == "Own words about it."
        assert faults(page) == []
        page.click("#ruling .moved-on button")
        expect(page.locator("#ruling-title")).to_have_text("Rule anew")
        assert page.input_value("#reasons") == "Own words about it."
        expect(page.locator("#dismiss")).to_be_checked()
        page.click("#sign-ruling")
        sign(page)
        page.wait_for_url(re.compile("/head"))
        assert len(meet.case(case)["rulings"]) == 2


@pytest.mark.both_engines
def test_a_report_is_asked_back_by_two_taps_and_its_answer_appears(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    report = meet.report()
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, f"cases/{report['case']}"))
        page.click("#ask .chip >> nth=1")
        page.click(f"#ask-{report['id']}")
        card = page.locator(f"#report-{report['id']}")
        expect(card).to_contain_text("sent back with a question")
        expect(page.locator("#history")).to_contain_text("Who held the baton")
        expect(page.locator("#ask")).to_be_hidden()
        stored = meet.umpire.get(f"reports/{report['id']}")
        again = {name: stored.json()[name] for name in ("heat", "lane", "post", "observation")}
        sent = {**again, "clock": stored.json()["clock"], "words": "The receiver, alone."}
        answer = meet.umpire.put(f"reports/{report['id']}", sent, etag=stored.headers["ETag"])
        assert answer.status_code == 200, answer.text
        expect(card).to_contain_text("The receiver, alone.")
        expect(page.locator(f"#ask-{report['id']}")).to_be_visible()


def test_a_passkey_is_made_signs_a_ruling_and_is_revoked(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    case = meet.report()["case"]
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, "keys"))
        Tablet(page)
        assert faults(page) == []
        page.fill("#device", "Cleo's tablet")
        page.fill("#pin", PIN)
        page.dblclick("#make-passkey")
        expect(page.locator("#made")).to_have_text("The passkey is registered.")
        expect(page.locator("#key-list .card")).to_have_count(1)
        page.goto(f"{window.home}{of(meet, f'cases/{case}')}")
        page.check("#confirm")
        page.click(".chip[data-for=confirmed] >> nth=0")
        page.click("#sign-ruling")
        page.click("#signing button[value=passkey]")
        page.wait_for_url(re.compile("/head"))
        (ruling,) = meet.case(case)["rulings"]
        signed = meet.referee.get(f"rulings/{ruling}").json()["signed_with"]
        assert signed["strength"] == "device key"
        page.goto(f"{window.home}{of(meet, 'keys')}")
        page.click("#key-list summary")
        page.click("#key-list .chip >> nth=0")
        page.click("#key-list button.grave")
        expect(page.locator("#key-list .tag")).to_have_text("revoked")
        assert faults(page) == []


def test_the_pages_have_no_fault_in_any_state_and_fit_a_narrow_phone_in_the_dark(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    case = meet.report()["case"]
    a_second_report(meet)
    meet.call("yellow", by="second", report=new_id())
    baton = {"metres": -12.0, "uncertainty": 0.5}
    far = {"seen": "pass_completed_before_zone", "baton": baton}
    ruled = meet.report(lane=3, observation=far)["case"]
    assert meet.rule(ruled).status_code == 201
    flag = next(one for one in meet.open_cases() if one != case)
    pages = ["head", "keys", *(f"cases/{one}" for one in (case, ruled, flag))]
    for options in (TABLET, DARK):
        with a_window(chromium, service, meet.referee, **options) as window:
            for path in pages:
                page = opened(window, of(meet, path))
                assert faults(page) == [], (path, options)
                assert sideways(page) == 0, (path, options)
                if path == f"cases/{case}":
                    page.check("#confirm")
                    assert faults(page) == [], path
                    assert sideways(page) == 0, path
    with a_window(chromium, service, meet["jury"], **DARK) as window:
        page = opened(window, of(meet, f"cases/{case}"))
        expect(page.locator("#ruling")).to_be_hidden()
        expect(page.locator("#ask")).to_be_hidden()
        assert faults(page) == []


def test_a_ruling_asks_for_what_the_reports_leave_open(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    steps = {"seen": "lane_infringement", "on_bend": "yes", "inner_line": "yes", "steps": 2}
    case = meet.report(observation=steps)["case"]
    meet.report(by="second", take_over=None)
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, f"cases/{case}"))
        expect(page.locator("#infringement")).to_be_hidden()
        page.check("#confirm")
        page.select_option("#infringement", "lane_infringement")
        page.check("#dismiss")
        expect(page.locator("#infringement")).to_be_hidden()
        page.check("#confirm")
        page.click(".chip[data-for=confirmed] >> nth=2")
        page.click("#sign-ruling")
        sign(page)
        page.wait_for_url(re.compile("/head"))
        (ruling,) = meet.case(case)["rulings"]
        told = meet.referee.get(f"rulings/{ruling}").json()
        assert (told["infringement"], told["separate"]) == ("lane_infringement", 1)
        assert a_ruling()["verdict"] == told["verdict"]


def test_what_is_signed_is_shown_in_the_words_of_the_page_first(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    report = meet.report()
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, f"cases/{report['case']}"))
        page.check("#confirm")
        page.fill("#reasons", "I saw it from the inside.")
        page.click("#sign-ruling")
        told = page.locator("#signing .told")
        expect(told).to_contain_text("Your ruling")
        expect(told).to_contain_text("Confirm")
        expect(told).to_contain_text("I saw it from the inside.")
        assert faults(page) == []


def test_a_question_without_an_answer_is_told_before_the_ruling(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    report = meet.report()
    asked = {"reason": "Which lane was it?"}
    etag = f'"v{report["version"]}"'
    assert meet.referee.post(f"reports/{report['id']}/return", asked, etag=etag).status_code == 200
    with a_window(chromium, service, meet.referee, **TABLET) as window:
        page = opened(window, of(meet, f"cases/{report['case']}"))
        expect(page.locator("#ruling-form .note")).to_contain_text("has no answer yet")
