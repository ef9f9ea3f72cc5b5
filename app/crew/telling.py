"""The crew plan as it is told: the posts with names, and what is to be minded of them. That is what
nobody watches, and who would have to be at two places during one race.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from sqlalchemy import Connection

from app.access.queries import official_names
from app.crew.queries import Post, lanes_in_words, plan_row, posts_of
from app.crew.wire import ApartOut, CrewOut, GapOut, PostOut
from app.ids import MeetId, OfficialId
from app.meets.queries import meet_facts, relays_of
from app.rules.apart import Apart, Stands, wanted_apart
from app.rules.cover import PostPlace, uncovered
from app.rules.relay import Edge, Relay


@dataclass(frozen=True, slots=True)
class ToMind:
    """What whoever plans the crew must know of posts; none of it is refused."""

    unwatched: list[GapOut]
    apart: list[ApartOut]


def crew(conn: Connection, meet_id: MeetId) -> CrewOut:
    """The crew plan with names, and what is to be minded of it."""
    names = official_names(conn, meet_id)
    known = posts_of(conn, meet_id)
    plan = plan_row(conn, meet_id)
    mind = to_mind(conn, meet_id, known, names)
    return CrewOut(
        posts=[_post_out(place, names[place.official_id]) for place in known],
        unwatched=mind.unwatched,
        apart=mind.apart,
        version=plan.version if plan else 0,
    )


def to_mind(
    conn: Connection, meet_id: MeetId, known: Sequence[Post], names: Mapping[OfficialId, str]
) -> ToMind:
    """What is to be minded of these posts, whether they are planned or only looked at."""
    on_programme, lanes = relays_of(conn, meet_id), meet_facts(conn, meet_id).track.lanes
    named = {relay for post in known for relay in post.relays}
    return ToMind(
        unwatched=[
            gap
            for relay, highest in on_programme.items()
            for gap in _gaps(relay, known, range(1, max(lanes, highest) + 1))
        ],
        apart=[
            _apart_out(relay, one, names)
            for relay in Relay
            if relay in on_programme or relay in named
            for one in wanted_apart(relay, _standing(known, relay))
        ],
    )


def _gaps(relay: Relay, known: Iterable[Post], lanes: Iterable[int]) -> list[GapOut]:
    """What nobody watches, edge by edge."""
    found = uncovered(_places(known, relay), lanes)
    return [
        _gap_out(relay, take_over, edge, [gap.lane for gap in gaps])
        for (take_over, edge), gaps in groupby(found, key=lambda gap: (gap.take_over, gap.edge))
    ]


def _gap_out(relay: Relay, take_over: int, edge: Edge, lanes: list[int]) -> GapOut:
    words = f"{relay}, take-over {take_over}, {edge}, {lanes_in_words(lanes)}"
    return GapOut(relay=relay, take_over=take_over, edge=edge, lanes=lanes, words=words)


def _places(known: Iterable[Post], relay: Relay) -> list[PostPlace]:
    return [
        PostPlace(place.id, place.take_over, place.edge, place.lanes)
        for place in known
        if place.stands_for(relay)
    ]


def _standing(known: Iterable[Post], relay: Relay) -> list[Stands]:
    return [Stands(post.official_id, post.take_over) for post in known if post.stands_for(relay)]


def _apart_out(relay: Relay, found: Apart, names: Mapping[OfficialId, str]) -> ApartOut:
    official, take_overs = OfficialId(found.official), list(found.take_overs)
    numbers = ", ".join(str(take_over) for take_over in take_overs)
    return ApartOut(
        official=official,
        official_name=names[official],
        relay=relay,
        take_overs=take_overs,
        words=f"{names[official]}: {relay}, take-overs {numbers}",
    )


def _post_out(place: Post, name: str) -> PostOut:
    return PostOut(
        id=place.id,
        official=place.official_id,
        official_name=name,
        take_over=place.take_over,
        edge=place.edge,
        lanes=sorted(place.lanes),
        side=place.side,
        relays=sorted(place.relays),
    )
