"""From a meet to what its crew is planned from."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection

from app.access.queries import officials_of
from app.access.wire import OfficialOut
from app.crew.actions import is_watching
from app.crew.heats_named import in_words
from app.crew.queries import Post, expected_in, plan_row, posts_of
from app.crew_search.days import Days, barred_to, hours_of, lap_of, planned_heat
from app.crew_search.plannable import plannable
from app.crew_search.queries import wishes_of
from app.crew_search.wire import PersonIn, SearchIn, WishesOut
from app.ids import HeatId, MeetId
from app.meets.queries import MeetFacts, heats_held, meet_facts
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.planning.facts import (
    Assignment,
    Before,
    Person,
    Pin,
    PlannedHeat,
    PostShape,
    Settings,
    Task,
    Template,
)
from app.planning.seats import Seat, is_of
from app.planning.spells import all_at_once, heats_at_once
from app.planning.templates import default_template
from app.refusals import NotFound, StateConflict
from app.rules.apart import place_on_lap


@dataclass(frozen=True, slots=True)
class Asked:
    """A task, and what is needed to tell of its plan in the meet's own words. Heats without a start
    time are left out of it, for the crew is planned by the clock, and so are those without a draw.
    `aside` has who stands in the heats that are not planned, for whatever reason: they keep their
    posts just as they are. `version` is that of the plan in force.
    """

    task: Task
    heats: Mapping[HeatId, HeatOut]
    before: Sequence[Post]
    stood: Mapping[HeatId, Sequence[Post]]
    untimed: Sequence[HeatOut]
    undrawn: Sequence[HeatOut]
    version: int
    aside: Mapping[HeatId, Sequence[Post]]


def asked_of(conn: Connection, meet_id: MeetId, sent: SearchIn) -> Asked:
    """All that a search needs; StateConflict where the meet has not got it yet."""
    facts, wishes = meet_facts(conn, meet_id), wishes_of(conn, meet_id)
    held = heats_held(conn, meet_id)
    drawn = [heat for heat in held if heat.lanes]
    untimed = [heat for heat in drawn if heat.scheduled is None]
    drawn = [heat for heat in drawn if heat.scheduled is not None]
    days = Days(facts, drawn)
    heats = [planned_heat(heat, days) for heat in drawn]
    officials = officials_of(conn, meet_id)
    people = tuple(_people(wishes, officials, days))
    stood = expected_in(conn, meet_id, drawn)
    to_come = [heat for heat in drawn if heat.state is HeatState.TO_COME]
    posts, plan = posts_of(conn, meet_id), plan_row(conn, meet_id)
    _insist_on_something(to_come, untimed, people)
    task = Task(
        people=people,
        heats=tuple(sorted(heats, key=lambda heat: heat.starts_s)),
        template=_template(wishes, facts, drawn),
        settings=Settings.resting(wishes.longest_stint_minutes, wishes.shortest_break_minutes),
        track=lap_of(facts),
        pins=tuple(_pins(wishes, {one.id for one in people}, {heat.id for heat in drawn})),
    )
    asked = Asked(
        task=task,
        heats={heat.id: heat for heat in drawn},
        before=posts,
        stood=stood,
        untimed=untimed,
        undrawn=[heat for heat in held if not heat.lanes],
        version=plan.version if plan else 0,
        aside=_aside(posts, held, drawn),
    )
    from_s = _from(sent, to_come, heats, untimed)
    if sent.keep:
        asked = _keeping(asked, wishes, officials, from_s)
    else:
        asked = _anew(asked, wishes, officials)
    if pairs := heats_at_once(asked.task.heats, asked.task.settings):
        raise StateConflict(all_at_once(pairs, asked.task.settings))
    return asked


def _aside(
    posts: Sequence[Post], held: Sequence[HeatOut], planned: Sequence[HeatOut]
) -> Mapping[HeatId, Sequence[Post]]:
    """Who stands in heats without a time, or without a draw."""
    ids = {heat.id for heat in planned}
    return {
        heat.id: [post for post in posts if post.is_for(heat.id, heat.relay)]
        for heat in held
        if heat.id not in ids
    }


def _insist_on_something(
    heats: Sequence[HeatOut], untimed: Sequence[HeatOut], people: Sequence[Person]
) -> None:
    if not heats and untimed:
        raise StateConflict(
            f"{in_words(untimed)}: no start time. The crew is planned by the clock: load the start "
            "lists with the column scheduled."
        )
    if not heats:
        raise StateConflict("No heat with a draw is to come: there is nothing to plan for.")
    if not people:
        raise StateConflict("Nobody can be planned: name active umpires first.")


def _people(wishes: WishesOut, officials: Iterable[OfficialOut], days: Days) -> Iterator[Person]:
    """Those who can be planned, as far as they are there at any time."""
    for official in plannable(wishes, officials):
        wish = _wish_for(official, wishes)
        hours = tuple(hours_of(wish, days))
        is_never_there = bool(wish.hours) and not hours
        if not is_never_there:
            yield replace(_person(official, wishes), hours=hours, barred=barred_to(wish))


def _wish_for(official: OfficialOut, wishes: WishesOut) -> PersonIn:
    named = (one for one in wishes.people if one.official == official.id)
    return next(named, PersonIn(official=official.id))


def _person(official: OfficialOut, wishes: WishesOut) -> Person:
    """Who somebody is, whenever they are there."""
    experience = _wish_for(official, wishes).experience
    return Person(official.id, official.name, official.affiliation, experience)


def _pins(wishes: WishesOut, people: set[str], heats: set[HeatId]) -> Iterator[Pin]:
    """Those of people and heats that are planned: the others bind nobody."""
    for pin in wishes.pins:
        if pin.official in people and pin.heat in heats:
            yield Pin(pin.official, pin.heat, pin.take_over, pin.edge)


def _template(wishes: WishesOut, facts: MeetFacts, heats: Iterable[HeatOut]) -> Template:
    if not wishes.template:
        highest = max((lane.lane for heat in heats for lane in heat.lanes), default=1)
        return default_template(max(facts.track.lanes, highest))
    posts: dict[int, tuple[PostShape, ...]] = {}
    for one in wishes.template:
        shape = PostShape(one.edge, one.side, one.lanes)
        posts[one.people] = (*posts.get(one.people, ()), shape)
    return Template(posts, "the meet's own")


def _from(
    sent: SearchIn,
    to_come: Sequence[HeatOut],
    heats: Iterable[PlannedHeat],
    untimed: Iterable[HeatOut],
) -> int:
    """The start of the heat from which on the plan may change: of none that has been run."""
    starts = {heat.id: heat.starts_s for heat in heats}
    first_s = min(starts[heat.id] for heat in to_come)
    if sent.from_heat is None:
        return first_s
    if sent.from_heat in {heat.id for heat in untimed}:
        raise StateConflict(
            "The heat from which on the plan may change has no start time. Choose one with a time."
        )
    if sent.from_heat not in starts:
        raise NotFound("The heat from which on the plan may change is not on the programme.")
    return max(starts[sent.from_heat], first_s)


def _anew(asked: Asked, wishes: WishesOut, officials: Sequence[OfficialOut]) -> Asked:
    """Only heats to come are planned; those that were run keep whoever stood there."""
    task, to_come = asked.task, _to_come(asked)
    return replace(
        asked,
        task=replace(
            task,
            people=tuple(one for one in task.people if one.id not in wishes.dropped),
            heats=tuple(heat for heat in task.heats if heat.id in to_come),
            pins=tuple(
                pin for pin in task.pins if pin.heat in to_come and pin.person not in wishes.dropped
            ),
        ),
        aside={**asked.aside, **_run(asked, officials)},
    )


def _to_come(asked: Asked) -> set[HeatId]:
    return {one.id for one in asked.heats.values() if one.state is HeatState.TO_COME}


def _run(asked: Asked, officials: Sequence[OfficialOut]) -> Mapping[HeatId, Sequence[Post]]:
    """Who stood in the heats that were run. Whoever can have no post any more is left out of the
    plan: what these heats have held since their start stays.
    """
    watching = {one.id for one in officials if is_watching(one)}
    return {
        heat: [post for post in asked.stood[heat] if post.official_id in watching]
        for heat in asked.heats.keys() - _to_come(asked)
    }


def _keeping(
    asked: Asked, wishes: WishesOut, officials: Sequence[OfficialOut], from_s: int
) -> Asked:
    """The plan in force as the planner knows it: a place for each official and heat. Whoever has a
    post by it and can be planned no more has dropped out: they lose what may still change.
    """
    task = asked.task
    gone = tuple(_gone(asked, wishes, officials))
    people = (*task.people, *gone)
    dropped = frozenset(wishes.dropped) & {one.id for one in people} | {one.id for one in gone}
    before = Before(tuple(_assignments(asked)), from_s, dropped)
    if not before.assignments:
        raise StateConflict("No plan is in force that could be kept: plan the crew anew.")
    pins = tuple(pin for pin in task.pins if pin.person not in dropped)
    task = replace(task, people=people, pins=pins, before=before)
    stay = {HeatId(heat.id) for heat in task.heats if task.has_begun(heat)} & _to_come(asked)
    _insist_on_who_stays(asked, stay, officials)
    aside = {**asked.aside, **_run(asked, officials), **{one: asked.stood[one] for one in stay}}
    return replace(asked, task=task, aside=aside)


def _gone(asked: Asked, wishes: WishesOut, officials: Sequence[OfficialOut]) -> Iterator[Person]:
    known = {person.id for person in asked.task.people}
    stand = {post.official_id for posts in asked.stood.values() for post in posts}
    for official in officials:
        if official.id in stand - known:
            yield _person(official, wishes)


def _insist_on_who_stays(
    asked: Asked, stay: Collection[HeatId], officials: Sequence[OfficialOut]
) -> None:
    """That in heats to come which stay as they are nobody has a post who can have none."""
    for official in officials:
        theirs = [
            asked.heats[heat]
            for heat in asked.heats
            if heat in stay and official.id in {post.official_id for post in asked.stood[heat]}
        ]
        if theirs and not is_watching(official):
            raise StateConflict(
                f"{official.name} can have no post any more, and has one in {in_words(theirs)}, "
                "before the plan may change: let it change from there on."
            )


def _assignments(asked: Asked) -> Iterator[Assignment]:
    """Posts that differ by nothing but their take-overs are one place."""
    for heat in asked.task.heats:
        stood = asked.stood.get(HeatId(heat.id), ())
        is_as_it_may_be = _is_of_template(asked.task, heat, stood)
        places: dict[tuple[object, ...], list[Post]] = {}
        for post in stood:
            where = (post.official_id, post.edge, post.lanes, post.side)
            places.setdefault(where, []).append(post)
        for posts in places.values():
            one = posts[0]
            lanes = one.lanes if is_as_it_may_be else one.lanes & heat.lanes.keys()
            yield Assignment(
                person=one.official_id,
                heats=(heat.id,),
                relay=heat.relay,
                take_overs=tuple(sorted({post.take_over for post in posts})),
                edge=one.edge,
                lanes=tuple(sorted(lanes)),
                side=one.side,
            )


def _is_of_template(task: Task, heat: PlannedHeat, posts: Sequence[Post]) -> bool:
    """Whether the template has such posts as they are; else they may be so with fewer lanes, those
    that are run in.
    """
    places: dict[int, set[Seat]] = {}
    for post in posts:
        seat = Seat(post.edge, post.side, tuple(sorted(post.lanes)))
        place_m = place_on_lap(heat.relay, post.take_over, task.track.lap_m)
        places.setdefault(place_m, set()).add(seat)
    return all(is_of(task.template, seats) for seats in places.values())
