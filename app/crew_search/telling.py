"""A search as it is told: how far it is, and its plan in the meet's own heats and names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple, TypeVar

from app.crew.heats_named import in_words
from app.crew.queries import Post, lanes_in_words
from app.crew_search.found import posts_found
from app.crew_search.kept import Search, SoFar
from app.crew_search.task import Asked
from app.crew_search.wire import (
    ChangeOut,
    ConcernOut,
    CountOut,
    GivenUpOut,
    MissingOut,
    PersonMissingOut,
    PlaceOut,
    PlanFoundOut,
    SearchOut,
    StandsOut,
)
from app.ids import HeatId, OfficialId
from app.planning.effort import Progress
from app.planning.facts import Assignment
from app.planning.results import Concern, CrewPlan, GivenUp, Missing, Unwatched
from app.rules.relay import Edge, Relay, Side

if TYPE_CHECKING:
    from app.planning.advising import Advice

UNNAMED: Final = ""
"""What is kept has no names: they are looked up when it is told."""
Named = TypeVar("Named", ConcernOut, PersonMissingOut, ChangeOut)


def told(search: Search, names: Mapping[OfficialId, str]) -> SearchOut:
    """How far a search is; its plan as soon as there is one. Names are those that people have now,
    and not when the search began: they may have been erased since.
    """
    so_far = search.so_far
    return SearchOut(
        id=search.id,
        phase=search.phase,
        stopped=search.stopped,
        keep=search.sent.keep,
        seconds=round(search.seconds, 1),
        limit=search.sent.seconds,
        counts=so_far.counts,
        working_on=so_far.working_on,
        untimed=so_far.untimed,
        undrawn=so_far.undrawn,
        problem=search.problem,
        plan=so_far.plan and _named(so_far.plan, names),
    )


def so_far_of(asked: Asked) -> SoFar:
    """A search that has only begun."""
    return SoFar(
        version=asked.version,
        untimed=[heat.id for heat in asked.untimed],
        undrawn=[heat.id for heat in asked.undrawn],
    )


def with_progress(so_far: SoFar, progress: Progress) -> SoFar:
    """What the best plan until now comes to."""
    counts = [
        CountOut(wish=wish, count=count, at_least=progress.bound if wish is progress.wish else None)
        for wish, count in progress.counts.items()
    ]
    return so_far.model_copy(update={"counts": counts, "working_on": progress.wish})


def with_plan(so_far: SoFar, asked: Asked, advice: Advice) -> SoFar:
    """The plan that was found, in the meet's own heats, and without a name of anybody."""
    plan = advice.plan
    counts = [CountOut(wish=one.wish, count=one.value, at_least=one.bound) for one in plan.counted]
    found = PlanFoundOut(
        posts=posts_found(asked, plan),
        people=len({one.person for one in plan.assignments}),
        is_proven=plan.is_optimal,
        unwatched=_all_stands(plan.unwatched, asked),
        given_up=[_given_up(one) for one in advice.given_up],
        missing=None if advice.missing is None else _missing(advice.missing, asked),
        changes=list(_changes(asked, plan)),
    )
    return so_far.model_copy(update={"counts": counts, "working_on": None, "plan": found})


def _named(plan: PlanFoundOut, names: Mapping[OfficialId, str]) -> PlanFoundOut:
    """The plan with the names of all whom it tells of."""

    def named(one: Named) -> Named:
        name = names[one.official] if one.official else ""
        return one.model_copy(update={"official_name": name})

    def all_named(missing: MissingOut | None) -> MissingOut | None:
        return missing and missing.model_copy(
            update={
                "moved": [named(one) for one in missing.moved],
                "fewer": all_named(missing.fewer),
            }
        )

    given_up = [
        one.model_copy(update={"concerns": [named(concern) for concern in one.concerns]})
        for one in plan.given_up
    ]
    changes, missing = [named(one) for one in plan.changes], all_named(plan.missing)
    return plan.model_copy(update={"given_up": given_up, "changes": changes, "missing": missing})


def _all_stands(posts: Iterable[Unwatched | Assignment], asked: Asked) -> list[StandsOut]:
    """What is the same in several rows of heats is told once."""
    heats: dict[tuple[Relay, tuple[int, ...], Edge, tuple[int, ...]], set[str]] = {}
    for one in posts:
        place = (one.relay, tuple(one.take_overs), one.edge, tuple(one.lanes))
        heats.setdefault(place, set()).update(one.heats)
    return [_stands(place, theirs, asked) for place, theirs in heats.items()]


def _stands(
    place: tuple[Relay, tuple[int, ...], Edge, tuple[int, ...]], ids: set[str], asked: Asked
) -> StandsOut:
    relay, take_overs, edge, lanes = place
    heats = [heat for heat in asked.heats.values() if heat.id in ids]
    return StandsOut(
        relay=relay,
        take_overs=list(take_overs),
        edge=edge,
        lanes=list(lanes),
        heats=[heat.id for heat in heats],
        words=f"{relay}, {_where(take_overs, edge, lanes)} ({in_words(heats)})",
    )


def _where(take_overs: Sequence[int], edge: str, lanes: Iterable[int]) -> str:
    numbers = ", ".join(map(str, take_overs))
    word = "take-over" if len(take_overs) == 1 else "take-overs"
    return f"{word} {numbers}, {edge}, {lanes_in_words(lanes)}"


def _given_up(one: GivenUp) -> GivenUpOut:
    return GivenUpOut(
        wish=one.wish,
        times=one.times,
        concerns=list(_concerns(one.concerns)),
        idle=one.idle,
        kept_to=one.kept_to,
        costs=one.costs,
        instead=one.instead,
        is_proven=one.is_proven,
        is_impossible=one.is_impossible,
    )


def _concerns(concerns: Iterable[Concern]) -> Iterator[ConcernOut]:
    """Whom it concerns, each zone once."""
    found: dict[tuple[str | None, Relay | None, tuple[int, ...]], list[Concern]] = {}
    for one in concerns:
        found.setdefault((one.person, one.relay, tuple(one.take_overs)), []).append(one)
    for (person, relay, take_overs), theirs in found.items():
        yield ConcernOut(
            official=None if person is None else OfficialId(person),
            official_name=UNNAMED,
            heats=[HeatId(heat) for one in theirs for heat in one.heats],
            times=sum(one.times for one in theirs),
            relay=relay,
            take_overs=list(take_overs),
        )


def _missing(missing: Missing, asked: Asked) -> MissingOut:
    return MissingOut(
        people=missing.people,
        is_proven=missing.is_proven,
        who=list(_by_person(missing.posts, asked)),
        moved=list(_by_person(missing.moved, asked)),
        fewer=None if missing.fewer is None else _missing(missing.fewer, asked),
    )


def _by_person(posts: Iterable[Assignment], asked: Asked) -> Iterator[PersonMissingOut]:
    """Whoever would be more is nobody yet."""
    there = {one.id for one in asked.task.people}
    by_person: dict[str, list[Assignment]] = {}
    for post in posts:
        by_person.setdefault(post.person, []).append(post)
    for person, theirs in by_person.items():
        official = OfficialId(person) if person in there else None
        stands = _all_stands(theirs, asked)
        yield PersonMissingOut(official=official, official_name=UNNAMED, stands=stands)


class _Where(NamedTuple):
    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]
    side: Side


def _changes(asked: Asked, plan: CrewPlan) -> Iterator[ChangeOut]:
    """Who stands elsewhere than by the plan in force, in the order of the programme."""
    found: dict[tuple[OfficialId, _Where | None, _Where | None], list[HeatId]] = {}
    by_plan = _places_found(plan)
    for planned in asked.task.heats:
        heat = HeatId(planned.id)
        if heat in asked.aside:
            continue
        in_use = {lane.lane for lane in asked.heats[heat].lanes}
        was = _places_before(asked.stood.get(heat, ()), in_use)
        becomes = {one: _within(where, in_use) for one, where in by_plan.get(heat, {}).items()}
        for official in {**was, **becomes}:
            change = (official, was.get(official), becomes.get(official))
            if change[1] != change[2]:
                found.setdefault(change, []).append(heat)
    for (official, was_at, is_at), heats in found.items():
        yield ChangeOut(
            official=official,
            official_name=UNNAMED,
            heats=heats,
            was=_place_out(was_at),
            becomes=_place_out(is_at),
        )


def _place_out(where: _Where | None) -> PlaceOut | None:
    if where is None:
        return None
    take_overs, lanes = list(where.take_overs), list(where.lanes)
    return PlaceOut(take_overs=take_overs, edge=where.edge, lanes=lanes, side=where.side)


def _places_found(plan: CrewPlan) -> Mapping[HeatId, dict[OfficialId, _Where]]:
    found: dict[HeatId, dict[OfficialId, _Where]] = {}
    for one in plan.assignments:
        where = _Where(tuple(one.take_overs), one.edge, tuple(one.lanes), one.side)
        for heat in one.heats:
            found.setdefault(HeatId(heat), {})[OfficialId(one.person)] = where
    return found


def _within(where: _Where, in_use: set[int]) -> _Where:
    """Of its lanes those that are run in: whether it has others too is no change."""
    return where._replace(lanes=tuple(lane for lane in where.lanes if lane in in_use))


def _places_before(posts: Iterable[Post], in_use: set[int]) -> dict[OfficialId, _Where]:
    """Posts that differ by nothing but their take-overs are one place, and so are two of one edge:
    the planner keeps them as one.
    """
    joined: dict[tuple[OfficialId, Edge, int], tuple[set[int], Side]] = {}
    for post in posts:
        at = (post.official_id, post.edge, post.take_over)
        joined.setdefault(at, (set(), post.side))[0].update(post.lanes & in_use)
    take_overs: dict[tuple[OfficialId, Edge, tuple[int, ...], Side], list[int]] = {}
    for (official, edge, take_over), (lanes, side) in joined.items():
        place = (official, edge, tuple(sorted(lanes)), side)
        take_overs.setdefault(place, []).append(take_over)
    return {
        official: _Where(tuple(sorted(theirs)), edge, lanes, side)
        for (official, edge, lanes, side), theirs in take_overs.items()
    }
