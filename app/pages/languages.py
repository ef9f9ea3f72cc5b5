"""Which language does a page speak, and how does it write numbers and times?

Texts stand in the templates in English and are looked up in catalogues of Babel: one folder a
language under `locale/`, in it one catalogue for each place of the program, all read together. A
language that a page was asked for by name (`?language=de`) is kept in a cookie; else the browser's
own list decides.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time
from functools import cache
from io import BytesIO
from pathlib import Path
from zoneinfo import ZoneInfo

from babel import Locale
from babel.core import negotiate_locale
from babel.dates import format_date, format_time, get_timezone_name
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import format_decimal
from babel.support import NullTranslations, Translations
from babel.units import format_unit

CATALOGUES = Path(__file__).parent / "locale"
SOURCE = "en"
COOKIE = "language"
WRITTEN_AS = {"en": "en-GB"}
"""How a language that is written in several manners writes days: 13 June 2026."""


@cache
def languages() -> tuple[str, ...]:
    """The languages that pages speak, the one of the templates first."""
    return SOURCE, *sorted(folder.name for folder in CATALOGUES.iterdir() if folder.is_dir())


@cache
def translations(language: str) -> NullTranslations:
    """All catalogues of a language together; the source language needs none."""
    together = NullTranslations()
    for path in sorted((CATALOGUES / language).glob("*.po")):
        catalogue = _read(path, language)
        if isinstance(together, Translations):
            together.merge(catalogue)
        else:
            together = catalogue
    return together


def _read(path: Path, language: str) -> Translations:
    packed = BytesIO()
    with path.open("rb") as file:
        write_mo(packed, read_po(file, language))
    packed.seek(0)
    return Translations(packed)


def name_of(language: str) -> str:
    """What a language calls itself."""
    locale = Locale.parse(language, sep="-")
    return locale.get_display_name(locale) or language


def choose(asked: str | None, kept: str | None, accepted: str) -> str:
    """The language of an answer: what was asked for, what was kept, what the browser reads."""
    for wish in (asked, kept):
        if wish in languages():
            return wish
    return negotiate_locale(list(_by_weight(accepted)), languages(), sep="-") or SOURCE


def _by_weight(accepted: str) -> Iterable[str]:
    """The tags of an Accept-Language header (RFC 9110, 12.5.4), the dearest first."""
    weighed = []
    for place, part in enumerate(accepted[:200].split(",")):
        tag, _, weight = part.strip().partition(";q=")
        try:
            weighed.append((-float(weight or 1), place, tag))
        except ValueError:
            continue
    return (tag for weight, _place, tag in sorted(weighed) if weight < 0)


class Manner:
    """How one language writes days, times and numbers, in a meet's own zone."""

    def __init__(self, language: str, zone: str = "UTC") -> None:
        self.language = language
        self.zone_name = zone
        self.written_as = WRITTEN_AS.get(language, language)
        self._locale = Locale.parse(self.written_as, sep="-")
        self._zone = ZoneInfo(zone)

    @property
    def direction(self) -> str:
        """`rtl` for languages that are written from right to left."""
        return self._locale.text_direction

    def time(self, instant: datetime) -> str:
        """The time of day to the second."""
        return format_time(instant, "HH:mm:ss", tzinfo=self._zone, locale=self._locale)

    def moment(self, instant: datetime) -> str:
        """Day and time to the second, with the zone's short name."""
        day = format_date(instant.astimezone(self._zone), "medium", locale=self._locale)
        return f"{day}, {self.time(instant)} {self.zone(instant)}"

    def told(self, instant: str) -> str:
        """Day and time of an instant that is told in RFC 3339."""
        return self.moment(datetime.fromisoformat(instant))

    def planned(self, start: str) -> str:
        """A planned start as start lists have it (ISO 8601): a time of day, or a day with it."""
        moment = datetime.fromisoformat(start) if "T" in start else time.fromisoformat(start)
        clock = "HH:mm:ss" if moment.second else "HH:mm"
        if isinstance(moment, time):
            return format_time(moment, clock, locale=self._locale)
        local = moment.astimezone(self._zone) if moment.tzinfo else moment
        day = format_date(local.date(), "medium", locale=self._locale)
        return f"{day}, {format_time(local.time(), clock, locale=self._locale)}"

    def span(self, seconds: float) -> str:
        """How long something is, in whole seconds: 1 hr 12 min 4 sec."""
        minutes, left = divmod(int(seconds), 60)
        parts = ((minutes // 60, "hour"), (minutes % 60, "minute"), (left, "second"))
        told = [
            format_unit(count, f"duration-{unit}", length="short", locale=self._locale)
            for count, unit in parts
            if count or (unit == "second" and not minutes)
        ]
        return " ".join(told)

    def zone(self, instant: datetime) -> str:
        """The zone's short name at that instant, such as CET; where the language has none, the one
        of the time zone database.
        """
        local = instant.astimezone(self._zone)
        name = get_timezone_name(local, width="short", locale=self._locale, return_zone=False)
        return f"{local:%Z}" if any(letter.isdigit() for letter in name) else name

    def day(self, day: date) -> str:
        """A day, such as 13 June 2026."""
        return format_date(day, "long", locale=self._locale)

    def field_day(self, instant: datetime) -> str:
        """The day of an instant at the meet, as a form's field of days takes it."""
        return instant.astimezone(self._zone).date().isoformat()

    def field_time(self, instant: datetime) -> str:
        """The time of day at the meet, to the second, as a form's field of times takes it."""
        return instant.astimezone(self._zone).strftime("%H:%M:%S")

    def number(self, number: float, digits: int | None = None) -> str:
        """A number, with as many digits behind the point as told."""
        pattern = None if digits is None else f"#,##0.{'0' * digits}" if digits else "#,##0"
        return format_decimal(number, pattern, locale=self._locale)
