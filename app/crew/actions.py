"""Setting the crew plan, as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, partial
from typing import Final

from sqlalchemy import bindparam, delete, insert, select, update

from app.access.queries import officials_of
from app.access.wire import OfficialOut
from app.crew.queries import most_lanes, plan_row, planned_posts
from app.crew.tables import crew_plans, heat_posts, posts
from app.crew.telling import crew
from app.crew.wire import CrewIn, CrewOut, PostIn
from app.ids import HeatId, MeetId, PostId
from app.meets.queries import meet_facts, relays_by_heat
from app.meets.wire import HeatOut
from app.record.kinds import Kind
from app.refusals import IdTaken, Malformed, insist_on_version
from app.roles import Role
from app.rules.relay import Relay
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.upsert import insert_or_keep

WATCHERS = frozenset({Role.UMPIRE, Role.CHIEF_UMPIRE})

THERE: Final = "There is a crew plan already: send If-Match with its ETag to replace it."
CHANGED: Final = "The crew plan was changed meanwhile. Read it again, then decide."


def is_watching(official: OfficialOut) -> bool:
    """Whether somebody can have a post."""
    return official.active and not WATCHERS.isdisjoint(official.roles)


def plan_crew(sent: CrewIn, version: int | None) -> Action[Put[CrewOut]]:
    """Set the plan; a later one replaces it and must name the version it replaces."""

    def act(unit: Unit) -> Done[Put[CrewOut]]:
        content = sent.model_dump(mode="json")
        known = plan_row(unit.conn, unit.meet_id)
        if known is not None and known.content == content:
            return Done(Put(crew(unit.conn, unit.meet_id), created=False), None)
        insist_on_version(known.version if known else 0, version, THERE, CHANGED)
        relays = _relays_of_posts(unit, sent)
        _insist_on_people(unit, sent, relays)
        _store_posts(unit, sent, relays)
        insert_or_keep(
            unit.conn, crew_plans, {"meet_id": unit.meet_id, "version": 0, "content": {}}
        )
        unit.conn.execute(
            update(crew_plans)
            .where(crew_plans.c.meet_id == unit.meet_id)
            .values(version=crew_plans.c.version + 1, content=content)
        )
        out = crew(unit.conn, unit.meet_id)
        return Done(Put(out, created=known is None), Deed(Kind.CREW_PLANNED, unit.meet_id, content))

    return act


def _insist_on_people(unit: Unit, sent: CrewIn, relays: Mapping[str, frozenset[Relay]]) -> None:
    people = {person.id: person for person in officials_of(unit.conn, unit.meet_id)}
    lanes = meet_facts(unit.conn, unit.meet_id).track.lanes
    most = cache(partial(most_lanes, unit.conn, unit.meet_id))
    for number, place in enumerate(sent.posts):
        person = people.get(place.official)  # type: ignore[call-overload]
        if person is None:
            raise Malformed(
                f"Post {number + 1} names somebody who is no official of this meet.",
                field=f"/posts/{number}/official",
            )
        if not person.active:
            raise Malformed(
                f"{person.name} is inactive and could call nothing: give the post to another.",
                field=f"/posts/{number}/official",
            )
        if WATCHERS.isdisjoint(person.roles):
            raise Malformed(
                f"{person.name} is no umpire: give them the role, or the post to another.",
                field=f"/posts/{number}/official",
            )
        if max(place.lanes) > most(relays[place.id]):
            raise Malformed(
                f"Post {number + 1} watches lane {max(place.lanes)}; the track has {lanes}.",
                field=f"/posts/{number}/lanes",
            )
    if len({place.id for place in sent.posts}) != len(sent.posts):
        raise Malformed("Two posts of the plan have the same id.", field="/posts")


def _relays_of_posts(unit: Unit, sent: CrewIn) -> Mapping[str, frozenset[Relay]]:
    """The relays that each post stands for: those named, or those of its single heats."""
    known = relays_by_heat(unit.conn, unit.meet_id) if any(one.heats for one in sent.posts) else {}
    found = {}
    for number, place in enumerate(sent.posts):
        if not place.heats:
            found[place.id] = frozenset(place.relays)
            continue
        if not known.keys() >= set(place.heats):
            raise Malformed(
                f"Post {number + 1} is for a heat that is not on this meet's programme.",
                field=f"/posts/{number}/heats",
            )
        found[place.id] = relays = frozenset(known[HeatId(heat)] for heat in place.heats)
        if place.relays and not relays <= set(place.relays):
            other = min(relays - set(place.relays))
            raise Malformed(
                f"Post {number + 1} is for a heat of a {other}, which its relays leave out: "
                "name that relay, or none.",
                field=f"/posts/{number}/relays",
            )
    return found


def _store_posts(unit: Unit, sent: CrewIn, relays: Mapping[str, frozenset[Relay]]) -> None:
    wanted = select(posts.c.id, posts.c.meet_id).where(
        posts.c.id.in_([place.id for place in sent.posts])
    )
    owners = {row.id: row.meet_id for row in unit.conn.execute(wanted)}
    unit.conn.execute(update(posts).where(posts.c.meet_id == unit.meet_id).values(retired=True))
    for place in sent.posts:
        if owners.get(place.id, unit.meet_id) != unit.meet_id:
            raise IdTaken("a post of another meet", place.id)
    rows = [_columns(place, relays[place.id], unit.meet_id) for place in sent.posts]
    if new := [row for row in rows if row["id"] not in owners]:
        unit.conn.execute(insert(posts), new)
    if kept := [row | {"kept": row["id"]} for row in rows if row["id"] in owners]:
        unit.conn.execute(update(posts).where(posts.c.id == bindparam("kept")), kept)


def _columns(place: PostIn, relays: frozenset[Relay], meet_id: MeetId) -> dict[str, object]:
    return {
        "id": place.id,
        "meet_id": meet_id,
        "official_id": place.official,
        "take_over": place.take_over,
        "edge": place.edge.value,
        "lanes": sorted(set(place.lanes)),
        "side": place.side.value,
        "relays": sorted(relays),
        "heats": sorted(set(place.heats)),
        "retired": False,
    }


def hold_posts(unit: Unit, facts: HeatOut) -> list[PostId]:
    """Keep who stands where for a heat that starts, whatever the plan becomes."""
    places = planned_posts(unit.conn, unit.meet_id, facts)
    held = [
        {
            "heat_id": facts.id,
            "post_id": place.id,
            "official_id": place.official_id,
            "take_over": place.take_over,
            "edge": place.edge.value,
            "lanes": sorted(place.lanes),
            "side": place.side.value,
        }
        for place in places
    ]
    if held:
        unit.conn.execute(insert(heat_posts), held)
    return [place.id for place in places]


def release_posts(unit: Unit, heat_id: HeatId) -> None:
    """The heat has not begun after all: its next start takes the plan of that time."""
    unit.conn.execute(delete(heat_posts).where(heat_posts.c.heat_id == heat_id))
