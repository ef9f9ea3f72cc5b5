"""Reading the crew plan: posts, and who is expected to call for a heat."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, select

from app.crew.tables import crew_plans, heat_posts, posts
from app.crew.wire import PostIn
from app.ids import HeatId, MeetId, OfficialId, PostId
from app.meets.queries import meet_facts, relays_by_heat, relays_of
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.plurals import spans
from app.rules.relay import Edge, Relay, Side
from app.store.prepared import Prepared
from app.store.rows import AnyRow

POST_COLUMNS = (
    posts.c.id.label("post_id"),
    posts.c.official_id.label("post_official_id"),
    posts.c.take_over.label("post_take_over"),
    posts.c.edge.label("post_edge"),
    posts.c.lanes.label("post_lanes"),
    posts.c.side.label("post_side"),
    posts.c.relays.label("post_relays"),
    posts.c.heats.label("post_heats"),
)
HELD_COLUMNS = (
    heat_posts.c.post_id.label("held_id"),
    heat_posts.c.official_id.label("held_official_id"),
    heat_posts.c.take_over.label("held_take_over"),
    heat_posts.c.edge.label("held_edge"),
    heat_posts.c.lanes.label("held_lanes"),
    heat_posts.c.side.label("held_side"),
)
_POSTS = Prepared(
    select(*POST_COLUMNS)
    .where(posts.c.meet_id == bindparam("meet"), posts.c.retired.is_(False))
    .order_by(posts.c.take_over, posts.c.edge.desc(), posts.c.id)
)
_HELD = Prepared(
    select(*HELD_COLUMNS)
    .where(heat_posts.c.heat_id == bindparam("heat"))
    .order_by(heat_posts.c.take_over, heat_posts.c.edge.desc(), heat_posts.c.post_id)
)
_HELD_IN = (
    select(heat_posts.c.heat_id, *HELD_COLUMNS)
    .where(heat_posts.c.heat_id.in_(bindparam("heats", expanding=True)))
    .order_by(heat_posts.c.take_over, heat_posts.c.edge.desc(), heat_posts.c.post_id)
)
_HOLDS_A_POST = Prepared(
    select(heat_posts.c.post_id)
    .where(
        heat_posts.c.heat_id == bindparam("heat"), heat_posts.c.official_id == bindparam("official")
    )
    .limit(1)
)


@dataclass(frozen=True, slots=True)
class Post:
    """A post as actions need it. No relays: it stands for all, or for the heat it was held for. No
    heats: for each of those relays.
    """

    id: PostId
    official_id: OfficialId
    take_over: int
    edge: Edge
    lanes: frozenset[int]
    side: Side
    relays: frozenset[Relay]
    heats: frozenset[HeatId] = frozenset()

    def is_where(self, other: Post) -> bool:
        """Whether both are the same place on the track."""
        here = (self.take_over, self.edge, self.lanes)
        return here == (other.take_over, other.edge, other.lanes)

    def stands_for(self, relay: Relay) -> bool:
        return not self.relays or relay in self.relays

    def is_for(self, heat_id: HeatId, relay: Relay) -> bool:
        """Whether it is planned for this heat."""
        return self.stands_for(relay) and (not self.heats or heat_id in self.heats)

    @property
    def words(self) -> str:
        """The post as people name it: take-over 2, end, lanes 3–4, outside."""
        return f"take-over {self.take_over}, {self.edge}, {lanes_in_words(self.lanes)}, {self.side}"


def lanes_in_words(lanes: Iterable[int]) -> str:
    """Lanes as people write them: lane 3, lanes 1–4, lanes 1–2, 5."""
    numbers = set(lanes)
    return f"lane {spans(numbers)}" if len(numbers) == 1 else f"lanes {spans(numbers)}"


def posts_of(conn: Connection, meet_id: MeetId) -> list[Post]:
    """The posts of the plan in force."""
    return [post_from(row) for row in _POSTS.all(conn, {"meet": meet_id})]


def expected_posts(conn: Connection, meet_id: MeetId, facts: HeatOut) -> list[Post]:
    """The posts that must call for a heat: by the plan in force, and from its start by that one."""
    if facts.state is HeatState.TO_COME:
        return planned_posts(conn, meet_id, facts)
    return [held_from(row) for row in _HELD.all(conn, {"heat": facts.id})]


def expected_in(
    conn: Connection, meet_id: MeetId, heats: Sequence[HeatOut]
) -> Mapping[HeatId, Sequence[Post]]:
    """The same of several heats."""
    to_come = [one for one in heats if one.state is HeatState.TO_COME]
    started = [one.id for one in heats if one.state is not HeatState.TO_COME]
    held: dict[HeatId, list[Post]] = {one: [] for one in started}
    for row in conn.execute(_HELD_IN, {"heats": started}):
        held[row.heat_id].append(held_from(row))
    return {**planned_in(conn, meet_id, to_come), **held}


def holds_a_post(conn: Connection, heat_id: HeatId, official_id: OfficialId) -> bool:
    """Whether this official has had a post in the heat since its start."""
    return _HOLDS_A_POST.first(conn, {"heat": heat_id, "official": official_id}) is not None


def planned_posts(conn: Connection, meet_id: MeetId, facts: HeatOut) -> list[Post]:
    """The posts of the plan in force that are for this heat and watch a lane in use."""
    return list(planned_in(conn, meet_id, [facts])[facts.id])


def planned_in(
    conn: Connection, meet_id: MeetId, heats: Sequence[HeatOut]
) -> Mapping[HeatId, Sequence[Post]]:
    """The same of several heats. A rehearsal has whoever stands for the first heat of its relay."""
    planned = posts_of(conn, meet_id) if heats else []
    as_if = _first_heats(conn, meet_id, planned, heats)
    return {
        one.id: [post for post in planned if _watches(post, as_if.get(one.id, one.id), one)]
        for one in heats
    }


def _watches(post: Post, heat_id: HeatId, heat: HeatOut) -> bool:
    in_use = {lane.lane for lane in heat.lanes}
    return post.is_for(heat_id, heat.relay) and not post.lanes.isdisjoint(in_use)


def _first_heats(
    conn: Connection, meet_id: MeetId, planned: Sequence[Post], heats: Sequence[HeatOut]
) -> Mapping[HeatId, HeatId]:
    """For each rehearsal the first heat of its relay that a plan of single heats has posts for."""
    rehearsals = [one for one in heats if one.rehearsal]
    single = frozenset[HeatId]().union(*(post.heats for post in planned)) if rehearsals else ()
    if not single:
        return {}
    first: dict[Relay, HeatId] = {}
    for heat_id, relay in relays_by_heat(conn, meet_id).items():
        if heat_id in single:
            first.setdefault(relay, heat_id)
    return {one.id: first[one.relay] for one in rehearsals if one.relay in first}


def post_sent(place: PostIn, relays: Iterable[Relay]) -> Post:
    """A post as it would be stored: for these relays."""
    return Post(
        PostId(place.id),
        OfficialId(place.official),
        place.take_over,
        place.edge,
        frozenset(place.lanes),
        place.side,
        frozenset(relays),
        frozenset(map(HeatId, place.heats)),
    )


def post_from(row: Any) -> Post:
    """A post of the plan from a row with POST_COLUMNS."""
    return Post(
        row.post_id,
        row.post_official_id,
        row.post_take_over,
        Edge(row.post_edge),
        frozenset(row.post_lanes),
        Side(row.post_side),
        frozenset(Relay(relay) for relay in row.post_relays),
        frozenset(map(HeatId, row.post_heats)),
    )


def held_from(row: Any) -> Post:
    """A post of a heat's start from a row with HELD_COLUMNS."""
    return Post(
        row.held_id,
        row.held_official_id,
        row.held_take_over,
        Edge(row.held_edge),
        frozenset(row.held_lanes),
        Side(row.held_side),
        frozenset(),
    )


def plan_row(conn: Connection, meet_id: MeetId) -> AnyRow | None:
    """The version and content of the plan in force, None where there is none yet."""
    return conn.execute(select(crew_plans).where(crew_plans.c.meet_id == meet_id)).one_or_none()


def most_lanes(conn: Connection, meet_id: MeetId, relays: Iterable[Relay]) -> int:
    """The highest lane, or place on the line, that a post for these relays can watch; of none
    named, for all on the programme.
    """
    lanes = meet_facts(conn, meet_id).track.lanes
    named = list(relays) or list(relays_of(conn, meet_id))
    return max((relay.places(lanes) for relay in named), default=lanes)
