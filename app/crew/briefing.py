"""The crew's briefing cards: for each post what to watch, by which rule, and how to report it.

What umpires are told is the handbook's of the trade; each sentence names its section or source
beside it. What an edge lets one see stands in `rules/seen_from.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final

from sqlalchemy import Connection

from app.access.queries import official_names
from app.clock import at_the_meet
from app.crew.queries import Post, lanes_in_words, posts_of
from app.forms.briefing_card import Advice, BriefingCard, BriefingCards, WatchedZone
from app.forms.zone_scale import ZonePicture
from app.ids import MeetId
from app.meets.queries import MeetFacts, meet_facts, relays_of
from app.meets.track import take_overs_in_lanes
from app.meets.wire import TrackIn
from app.refusals import NotFound
from app.rules.book import Book, ZoneRule
from app.rules.observation import Infringement
from app.rules.relay import Edge, Relay
from app.rules.seen_from import seen_from

CARE: Final = (
    "Keep out of the running lanes, and look both ways before you step onto the track.",  # 9
    "Keep your phone down while a heat runs: your eyes are on the runners.",  # 2 (3.) and 9
    "Speak to no team about a report before the referee has ruled.",  # 2, silence (school sheet)
    "You tell what you saw. The meet's appointed officials decide, by its rule book.",  # 1 and 9
)
"""Handbook of the trade, by section."""

FLAGS: Final = (
    "White: nothing to report. Yellow: an apparent infringement.",
    "Show it at once after the pass, and mark the spot on the track if you can.",
    "Then write straight away, whether or not anybody protests or the team finishes.",
)
"""Handbook of the trade, 2 (4.): CR20 and its notes."""

REPORT: Final = (
    "It says event, round, heat, lane and team, the zone, what happened, by which rule, who saw it "
    "and when. Your phone fills in what it knows.",
    "A good one also says where the baton was, how far from the line, and who else had the view.",
    "It says what you do not know as well: “unsure” is an answer.",  # rules/observation.py
)
"""Handbook of the trade, 2 (5.)."""

BATON_DECIDES: Final = "The baton decides, never a body, a foot or a hand."
"""TR24.7 in secondary texts (handbook of the trade, 3)."""


def brief(conn: Connection, meet_id: MeetId, now: datetime) -> BriefingCards:
    """A card for each post of the plan in force; NotFound while there is none."""
    posts = posts_of(conn, meet_id)
    if not posts:
        raise NotFound("No post is planned at this meet yet: plan the crew, then print its cards.")
    facts = meet_facts(conn, meet_id)
    names, relays = official_names(conn, meet_id), tuple(relays_of(conn, meet_id)) or tuple(Relay)
    return BriefingCards(
        meet=facts.name,
        place=facts.venue,
        date=facts.days,
        time_zone=facts.time_zone,
        edition=f"{facts.book.title}, {facts.book.edition}",
        printed_at=at_the_meet(now, facts.time_zone),
        cards=tuple(_card(post, names[post.official_id], facts, relays) for post in posts),
    )


def _card(
    post: Post, official: str, facts: MeetFacts, on_programme: Sequence[Relay]
) -> BriefingCard:
    relays = [one for one in Relay if one in (post.relays or on_programme)]
    return BriefingCard(
        official=official,
        take_over=f"Take-over {post.take_over}",
        edge=post.edge.value,
        lanes=lanes_in_words(post.lanes),
        side=post.side.value,
        relays=_listed(relays) if post.relays else "all",
        zones=tuple(_zones(post, relays, facts.book)),
        advice=(
            Advice("Seen from this edge", tuple(_seen(post, relays, facts, alone=True))),
            Advice("Seen from either edge", ("; ".join(_seen(post, relays, facts, alone=False)),)),
            Advice("Your flags", FLAGS),
            Advice("What a good report says", REPORT),
            Advice("Take care", CARE),
        ),
    )


def _listed(relays: Sequence[Relay]) -> str:
    return ", ".join(relay.value for relay in relays)


def _zones(post: Post, relays: Sequence[Relay], book: Book) -> Iterator[WatchedZone]:
    """One for each zone that differs; relays with the same one share it."""
    alike: dict[ZoneRule, list[Relay]] = {}
    for relay in relays:
        rule = book.zone(relay, post.take_over)
        same = next((known for known in alike if _same(known, rule)), rule)
        alike.setdefault(same, []).append(relay)
    for rule, its in alike.items():
        measures = (rule.length_m, rule.leg_line_m, rule.acceleration_m)
        yield WatchedZone(
            picture=ZonePicture(f"take-over {post.take_over}", *measures, marks=()),
            relays=_listed(its),
            edge=post.edge.value,
            edge_m=0.0 if post.edge is Edge.START else rule.length_m,
            measures=tuple(_measures(rule)),
        )


def _same(one: ZoneRule, other: ZoneRule) -> bool:
    """Whether two zones measure and read alike, whatever their sources."""
    return _facts(one) == _facts(other)


def _facts(rule: ZoneRule) -> tuple[object, ...]:
    lines = (rule.first_line_inside, rule.last_line_inside)
    return rule.length_m, rule.leg_line_m, rule.acceleration_m, *lines, rule.rule


_LINES: Final[Mapping[tuple[bool, bool], str]] = {
    (True, True): "Both lines belong to the zone.",
    (True, False): "The line at the start belongs to the zone, the line at the end does not.",
    (False, True): "The line at the end belongs to the zone, the line at the start does not.",
    (False, False): "Neither line belongs to the zone.",
}


def _measures(rule: ZoneRule) -> Iterator[str]:
    beyond = rule.length_m - rule.leg_line_m
    yield (
        f"{rule.length_m:g} m long; the leg line lies {rule.leg_line_m:g} m after the start and "
        f"{beyond:g} m before the end ({rule.rule})."
    )
    if rule.acceleration_m:
        yield (
            f"Before it lies an acceleration zone of {rule.acceleration_m:g} m, in which the "
            "receiver may wait and begin to run."
        )
    yield f"{_LINES[rule.first_line_inside, rule.last_line_inside]} {BATON_DECIDES}"


def _seen(post: Post, relays: Sequence[Relay], facts: MeetFacts, *, alone: bool) -> Iterator[str]:
    for infringement in Infringement:
        edges = seen_from(infringement).edges
        fits = edges == (post.edge,) if alone else len(edges) > 1
        if fits and _can_happen(infringement, post, relays, facts.track):
            rule = facts.book.infringements[infringement]
            yield f"{rule.title} ({rule.rule})"


def _can_happen(
    infringement: Infringement, post: Post, relays: Sequence[Relay], track: TrackIn
) -> bool:
    """Runners wait in an order only where they take over outside lanes (TR24.20)."""
    return infringement is not Infringement.WAITING_ORDER_CHANGED or any(
        post.take_over > take_overs_in_lanes(track, relay) for relay in relays
    )
