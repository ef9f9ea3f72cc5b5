"""The browser's own formatting (ECMA-402) agrees with what the service writes on the same page."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from babel import Locale
from playwright.sync_api import Browser, expect

from app.pages.directions import apart
from app.pages.languages import Manner, languages
from tests.browser.everything import CLUBS, EVENT, NAMES, TEAMS
from tests.browser.looking import a_window
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

MOMENT = datetime(2026, 1, 1, 7, 4, 5, tzinfo=UTC)
ZONES = ("Europe/Paris", "America/St_Johns", "Asia/Kathmandu")
NUMBERS = (0.0, 1.2, 0.35, 1234.5)

IN_BROWSER = """([language, zone, instant, numbers]) => {
  const two = "2-digit", at = new Date(instant), clock = { timeZone: zone, hourCycle: "h23" };
  const digits = { minimumFractionDigits: 2, maximumFractionDigits: 2 };
  const time = (options) => new Intl.DateTimeFormat(language, { ...clock, ...options }).format(at);
  return {
    phone: time({ hour: two, minute: two, second: two }),
    board: time({ timeStyle: "medium" }),
    numbers: numbers.map((one) => new Intl.NumberFormat(language, digits).format(one)),
    forms: [0, 1, 2, 5, 11, 21].map((one) => new Intl.PluralRules(language).select(one)),
  };
}"""


@pytest.mark.parametrize("language", languages())
def test_browser_and_service_write_times_numbers_and_plurals_alike(
    chromium: Browser, language: str
) -> None:
    page = chromium.new_page()
    plural = Locale.parse(language).plural_form
    for zone in ZONES:
        for instant in (MOMENT, MOMENT + timedelta(hours=16), MOMENT + timedelta(days=190)):
            sent = [language, zone, instant.isoformat(), list(NUMBERS)]
            told = page.evaluate(IN_BROWSER, sent)
            manner = Manner(language, zone)
            assert told["phone"] == told["board"] == manner.time(instant)
            assert told["numbers"] == [manner.number(one, 2) for one in NUMBERS]
            assert told["forms"] == [plural(one) for one in (0, 1, 2, 5, 11, 21)]
    page.close()


def test_a_refusal_says_its_kind_in_the_pages_language_and_the_rest_in_english(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    protest = f"/meets/{meet.id}/desk/heats/{meet.heat()}/protest"
    with a_window(chromium, service, meet.desk, locale="de-DE") as window:
        window.expects |= {409, 422}
        page = window.open(protest)
        page.select_option("#team", index=4)
        page.get_by_label("etwas anderes", exact=True).check()
        page.fill("#words", "שובר 1 היה ראשון, 42.10.")
        page.fill("#lodged-by", "Mira Anchor")
        page.fill("#lodged-day", "2099-01-01")
        page.fill("#lodged-time", "10:00:00")
        page.click("form[data-act] button[type=submit].main")
        told = page.locator("form[data-act] > .problem p")
        expect(told.first).to_have_text("So kann das nicht angenommen werden")
        expect(told.nth(1).locator("[lang=en]")).to_contain_text("lies in the future")
        assert page.input_value("#words").startswith("שובר")


def test_scripts_set_the_same_names_apart_as_templates_do(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    names = [*TEAMS, *CLUBS, *NAMES, EVENT, "AC נادי", "7, 42.10", ""]
    with a_window(chromium, service, meet.organiser) as window:
        page = window.open(f"/meets/{meet.id}/organiser/officials")
        told = page.evaluate(
            """async (names) => {
                const address = document.querySelector('script[src*="js/page.js"]').src;
                const { apart } = await import(address.replace("page.js", "words.js"));
                return names.map(apart);
            }""",
            names,
        )
    assert told == [apart(name) for name in names]
