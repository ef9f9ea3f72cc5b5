"""The crew's briefing cards: for each umpire where to stand when, what to watch there, by which
rule, and how to report it.

What umpires are told is the handbook's of the trade; each sentence names its section or source
beside it. What an edge lets one see stands in `rules/seen_from.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import groupby
from typing import Final

from app.access.badges import OnPaper, choose
from app.access.wire import OfficialOut
from app.clock import at_the_meet
from app.crew.day import Day, Stand, Turn, stand_of
from app.crew.heats_named import named
from app.crew.queries import Post, lanes_in_words
from app.forms.briefing_card import (
    Advice,
    BriefingCard,
    BriefingCards,
    HeatsThere,
    Place,
    StandThere,
)
from app.forms.stand_drawing import StandDrawn
from app.forms.zone_scale import ZonePicture
from app.ids import OfficialId
from app.meets.queries import oval_note
from app.meets.track import take_overs_in_lanes
from app.refusals import StateConflict
from app.rules.book import ZoneRule
from app.rules.observation import Infringement
from app.rules.relay import Edge, Relay, Side
from app.rules.seen_from import seen_from
from app.rules.track import Place as PlaceOnTrack
from app.rules.track import ZonePlace, abreast, lap_length
from app.surveys.zones import SECTIONS, measures_of

CARE: Final = (
    "Keep out of the running lanes; look both ways before you step onto the track.",  # 9
    "Phone down while a heat runs.",  # 2 (3.) and 9
    "Speak to no team of a report before the ruling.",  # 2, silence (school sheet)
    "You tell what you saw; the meet's appointed officials decide.",  # 1 and 9
)
"""Handbook of the trade, by section."""

FLAGS: Final = (
    "White: nothing to report. Yellow: an apparent infringement.",
    "Show it at once after the pass, mark the spot if you can, then write straight away, whether "
    "or not anybody protests or the team finishes.",
)
"""Handbook of the trade, 2 (4.): CR20 and its notes."""

REPORT: Final = (
    "Event, round, heat, lane, team, zone; what happened, by which rule; who saw it, when, and "
    "who else had the view; where the baton was, how far from the line.",
    "Your phone fills in what it knows.",
    "“Unsure” is an answer.",  # rules/observation.py
)
"""Handbook of the trade, 2 (5.)."""

FOR_ALL: Final = (
    Advice("Your flags", FLAGS),
    Advice("A good report says", REPORT),
    Advice("Take care", CARE),
)

BATON_DECIDES: Final = "The baton decides, no body, foot or hand."
"""TR24.7 in secondary texts (handbook of the trade, 3)."""

ABREAST_M: Final = 0.5
"""Lines no farther apart along the track are seen as one; our own."""
MUCH_THE_SAME_M: Final = 2
"""Metres from abreast that differ by no more are told in one for all take-overs; our own."""

_BOTH: Final = (Edge.START, Edge.END)
_SEEN: Final[Mapping[tuple[Edge, ...], str]] = {
    (Edge.START,): "Seen from the start",
    (Edge.END,): "Seen from the end",
    _BOTH: "Seen from either edge",
}


def brief(day: Day, now: datetime, codes: Mapping[OfficialId, OnPaper]) -> BriefingCards:
    """A card for each official who has a post, by name; some with a code to join by."""
    facts = day.facts
    holders = {post.official_id for post in day.posts}
    people = [one for ident, one in day.people.items() if ident in holders]
    return BriefingCards(
        meet=facts.name,
        place=facts.venue,
        date=facts.days,
        time_zone=facts.time_zone,
        edition=f"{facts.book.title}, {facts.book.edition}",
        printed_at=at_the_meet(now, facts.time_zone),
        cards=tuple(_card(day, one, codes.get(one.id)) for one in people),
    )


def who_joins(day: Day, named: Sequence[str]) -> list[OfficialOut]:
    """Whose cards get a code: those who are named, or all with a post who have not joined.

    Malformed and StateConflict as `badges.choose` has them, and StateConflict for somebody without
    a post, who has no card.
    """
    holders = {post.official_id for post in day.posts}
    people = choose(list(day.people.values()), named)
    if not named:
        return [one for one in people if one.id in holders and not one.has_pin]
    for one in people:
        if one.id not in holders:
            raise StateConflict(
                f"{one.name} has no post in the crew plan, and so no card: make a badge instead. "
                "No link was issued."
            )
    return people


def _card(day: Day, who: OfficialOut, code: OnPaper | None) -> BriefingCard:
    stands = day.stands(who.id)
    told: set[tuple[Relay, Stand]] = set()
    return BriefingCard(
        official=who.name,
        link=code.link if code else "",
        works=code.works if code else "",
        drawings=tuple(_drawn(day, stands)),
        places=(
            *(_place(day, turn, told) for turn in day.turns(who.id)),
            *(_without_heat(day, post, told) for post in day.without_heat(who.id)),
        ),
        advice=tuple(_advice(day, stands)),
        for_all=FOR_ALL,
    )


def _place(day: Day, turn: Turn, told: set[tuple[Relay, Stand]]) -> Place:
    """`told` are the stands of which the card has said where they lie: it says so once."""
    relays = list(dict.fromkeys(heat.relay for heat in turn.heats))
    return Place(
        stands=tuple(
            StandThere(stand.words, _lies(day, relays, stand, told)) for stand in turn.stands
        ),
        heats=tuple(
            HeatsThere(one.words, day.times(one.heats), len(one.heats)) for one in named(turn.heats)
        ),
    )


def _without_heat(day: Day, post: Post, told: set[tuple[Relay, Stand]]) -> Place:
    relays, stand = day.relays_for(post), stand_of(post)
    words = f"{stand.words} ({_listed(relays)})"
    lies = _lies(day, relays, stand, told)
    return Place(stands=(StandThere(words, lies),), heats=(), no_heat=_why_no_heat(day, post))


def _why_no_heat(day: Day, post: Post) -> str:
    if day.is_called_off(post):
        return "Its heat was called off."
    if any(heat.lanes for heat in day.heats_for(post)):
        return "No heat that is drawn uses these lanes."
    return "No heat of it is drawn yet."


def _listed(relays: Iterable[Relay]) -> str:
    return ", ".join(relay.value for relay in relays)


Stands = Sequence[tuple[Relay, Stand]]


def _drawn(day: Day, stands: Stands) -> Iterator[StandDrawn]:
    """Each picture that differs, in the order of time; one stand alone needs no heading."""
    alike: dict[StandDrawn, list[tuple[Relay, Stand]]] = {}
    for relay, stand in stands:
        alike.setdefault(_picture(day, relay, stand), []).append((relay, stand))
    for picture, its in alike.items():
        stand = its[0][1]
        words = f"{_take_overs(its)}: {stand.edge}"
        scale = "" if picture.zone else "not to scale"
        named = f"{words}, {scale}" if scale else words
        yield replace(
            picture,
            words=f"{words}, {lanes_in_words(stand.lanes)}, {stand.side}",
            heading=named if len(stands) > 1 else scale.capitalize(),
            note=_not_abreast(day, its),
        )


def _not_abreast(day: Day, stands: Stands) -> str:
    """How far the outermost watched line of a picture lies on from the innermost one, below which
    it is drawn; by take-over where that differs by much, and empty where they lie abreast.
    """
    found: dict[int, list[tuple[Relay, Stand]]] = {}
    for relay, stand in stands:
        farther = _farther_on(day, relay, stand)
        found.setdefault(round(farther) if farther > ABREAST_M else 0, []).append((relay, stand))
    if not any(found):
        return ""
    inner, outer = _outermost(day, stands[0][1])
    where = f"on from lane {inner}'s, along lane {outer}"
    return f"Lines not abreast: lane {outer}'s lies {_metres_on(found)} {where}"


def _metres_on(found: dict[int, list[tuple[Relay, Stand]]]) -> str:
    """About the same on all take-overs needs no more words; else each has its own, without its
    number where the picture is of one number, which its heading tells.
    """
    least, most = min(found), max(found)
    numbers = {stand.take_over for its in found.values() for _, stand in its}
    if least == most:
        return f"{most} m"
    if least and most - least <= MUCH_THE_SAME_M:
        return f"{least}–{most} m"
    where = _take_overs if len(numbers) > 1 else _relays
    return ", ".join(f"{metres} m ({where(its)})" for metres, its in found.items() if metres)


def _farther_on(day: Day, relay: Relay, stand: Stand) -> float:
    """How many metres the line of the outermost watched lane lies on from straight across the track
    from that of the innermost one: along the outer lane, since lines that lie abreast on a bend
    have each their own metres into it. 0 where the zones are not known.
    """
    zones = day.zones(relay, stand.take_over)
    if day.track is None or not zones:
        return 0.0
    inner, outer = _outermost(day, stand)
    first, last = (_edge(zones[lane - 1], stand.edge).past_finish_m for lane in (inner, outer))
    lap = lap_length(day.track, outer)
    farther = (last - abreast(day.track, first, outer, inner)) % lap
    return farther if farther < lap / 2 else 0.0


def _outermost(day: Day, stand: Stand) -> tuple[int, int]:
    """The innermost and the outermost watched lane that the track has."""
    lanes = [lane for lane in stand.lanes if lane <= day.facts.track.lanes]
    return (lanes[0], lanes[-1]) if lanes else (1, 1)


def _picture(day: Day, relay: Relay, stand: Stand) -> StandDrawn:
    rule = day.rule(relay, stand.take_over)
    return StandDrawn(
        words="",
        heading="",
        note="",
        zone=ZonePicture("", rule.length_m, rule.leg_line_m, rule.acceleration_m, marks=())
        if rule
        else None,
        lanes=max(day.facts.track.lanes, *stand.lanes),
        edge=stand.edge,
        watched=frozenset(stand.lanes),
        is_inside=stand.side is Side.INSIDE,
    )


def _relays(stands: Stands) -> str:
    return _listed(relay for relay, _ in stands)


def _take_overs(stands: Stands) -> str:
    """4x100, 4x200, take-overs 1, 3; 4x400, take-over 2."""
    of: dict[Relay, list[int]] = {}
    for relay, stand in stands:
        of.setdefault(relay, []).append(stand.take_over)
    told: dict[tuple[int, ...], list[Relay]] = {}
    for relay, take_overs in of.items():
        told.setdefault(tuple(sorted(take_overs)), []).append(relay)
    return "; ".join(
        f"{_listed(relays)}, take-over{'s' if len(some) > 1 else ''} {', '.join(map(str, some))}"
        for some, relays in told.items()
    )


def _advice(day: Day, stands: Stands) -> Iterator[Advice]:
    for edges, title in _SEEN.items():
        seen = "; ".join(_seen(day, stands, edges))
        if seen:
            yield Advice(title, (f"{seen}.",))
    yield Advice(
        f"The zone, by {day.facts.book.title}, {day.facts.book.edition}",
        (*_zones(day, stands), BATON_DECIDES),
    )


def _lies(day: Day, relays: Sequence[Relay], stand: Stand, told: set[tuple[Relay, Stand]]) -> str:
    """Where its edge lies, from the first to the last lane that is watched there."""
    lies = []
    for relay in relays:
        zones = day.zones(relay, stand.take_over)
        lanes = [lane for lane in stand.lanes if lane <= len(zones)]
        if lanes and (relay, stand) not in told:
            told.add((relay, stand))
            first, last = (_edge(zones[lane - 1], stand.edge) for lane in (lanes[0], lanes[-1]))
            lies.append(f"{relay}: {_from_to(first, last)}")
    return "; ".join(lies)


def _edge(zone: ZonePlace, edge: Edge) -> PlaceOnTrack:
    return zone.start if edge is Edge.START else zone.end


def _from_to(first: PlaceOnTrack, last: PlaceOnTrack) -> str:
    """80–102 m into the first bend; or 74 m into the home straight to 1 m into the first bend."""
    here, there = f"{first.metres:.0f}", f"{last.metres:.0f}"
    if first.section is not last.section:
        before = f"{here} m into the {SECTIONS[first.section]}"
        return f"{before} to {there} m into the {SECTIONS[last.section]}"
    return f"{here if here == there else f'{here}–{there}'} m into the {SECTIONS[first.section]}"


def _seen(day: Day, stands: Stands, edges: tuple[Edge, ...]) -> Iterator[str]:
    """What is seen from these edges alone, as far as somebody stands at one."""
    there = [(relay, stand) for relay, stand in stands if stand.edge in edges]
    seen = [
        day.facts.book.infringements[one]
        for one in Infringement
        if there and seen_from(one).edges == edges and _can_happen(one, there, day)
    ]
    for rule, some in groupby(seen, key=lambda one: one.rule):
        yield f"{'; '.join(one.title for one in some)} ({rule})"


def _can_happen(infringement: Infringement, there: Stands, day: Day) -> bool:
    """Runners wait in an order only where they take over outside lanes (TR24.20)."""
    return infringement is not Infringement.WAITING_ORDER_CHANGED or any(
        stand.take_over > take_overs_in_lanes(day.facts.track, relay) for relay, stand in there
    )


def _zones(day: Day, stands: Stands) -> Iterator[str]:
    """The measures of each zone that differs, whatever their sources; with which lines count. Where
    the edition has none on such a track, that is told in their place.
    """
    alike: dict[tuple[str, str], dict[Relay, None]] = {}
    unknown: dict[Relay, None] = {}
    for relay, stand in stands:
        rule = day.rule(relay, stand.take_over)
        if rule is None:
            unknown[relay] = None
        else:
            alike.setdefault((measures_of(rule), _lines(rule)), {})[relay] = None
    lines = list(dict.fromkeys(lines for _, lines in alike))
    for (measures, its_lines), its in alike.items():
        own = f" {its_lines}" if len(lines) > 1 else ""
        yield f"{_listed(its)}: {measures}.{own}"
    if len(lines) == 1:
        yield lines[0]
    if unknown:
        yield oval_note(day.facts.book) or f"{_listed(unknown)}: no zone is known on this track."


_LINES: Final[Mapping[tuple[bool, bool], str]] = {
    (True, True): "Both its lines belong to it.",
    (True, False): "Its first line belongs to it, its last one does not.",
    (False, True): "Its last line belongs to it, its first one does not.",
    (False, False): "Neither of its lines belongs to it.",
}


def _lines(rule: ZoneRule) -> str:
    before = (
        " In the acceleration zone the receiver may wait and begin to run."
        if rule.acceleration_m
        else ""
    )
    return f"{_LINES[rule.first_line_inside, rule.last_line_inside]}{before}"
