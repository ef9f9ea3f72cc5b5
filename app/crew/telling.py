"""The crew plan as it is told: the posts with names, and what is to be minded of them. That is what
nobody watches, and who would have to be at two places during one race.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from sqlalchemy import Connection

from app.access.queries import official_names
from app.crew.heats_named import in_words
from app.crew.queries import Post, lanes_in_words, plan_row, posts_of
from app.crew.wire import ApartOut, CrewOut, GapOut, PostOut
from app.ids import MeetId, OfficialId
from app.meets.queries import heats_held, meet_facts, relays_of
from app.meets.wire import HeatOut
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
    single = _single_heats(conn, meet_id, known)
    mind = ToMind([], [])
    for relay in Relay:
        posts = [post for post in known if post.stands_for(relay)]
        if any(post.heats for post in posts):
            heats = [heat for heat in single if heat.relay is relay]
            mind.unwatched.extend(_gaps_by_heat(relay, posts, heats))
            mind.apart.extend(_apart_by_heat(relay, posts, heats, names))
            continue
        if relay in on_programme:
            in_use = range(1, max(lanes, on_programme[relay]) + 1)
            mind.unwatched.extend(_gap_out(relay, *gap) for gap in _gaps(posts, in_use))
        if relay in on_programme or relay in named:
            mind.apart.extend(_apart_out(relay, one, names) for one in _apart(relay, posts))
    return mind


def _single_heats(conn: Connection, meet_id: MeetId, known: Sequence[Post]) -> list[HeatOut]:
    """The programme, where posts are planned heat by heat."""
    if not any(post.heats for post in known):
        return []
    return heats_held(conn, meet_id)


def _gaps(posts: Iterable[Post], lanes: Iterable[int]) -> list[tuple[int, Edge, tuple[int, ...]]]:
    """What nobody watches, edge by edge."""
    places = [PostPlace(one.id, one.take_over, one.edge, one.lanes) for one in posts]
    found = uncovered(places, lanes)
    return [
        (*at, tuple(gap.lane for gap in gaps))
        for at, gaps in groupby(found, key=lambda gap: (gap.take_over, gap.edge))
    ]


def _gaps_by_heat(
    relay: Relay, posts: Sequence[Post], heats: Sequence[HeatOut]
) -> Iterator[GapOut]:
    """What nobody watches of the lanes in use; heats in which that is the same are told together.

    A heat without a draw has no lanes yet of which one could say so.
    """
    alike: dict[tuple[int, Edge, tuple[int, ...]], list[HeatOut]] = {}
    for heat in heats:
        there = [post for post in posts if post.is_for(heat.id, relay)]
        for gap in _gaps(there, [lane.lane for lane in heat.lanes]):
            alike.setdefault(gap, []).append(heat)
    for gap, theirs in alike.items():
        yield _gap_out(relay, *gap, () if len(theirs) == len(heats) else theirs)


def _gap_out(
    relay: Relay,
    take_over: int,
    edge: Edge,
    lanes: tuple[int, ...],
    heats: Sequence[HeatOut] = (),
) -> GapOut:
    return GapOut(
        relay=relay,
        take_over=take_over,
        edge=edge,
        lanes=list(lanes),
        heats=[heat.id for heat in heats],
        words=f"{relay}, take-over {take_over}, {edge}, {lanes_in_words(lanes)}{_in(heats)}",
    )


def _in(heats: Sequence[HeatOut]) -> str:
    return f" ({in_words(heats)})" if heats else ""


def _apart(relay: Relay, posts: Iterable[Post]) -> tuple[Apart, ...]:
    return wanted_apart(relay, (Stands(one.official_id, one.take_over) for one in posts))


def _apart_by_heat(
    relay: Relay,
    posts: Sequence[Post],
    heats: Sequence[HeatOut],
    names: Mapping[OfficialId, str],
) -> Iterator[ApartOut]:
    alike: dict[Apart, list[HeatOut]] = {}
    for heat in heats:
        for one in _apart(relay, (post for post in posts if post.is_for(heat.id, relay))):
            alike.setdefault(one, []).append(heat)
    for one, theirs in alike.items():
        yield _apart_out(relay, one, names, () if len(theirs) == len(heats) else theirs)


def _apart_out(
    relay: Relay, found: Apart, names: Mapping[OfficialId, str], heats: Sequence[HeatOut] = ()
) -> ApartOut:
    official, take_overs = OfficialId(found.official), list(found.take_overs)
    numbers = ", ".join(str(take_over) for take_over in take_overs)
    return ApartOut(
        official=official,
        official_name=names[official],
        relay=relay,
        take_overs=take_overs,
        heats=[heat.id for heat in heats],
        words=f"{names[official]}: {relay}, take-overs {numbers}{_in(heats)}",
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
        heats=sorted(place.heats),
    )
