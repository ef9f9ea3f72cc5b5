"""What happens beside the flags on a zone official's phone: pictures that it cannot draw itself, an
own observation of somebody without a post, and signing off while something has not gone yet.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from app.pages.languages import Manner
from app.visible import find_unseen
from tests.browser.looking import a_window, faults, sideways
from tests.browser.test_joining_page import a_link
from tests.browser.zone_phone import (
    PHONE,
    RECEIVED,
    Thumb,
    open_zone,
    own_reports,
    place_baton,
    until,
)
from tests.builders import MeetAtHand, a_report
from tests.pictures.photographs import drawn, saved
from tests.running import Service
from tests.test_visible import GOOD

pytestmark = pytest.mark.browser

HEIC = "image/heic"


def to_the_facts(page: Page) -> None:
    page.locator("#yellow").tap()
    page.locator("[data-do=lane][data-with='3']").tap()
    page.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").tap()
    place_baton(page)


def choose(page: Page, name: str, content: bytes, kind: str = HEIC) -> None:
    chosen = {"name": name, "mimeType": kind, "buffer": content}
    page.locator("[data-pictures]").set_input_files(chosen)


def written(meet: MeetAtHand) -> bool:
    return [one["state"] for one in own_reports(meet)] == ["written"]


def test_a_picture_that_the_phone_cannot_draw_is_told_and_goes_as_it_is(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        to_the_facts(page)
        content = saved(drawn(), "HEIF")
        choose(page, "IMG_1.HEIC", content)
        expect(page.locator(".picture")).to_contain_text("IMG_1.HEIC goes as it is")
        expect(page.locator("#picture-problem")).to_be_hidden()
        page.locator("#sign").tap()
        until(page, lambda: bool(own_reports(meet) and own_reports(meet)[0]["pictures"]))
    ((picture,),) = (one["pictures"] for one in own_reports(meet))
    assert (picture["media_type"], picture["size"]) == (HEIC, len(content))


def test_what_is_no_picture_or_too_large_is_told_in_the_step_and_the_rest_is_kept(
    chromium: Browser, service: Service, meet: MeetAtHand, tmp_path: Path
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        to_the_facts(page)
        page.fill("#words", "Seen from the inside.")
        problem = page.locator("#picture-problem")
        choose(page, "notes.txt", b"No picture", "text/plain")
        expect(problem).to_have_text("notes.txt: This is no picture that can be sent.")
        # From the disk, as a phone takes it: through the test's line it would take a minute.
        large = tmp_path / "large.heic"
        large.write_bytes(b"\0" * (16 * 1024 * 1024 + 1))
        page.locator("[data-pictures]").set_input_files(large)
        expect(problem).to_contain_text("large.heic: This picture is too large to be sent.")
        assert faults(page) == []
        assert sideways(page) == 0
        choose(page, "good.png", saved(drawn(), "PNG"), "image/png")
        expect(page.locator(".picture")).to_contain_text("good.png")
        expect(problem).to_be_hidden()
        page.locator("#sign").tap()
        until(page, lambda: bool(own_reports(meet) and own_reports(meet)[0]["pictures"]))
    (report,) = own_reports(meet)
    assert report["words"] == "Seen from the inside."
    assert len(report["pictures"]) == 1


PASTED = (
    "\u00ad",
    "\u200b",
    "\u2060",
    "\ufeff",
    "\u2066",
    "\u2069",
    "\u202a",
    "\u202e",
    "\u200e",
    "\t",
)
"""What comes along where a text is copied from a page or a messenger (common practice)."""


def test_what_nobody_sees_in_pasted_words_is_left_out_before_they_are_signed(
    chromium: Browser, service: Service, meet: MeetAtHand, tmp_path: Path
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        to_the_facts(page)
        page.fill(
            "#words", "\u2068Both\u2069 hands\u00ad,\u200b\tthen\u200e one.\nNobody near.\ufeff"
        )
        page.locator("#sign").tap()
        until(page, lambda: bool(own_reports(meet)))
        expect(page.locator(f".entry {RECEIVED}")).to_be_visible()
    (report,) = own_reports(meet)
    assert report["words"] == "Both hands, then one.\nNobody near."


def test_the_moment_of_a_place_is_told_and_a_place_that_speaks_against_the_flag_too(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        to_the_facts(page)
        how, doubt = page.locator("#how"), page.locator("#doubt")
        expect(how).to_contain_text("where it was when only the receiver held it")
        for metres, is_inside in (("1.2", False), ("-1.2", True), ("-0.2", False), ("-0.3", True)):
            page.fill("#metres", metres)
            expect(doubt).to_be_visible(visible=is_inside)
        assert faults(page) == []
        # What is taken to be so is signed with the rest: it stands open.
        expect(page.locator("#answer-held_by-receiver")).to_have_attribute("aria-pressed", "true")
        page.locator("#answer-held_by-both").tap()
        expect(how).to_have_text(
            "Put the leading end of the baton where it was: drag, tap, or type."
        )
        page.locator("#answer-held_by-receiver").tap()
        expect(how).to_contain_text("only the receiver")


def test_what_is_said_to_be_kept_here_is_said_no_more_once_it_was_received(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        page.context.set_offline(True)
        to_the_facts(page)
        choose(page, "zone.png", saved(drawn(), "PNG"), "image/png")
        expect(page.locator(".picture")).to_contain_text("zone.png")
        page.locator("#sign").tap()
        expect(page.locator("#news")).to_contain_text("will be sent")
        page.context.set_offline(False)
        expect(page.locator(f".entry .pictures {RECEIVED}")).to_be_visible()
        expect(page.locator("#news")).to_have_text("The server has received it.")


def test_what_the_phone_leaves_out_is_what_the_service_does_not_take_and_no_more(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    spoilt = [f"Lane{one} 3, {one}lane{one}" for one in PASTED]
    loose = [f"lane {one}3" for one in ("\u200d", "\ufe0f", "\u061c", "\U000e0041", "\u180b")]
    loose += ["\u200d3", "\u200d\u200d", "3\u200d\u200d"]
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept, mended, blank = page.evaluate(
            """async (lists) => {
                const address = document.querySelector('script[src*="zone/phone.js"]').src;
                const { seen } = await import(address.replace("zone/phone.js", "js/seen.js"));
                return lists.map((texts) => texts.map(seen));
            }""",
            [GOOD, spoilt, loose],
        )
    assert kept == GOOD
    assert {"".join(one.split()) for one in mended} == {"Lane3,lane"}
    assert [find_unseen(one) for one in [*mended, *blank]] == [None] * (len(spoilt) + len(loose))


def test_a_picture_that_the_server_cannot_read_is_told_and_its_account_arrives(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        window.expects = {400, 413, 415, 422}
        to_the_facts(page)
        choose(page, "broken.heic", b"no picture at all")
        page.locator("#sign").tap()
        refused = page.locator("#waiting .problem")
        expect(refused).to_contain_text("The server did not take this picture.", timeout=15_000)
        expect(refused).to_contain_text("send a JPEG, PNG, WebP or HEIC file")
        assert written(meet)
        assert faults(page) == []
        refused.locator("[data-do=aside]").tap()
        expect(refused).to_have_count(0)


def test_somebody_without_a_post_shows_no_flags_and_reports_an_own_observation(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    chief = meet["chief_umpire"]
    with a_window(chromium, service, chief, **PHONE) as window:
        page = open_zone(window, meet)
        expect(page.locator("#post")).to_contain_text("You have no post in the crew plan.")
        expect(page.locator(".flags")).to_have_count(0)
        page.locator("#observe").tap()
        expect(page.locator("#step-title")).to_have_text("Which take-over?")
        assert faults(page) == []
        page.locator("[data-do=takeover][data-with='2']").tap()
        page.locator("[data-do=lane][data-with='6']").tap()
        page.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").first.tap()
        place_baton(page)
        page.locator("#sign").tap()
        expect(page.locator(f".entry {RECEIVED}")).to_be_visible(timeout=15_000)
    (report,) = chief.get("reports").json()
    assert (report["state"], report["take_over"], report["lane"]) == ("written", 2, 6)
    assert report["post"] is None
    assert chief.get("watch").json()["calls"] == []


def test_signing_off_tells_what_has_not_gone_and_keeps_it_until_the_next_time(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        page.route("**/api/meets/*/calls/*", lambda route: route.abort())
        page.route("**/api/meets/*/reports/*", lambda route: route.abort())
        Thumb(page).write_report()
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        page.locator("form.leave button").tap()
        asked = page.locator("#leave-problem")
        expect(asked).to_contain_text("2 items have not been received yet.")
        expect(asked).to_contain_text("Press once more to sign off")
        assert faults(page) == []
        assert meet.umpire.get("watch").status_code == 200
        window.expects = {401}
        page.locator("form.leave button").tap()
        page.wait_for_url(f"{window.home}/meets/{meet.id}")
        page.unroute_all()
        assert as_the_referee_reads(meet) == []
        page.goto(f"{window.home}/join#{a_link(meet, 'umpire')}")
        page.fill("#pin", "480213")
        page.locator("#join button").tap()
        page.wait_for_url(f"{window.home}/meets/{meet.id}/**")
        page.goto(f"{window.home}/meets/{meet.id}/zone")
        until(page, lambda: as_the_referee_reads(meet) == ["written"])


def as_the_referee_reads(meet: MeetAtHand) -> list[str]:
    """What has come of it, as the referee reads it: the umpire's session of before is over."""
    cases = [meet.case(one) for one in meet.open_cases()]
    return [report["state"] for case in cases for report in case["reports"]]


def test_what_has_not_arrived_is_neither_said_to_be_sent_nor_attested(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        page.context.set_offline(True)
        Thumb(page).write_report()
        expect(page.locator("#news")).to_have_text(
            "The report is kept on this phone and will be sent."
        )
        entry = page.locator("#day .entry")
        expect(entry).to_contain_text("on this phone")
        expect(entry).not_to_contain_text("attested by the server")
        page.context.set_offline(False)
        expect(entry).to_contain_text("attested by the server")


def test_a_question_is_shown_also_where_an_answer_to_an_earlier_one_was_not_taken(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    def ask(question: str) -> None:
        (report,) = own_reports(meet)
        etag = f'"v{report["version"]}"'
        asked = meet.referee.post(f"reports/{report['id']}/return", {"reason": question}, etag=etag)
        assert asked.status_code == 200, asked.text

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        window.expects = {409, 412}
        page = open_zone(window, meet)
        Thumb(page).write_report()
        until(page, lambda: written(meet))
        ask("Which hand?")
        page.locator("[data-do=rewrite]").tap()
        page.fill("#words", "The left one.")
        page.context.set_offline(True)
        page.locator("#sign").tap()
        (report,) = own_reports(meet)
        elsewhere = {**a_report(meet.heat(), meet.posts["umpire"]), "words": "Left."}
        etag = f'"v{report["version"]}"'
        answered = meet.umpire.put(f"reports/{report['id']}", elsewhere, etag=etag)
        assert answered.status_code == 200, answered.text
        page.context.set_offline(False)
        expect(page.locator(".entry .problem")).to_be_visible()
        ask("And the other\nhand?")
        expect(page.locator(".question")).to_have_text("And the other\nhand?")
        assert faults(page) == []


@pytest.mark.parametrize("planned", ["14:20", "2026-06-13T14:20"])
@pytest.mark.parametrize(("locale", "language"), [("en-GB", "en"), ("de-DE", "de")])
def test_a_planned_start_is_written_as_on_all_other_pages(
    chromium: Browser,
    service: Service,
    meet: MeetAtHand,
    planned: str,
    locale: str,
    language: str,
) -> None:
    known = meet.heats[1]
    rows = [
        f"{known['event_name']},{known['round']},{known['number']},{one['lane']},{one['name']},"
        f"{one['affiliation']},{one['bib']},{planned}"
        for one in known["lanes"]
    ]
    header = "event,round,heat,lane,team,affiliation,bib,scheduled"
    loaded = meet.organiser.post("start-lists", content="\n".join([header, *rows]))
    assert loaded.status_code == 200, loaded.text
    with a_window(chromium, service, meet.umpire, **{**PHONE, "locale": locale}) as window:
        page = open_zone(window, meet)
        page.locator("#by-hand").tap()
        page.locator(f"[data-do=hand][data-with='{meet.heat(1)}']").tap()
        shown = Manner(language, "Europe/Paris").planned(planned)
        expect(page.locator("#heat .tags")).to_contain_text(shown)
