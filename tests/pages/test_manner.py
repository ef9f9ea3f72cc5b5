"""How each language writes days, times and numbers, held against CLDR.

The patterns are those of CLDR 46 as Babel ships them; the sentences below were read in its charts
(`dates/calendars/gregorian`, `numbers/symbols`), from memory where they are typed out.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from babel import Locale
from babel.dates import format_date, format_time

from app.pages.languages import WRITTEN_AS, Manner, languages

MOMENT = datetime(2026, 6, 13, 12, 9, 30, tzinfo=UTC)
ZONE = "Europe/Paris"


@pytest.mark.parametrize(
    ("language", "moment", "day", "number"),
    [
        ("en", "13 Jun 2026, 14:09:30 CEST", "13 June 2026", "1,234.50"),
        ("de", "13.06.2026, 14:09:30 MESZ", "13. Juni 2026", "1.234,50"),
    ],
)
def test_days_times_and_numbers_are_written_as_the_language_writes_them(
    language: str, moment: str, day: str, number: str
) -> None:
    manner = Manner(language, ZONE)
    assert manner.moment(MOMENT) == moment
    assert manner.told("2026-06-13T12:09:30Z") == moment
    assert manner.day(date(2026, 6, 13)) == day
    assert manner.number(1234.5, 2) == number


@pytest.mark.parametrize("language", languages())
def test_a_moment_is_put_together_of_what_cldr_has(language: str) -> None:
    locale = Locale.parse(WRITTEN_AS.get(language, language), sep="-")
    shown = Manner(language, ZONE).moment(MOMENT)
    local = MOMENT.astimezone(Manner(language, ZONE)._zone)
    assert shown.startswith(format_date(local.date(), "medium", locale=locale))
    assert format_time(local.time(), "HH:mm:ss", locale=locale) in shown


@pytest.mark.parametrize(
    ("planned", "english", "german"),
    [
        ("14:20", "14:20", "14:20"),
        ("09:05:30", "09:05:30", "09:05:30"),
        ("2026-06-13T14:20", "13 Jun 2026, 14:20", "13.06.2026, 14:20"),
        # With an offset it is an instant: the meet's clocks show it.
        ("2026-06-13T12:20+00:00", "13 Jun 2026, 14:20", "13.06.2026, 14:20"),
    ],
)
def test_a_planned_start_is_written_by_the_language(
    planned: str, english: str, german: str
) -> None:
    assert Manner("en", ZONE).planned(planned) == english
    assert Manner("de", ZONE).planned(planned) == german


@pytest.mark.parametrize(
    ("seconds", "english", "german"),
    [
        (7, "7 secs", "7 Sek."),
        (60, "1 min", "1 Min."),
        (29 * 60 + 59.9, "29 mins 59 secs", "29 Min. 59 Sek."),
        (3600 + 12 * 60 + 4, "1 hr 12 mins 4 secs", "1 Std. 12 Min. 4 Sek."),
    ],
)
def test_how_long_something_is_uses_the_languages_own_units(
    seconds: float, english: str, german: str
) -> None:
    assert Manner("en").span(seconds) == english
    assert Manner("de").span(seconds) == german
