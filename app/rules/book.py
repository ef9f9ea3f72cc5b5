"""Which rules hold? Loads the editions of the rule books, one TOML file each, and checks them.

This is the only module of the rules that reads files, and only those that come with it. Every
value stands in its file beside its source. An edition that has been replaced stays, for a report
is judged by the edition of its day.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Final

from app.rules.book_page import BookRefused, Page
from app.rules.book_parts import (
    Consequence,
    Deposit,
    DroppedBatonRule,
    InfringementRule,
    LaneRule,
    Notation,
    Remedy,
    ReturnPoint,
    WindowOpener,
    WindowRule,
    ZoneRule,
)
from app.rules.book_reading import (
    Zones,
    read_days,
    read_deposit,
    read_dropped_baton,
    read_hindrance,
    read_infringements,
    read_jury,
    read_lane_rule,
    read_lines,
    read_notations,
    read_oval_zones,
    read_protests,
    read_windows,
    read_zone_tolerance,
    read_zones,
)
from app.rules.observation import Infringement
from app.rules.relay import Relay
from app.rules.track import LAP_M, OVAL_M, Track, is_run_on

__all__ = [
    "Book",
    "BookRefused",
    "Consequence",
    "Deposit",
    "DroppedBatonRule",
    "InfringementRule",
    "LaneRule",
    "Notation",
    "Remedy",
    "ReturnPoint",
    "WindowOpener",
    "WindowRule",
    "ZoneRule",
    "book_on",
    "editions",
    "load_book",
    "read_book",
]

SUFFIX: Final = ".toml"
LARGEST_BOOK: Final = 64 * 1024
"""In characters; the largest edition has a sixth of that."""
LONGEST_LINE: Final = 8 * 1024
"""In characters. A name stands in one line: for one of very many parts TOML's reader takes their
square.
"""
_ENDLESS_NUMBER: Final = re.compile(r"[0-9_]{400}")
"""One of thousands of digits TOML's reader refuses as if that were no fault of the book."""
_BOOKS: Final = files("app.rules") / "books"
_WHERE_IN_FILE: Final = re.compile(r"\(at (.+)\)$")


@dataclass(frozen=True, slots=True)
class Book:
    """One edition of a rule book. `sources` names the source of each value by its place.

    `jury_final_by` is the rule by which nothing can be lodged against a decision of the jury,
    `oval_zones` are those on an oval of 200 m, of the relays that are run there.
    """

    key: str
    code: str
    title: str
    edition: str
    in_force_from: date
    in_force_until: date | None
    zones: Zones
    oval_zones: Zones
    zone_tolerance_m: float | None
    infringements: Mapping[Infringement, InfringementRule]
    lane_rule: LaneRule
    dropped_baton: DroppedBatonRule
    hindrance_must_be_wilful: bool
    windows: tuple[WindowRule, ...]
    notations: Mapping[str, Notation]
    appeal_deposit: Deposit | None
    protestable_judgement: bool
    jury_final_by: str
    sources: Mapping[str, str]
    is_for_oval: bool = False

    @property
    def tolerated_lane_infringements(self) -> int:
        """How many lane infringements of a team are only noted, over all rounds."""
        return self.lane_rule.tolerated

    def zone(self, relay: Relay, take_over: int) -> ZoneRule:
        """The zone of a take-over; one that the relay lacks is refused with ValueError."""
        zones = self.zones[relay]
        if take_over not in zones:
            raise ValueError(f"The {relay} has no take-over {take_over}: choose 1, 2 or 3.")
        return zones[take_over]

    def on_oval(self) -> "Book":
        """The book for an oval of 200 m: a relay without a zone of its own there has its usual."""
        return replace(self, zones={**self.zones, **self.oval_zones}, is_for_oval=True)

    def zones_on(self, track: Track) -> Zones:
        """The zones of the relays that this edition has on such a track."""
        zones = self.oval_zones if track.lap_m == OVAL_M else self.zones
        return {relay: its for relay, its in zones.items() if is_run_on(track, relay)}

    def reference(self, infringement: Infringement) -> str:
        """The rule that stands after "DQ"."""
        return self.infringements[infringement].rule


def editions() -> tuple[str, ...]:
    """The keys of the editions at hand, in alphabetical order."""
    names = (entry.name for entry in _BOOKS.iterdir())
    return tuple(sorted(name.removesuffix(SUFFIX) for name in names if name.endswith(SUFFIX)))


@cache
def load_book(key: str) -> Book:
    """The edition of this key; an unknown key is refused naming the known ones."""
    if key not in editions():
        raise BookRefused(f"{key}{SUFFIX}", f"is unknown; choose one of: {', '.join(editions())}")
    return read_book((_BOOKS / f"{key}{SUFFIX}").read_text(encoding="utf-8"), key)


@cache
def book_on(key: str, lap_m: int) -> Book:
    """The edition of this key for a track of 400 m, or an oval of 200 m."""
    return load_book(key) if lap_m == LAP_M else load_book(key).on_oval()


def read_book(text: str, name: str) -> Book:
    """Read and check the text of a book; `name` is its key, with or without the file's suffix."""
    key = name.removesuffix(SUFFIX)
    sources: dict[str, str] = {}
    with Page(f"{key}{SUFFIX}", "", _parse(text, f"{key}{SUFFIX}"), sources) as root:
        first, last = read_days(root)
        lane_rule, lines = read_lane_rule(root), read_lines(root)
        return Book(
            key=key,
            code=root.text("code"),
            title=root.text("title"),
            edition=root.text("edition"),
            in_force_from=first,
            in_force_until=last,
            zones=read_zones(root, lines),
            oval_zones=read_oval_zones(root, lines),
            zone_tolerance_m=read_zone_tolerance(root),
            infringements=read_infringements(root),
            lane_rule=lane_rule,
            dropped_baton=read_dropped_baton(root),
            hindrance_must_be_wilful=read_hindrance(root),
            windows=read_windows(root),
            notations=read_notations(root, lane_rule),
            appeal_deposit=read_deposit(root),
            protestable_judgement=read_protests(root),
            jury_final_by=read_jury(root),
            sources=sources,
        )


def _parse(text: str, file: str) -> dict[str, object]:
    _insist_on_measure(text, file)
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise BookRefused(f"{file}: whole document", "is nested too deeply") from error
    except tomllib.TOMLDecodeError as error:
        where = _WHERE_IN_FILE.search(str(error))
        problem = str(error)[: where.start()].strip() if where else str(error)
        place = where.group(1) if where else "end of document"
        raise BookRefused(f"{file}: {place}", f"is not TOML: {problem}") from error


def _insist_on_measure(text: str, file: str) -> None:
    if len(text) > LARGEST_BOOK:
        raise BookRefused(f"{file}: end of document", f"lies beyond {LARGEST_BOOK} characters")
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            raise BookRefused(f"{file}: line {number}", f"is longer than {LONGEST_LINE} characters")
        if _ENDLESS_NUMBER.search(line):
            raise BookRefused(f"{file}: line {number}", "holds a number of 400 digits or more")
