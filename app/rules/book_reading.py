"""Do the values of a rule book belong together? Reads a book's tables and refuses contradictions.

Each part of a book has one function here. What is malformed is refused by `book_page.py`, what
contradicts itself or leaves something open is refused here, both with the place in the file.
"""

from collections.abc import Iterable, Mapping
from datetime import date
from types import MappingProxyType
from typing import Final

from app.rules.book_page import Choice, Page
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
from app.rules.observation import Infringement
from app.rules.relay import TAKE_OVERS, Relay
from app.rules.round_parts import Letter
from app.rules.track import in_lanes_on_oval

STILL_IN_FORCE: Final = "still in force"
NO_LIMIT: Final = "not set"
NEEDED_NOTATIONS: Final = ("DNS", "DNF", "DQ", *Letter)

OVAL_RELAYS: Final = tuple(one for one in Relay if in_lanes_on_oval(one) is not None)

Zones = Mapping[Relay, Mapping[int, ZoneRule]]
Lines = tuple[bool, bool]


def read_days(root: Page) -> tuple[date, date | None]:
    """From which day to which the edition is in force."""
    with root.page("in_force") as page:
        first = page.day("from")
        last = page.day_or("until", STILL_IN_FORCE)
        page.source()
    if last is not None and last < first:
        raise page.refusal("until", f"lies before the day {first} on which the edition took force")
    return first, last


def read_zones(root: Page, lines: Lines) -> Zones:
    """The zone of every take-over of every relay."""
    with root.page("zones") as page:
        return _zones(page, Relay, lines)


def read_oval_zones(root: Page, lines: Lines) -> Zones:
    """The zones on an oval of 200 m; empty where the edition has none that was found."""
    with root.page("oval_zones") as page:
        page.source()
        return _zones(page, OVAL_RELAYS if page.flag("asked") else (), lines)


def read_lines(root: Page) -> Lines:
    """Whether the first and the last line of a zone belong to it."""
    with root.page("edges") as edges:
        return _flag(edges, "first_line_inside"), _flag(edges, "last_line_inside")


def _zones(page: Page, relays: Iterable[Relay], lines: Lines) -> Zones:
    zones: dict[Relay, Mapping[int, ZoneRule]] = {}
    for relay in relays:
        with page.page(relay) as of_relay:
            zones[relay] = MappingProxyType(_take_overs(of_relay, lines))
    return MappingProxyType(zones)


def _take_overs(page: Page, lines: Lines) -> dict[int, ZoneRule]:
    """A relay's zones: one for all its take-overs, or one for each under its number."""
    if not any(str(take_over) in page for take_over in TAKE_OVERS):
        return dict.fromkeys(TAKE_OVERS, _zone(page, lines))
    zones = {}
    for take_over in TAKE_OVERS:
        with page.page(str(take_over)) as own:
            zones[take_over] = _zone(own, lines)
    return zones


def _zone(page: Page, lines: Lines) -> ZoneRule:
    with page.page("length_m") as value:
        length, source = value.number("value", 1, 50), value.source()
    leg_line = _number(page, "leg_line_m", most=50)
    if leg_line > length:
        raise page.refusal("leg_line_m", f"lies outside the zone of {length:g} m")
    acceleration = _number(page, "acceleration_m", most=20)
    return ZoneRule(length, leg_line, acceleration, *lines, page.text("rule"), source)


def read_zone_tolerance(root: Page) -> float | None:
    """How far a line of a zone may lie off, in metres; None where the edition sets nothing."""
    with root.page("zone_marks") as page:
        page.source()
        return page.number_or("tolerance_m", NO_LIMIT, 0.005, 0.5)


def read_infringements(root: Page) -> Mapping[Infringement, InfringementRule]:
    """The clause on every infringement; none may be missing."""
    rules: dict[Infringement, InfringementRule] = {}
    with root.page("infringements") as page:
        for infringement in Infringement:
            with page.page(infringement) as own:
                rules[infringement] = _infringement(own)
    return MappingProxyType(rules)


def _infringement(page: Page) -> InfringementRule:
    consequence = page.choice("consequence", Consequence)
    if consequence is Consequence.NONE:
        raise page.refusal("consequence", "must not be none: an infringement has a consequence")
    return InfringementRule(page.text("title"), page.text("rule"), page.source(), consequence)


def read_lane_rule(root: Page) -> LaneRule:
    """How the edition treats steps on the inner line of a bend."""
    with root.page("lane_infringement") as page:
        return LaneRule(
            steps_that_infringe=_whole(page, "steps_that_infringe", 1, 10),
            tolerated=_whole(page, "tolerated", 0, 1),
        )


def read_dropped_baton(root: Page) -> DroppedBatonRule:
    """What the edition asks of a team that drops its baton."""
    with root.page("dropped_baton") as page:
        return DroppedBatonRule(
            either_when_both_held=_flag(page, "either_when_both_held"),
            either_when_dropped_inside_zone=_flag(page, "either_when_dropped_inside_zone"),
            return_point=_choice(page, "return_point", ReturnPoint),
            own_lane_first=_flag(page, "own_lane_first"),
            back_into_zone=_flag(page, "back_into_zone"),
            infringes_outside_zone=_flag(page, "infringes_outside_zone"),
        )


def read_hindrance(root: Page) -> bool:
    """Whether only wilful hindrance after the pass infringes."""
    with root.page("hindrance") as page:
        return _flag(page, "must_be_wilful")


def read_protests(root: Page) -> bool:
    """Whether an official's judgement of an infringement can be protested."""
    with root.page("protests") as page:
        return _flag(page, "judgement_protestable")


def read_jury(root: Page) -> str:
    """The rule by which a decision of the jury is final."""
    with root.page("jury") as page:
        page.source()
        return page.text("final_by")


def read_deposit(root: Page) -> Deposit | None:
    """What an appellant lays down, or None where the edition asks for nothing."""
    with root.page("appeal_deposit") as page:
        if not page.flag("asked"):
            page.source()
            return None
        return Deposit(
            page.whole("amount", 1, 100_000),
            page.text("currency"),
            page.flag("forfeited_if_rejected"),
            page.text("rule"),
            page.source(),
        )


def read_windows(root: Page) -> tuple[WindowRule, ...]:
    """The windows; one for each kind and opener, and at least a protest and an appeal."""
    windows: list[WindowRule] = []
    for page in root.pages("windows"):
        with page:
            window = _window(page)
        if any((window.kind, window.opens) == (other.kind, other.opens) for other in windows):
            raise page.refusal("kind", f"“{window.kind}” on {window.opens} stands here twice")
        windows.append(window)
    for remedy in Remedy:
        if all(window.remedy is not remedy for window in windows):
            raise root.refusal("windows", f"has no window for any {remedy}")
    return tuple(windows)


def _window(page: Page) -> WindowRule:
    opens = page.choice("opens", WindowOpener)
    minutes = page.whole_or("minutes", NO_LIMIT, 0, 100_000)
    if opens is WindowOpener.ANY_TIME and minutes is not None:
        raise page.refusal("minutes", f"must be “{NO_LIMIT}” where the window opens at any time")
    return WindowRule(
        page.text("kind"),
        minutes,
        opens,
        page.text("rule"),
        page.source(),
        page.choice("remedy", Remedy),
        page.flag("meet_may_set"),
    )


def read_notations(root: Page, lane_rule: LaneRule) -> Mapping[str, Notation]:
    """The signs on results: all that can stand there, and L where a lane infringement can be
    tolerated.
    """
    notations: dict[str, Notation] = {}
    for page in root.pages("notations"):
        with page:
            notation = Notation(page.text("code"), page.text("meaning"), page.source())
        if notation.code in notations:
            raise page.refusal("code", f"“{notation.code}” stands here twice")
        notations[notation.code] = notation
    for code in (*NEEDED_NOTATIONS, *("L" for _ in range(lane_rule.tolerated))):
        if code not in notations:
            raise root.refusal("notations", f"lacks “{code}”")
    return MappingProxyType(notations)


def _flag(page: Page, key: str) -> bool:
    with page.page(key) as value:
        value.source()
        return value.flag("value")


def _whole(page: Page, key: str, least: int, most: int) -> int:
    with page.page(key) as value:
        value.source()
        return value.whole("value", least, most)


def _number(page: Page, key: str, most: float) -> float:
    with page.page(key) as value:
        value.source()
        return value.number("value", 0, most)


def _choice(page: Page, key: str, among: type[Choice]) -> Choice:
    with page.page(key) as value:
        value.source()
        return value.choice("value", among)
