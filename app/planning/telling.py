"""A plan in plain words: how good it is, what was given up and why, what is missing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from app.planning.effort import Phase, Progress
from app.planning.facts import Assignment, Task
from app.planning.reading import Programme
from app.planning.results import Concern, CrewPlan, GivenUp, Missing, Unwatched
from app.planning.wishes import Wish
from app.plurals import counted, spans

DASH = "-"
"""In a terminal, and in the CSV, where a hyphen is what people type."""
FIRST = 3
NAMED = 6
"""So many cases are told of a wish that was given up; more make a sentence nobody reads."""
_AS_COUNTED: Mapping[Wish, tuple[str, str]] = {
    Wish.WATCHED: ("edge of a lane unwatched", "edges of lanes unwatched"),
    Wish.UNCHANGED: ("heat stood otherwise than before", "heats stood otherwise than before"),
    Wish.BREAKS: ("row of heats though a break was due", "rows of heats though a break was due"),
    Wish.OWN_CLUB: ("heat over the own club's lane", "heats over the own club's lane"),
    Wish.EXPERIENCE: (
        "experienced person short at the end of a zone",
        "experienced people short at the ends of zones",
    ),
    Wish.FULL_CREWS: ("person short of full crews", "people short of full crews"),
    Wish.FEW_MOVES: ("move to another zone", "moves to another zone"),
    Wish.EVEN_LOAD: ("heat for whoever stands most", "heats for whoever stands most"),
}


def in_number(wish: Wish, times: int) -> str:
    """So much of what a wish counts."""
    return counted(times, *_AS_COUNTED[wish])


def told_plan(plan: CrewPlan, task: Task) -> Iterator[str]:
    """What was planned, and how good it is."""
    posts = counted(len(plan.assignments), "post")
    who = counted(len({one.person for one in plan.assignments}), "official")
    ended = "stopped" if plan.stopped else "planned"
    heats = counted(len(task.heats), "heat")
    yield f"{heats}: {posts} for {who}, {ended} after {plan.seconds:.1f} s."
    if plan.is_whole:
        still = " that is still to be run" if plan.run else ""
        yield f"Every edge of every lane in use{still} is watched."
    yield from _told_quality(plan)


def _told_quality(plan: CrewPlan) -> Iterator[str]:
    counts = "; ".join(in_number(one.wish, one.value) for one in plan.counted)
    yield f"It comes to, each heat counted: {counts}."
    open_ones = [one for one in plan.counted if one.gap]
    if not open_ones:
        yield (
            "Of plans whose posts change where these do, none is better, what counts most first: "
            "that is proven."
        )
        return
    first = open_ones[0]
    until = f"Proven as far as “{first.wish}”: "
    if first.bound:
        yield f"{until}there a better plan could come down to {first.bound} from {first.value}."
    else:
        yield f"{until}how much better than {first.value} that could be is not known."


def told_unwatched(one: Unwatched, programme: Programme) -> str:
    """Which edge of which lanes nobody watches, and when."""
    where = f"{one.relay}, {_at(one.take_overs)}, {one.edge}, {_lanes(one.lanes)}"
    return f"Unwatched: {where}, {_when(one.heats, programme)}."


def told_missing(missing: Missing, programme: Programme, names: Mapping[str, str]) -> Iterator[str]:
    """How many people more would mend it, when and where, and who would have to move."""
    if missing.people is None:
        yield (
            "More people alone would not mend it: the template cannot take the lanes in use, or "
            "pins, or the heats already run, forbid it."
            if missing.is_proven
            else "How many people more would mend it could not be found in the time that it had."
        )
        return
    others = "with others moved for them" if missing.moved else "and nobody else moves"
    yield (
        f"{_people_more(missing)} would mend it, {others}; plan again with them in the list. They "
        "would stand at:"
    )
    yield from _told_posts(missing, programme, names)
    if missing.fewer is not None:
        yield f"{_people_more(missing.fewer)} would do if others moved:"
        yield from _told_posts(missing.fewer, programme, names)


def _people_more(missing: Missing) -> str:
    at_least = "" if missing.is_proven else " at the most"
    return f"{counted(missing.people or 0, 'person', 'people')} more{at_least}"


def _told_posts(missing: Missing, programme: Programme, names: Mapping[str, str]) -> Iterator[str]:
    posts = (*missing.posts, *missing.moved)
    for person in dict.fromkeys(post.person for post in posts):
        theirs = [post for post in posts if post.person == person]
        told = "; ".join(_post(post, programme) for post in theirs)
        yield f"  {names.get(person, person)}: {told}."


def told_given_up(one: GivenUp, names: Mapping[str, str], programme: Programme) -> str:
    """A wish that is not kept wholly, whom, where and when it concerns, and what keeping it would
    have cost.
    """
    told = in_number(one.wish, one.times)
    return f"Given up: {told}{_whom(one, names, programme)}. {' '.join([*_idle(one), *_why(one)])}"


def told_progress(progress: Progress) -> str:
    """One line while the search goes on: the worst of the plan so far, and what is proven of it."""
    short = [in_number(wish, times) for wish, times in progress.counts.items() if times]
    best = f"{progress.seconds:5.1f} s: {'; '.join(short[:FIRST]) or 'nothing short of a wish'}"
    if progress.phase is not Phase.PLANNING:
        return f"{best} ({progress.phase})"
    if progress.wish is None or not progress.gap:
        return best
    return f"{best} (“{progress.wish}” could still come down to {progress.bound})"


def _idle(one: GivenUp) -> Iterator[str]:
    if one.idle:
        which = "it" if one.is_idle else f"{one.idle} of these"
        yield (
            f"No number of people would mend {which}: in a heat with fewer lanes than its row, a "
            "post of the row has none in use."
        )


def _why(one: GivenUp) -> Iterator[str]:
    if one.is_idle:
        return
    if one.is_impossible:
        yield "No plan of these people keeps this wholly."
    elif one.costs is None:
        yield "No plan that keeps more of it was found in the time that it had."
    else:
        instead, kept_to = in_number(one.costs, one.instead), in_number(one.wish, one.kept_to)
        yield (
            f"No plan keeps it wholly for nothing: the best found comes to {instead}."
            if one.is_proven
            else f"The best plan found for it has {kept_to}, but {instead}."
        )


def _whom(one: GivenUp, names: Mapping[str, str], programme: Programme) -> str:
    """Those that weigh most, in full: who, at which zone, when."""
    if not one.concerns:
        return ""
    most_first = sorted(one.concerns, key=lambda concern: -concern.times)
    told = [_concern(concern, names, programme) for concern in most_first[:NAMED]]
    more = len(most_first) - NAMED
    return f" ({'; '.join(told)}{f'; and {more} more' if more > 0 else ''})"


def _concern(one: Concern, names: Mapping[str, str], programme: Programme) -> str:
    who = [] if one.person is None else [names[one.person]]
    zone = [f"{one.relay}, {_at(one.take_overs)}"] if one.relay and one.take_overs else []
    return f"{', '.join([*who, *zone, _when(one.heats, programme)])}: {one.times}"


def _post(post: Assignment, programme: Programme) -> str:
    where = f"{_at(post.take_overs)}, {post.edge}, {_lanes(post.lanes)}"
    return f"{post.relay}, {where}, {_when(post.heats, programme)}"


def _at(take_overs: Sequence[int]) -> str:
    told = ", ".join(map(str, take_overs))
    return f"take-over {told}" if len(take_overs) == 1 else f"take-overs {told}"


def _lanes(lanes: Sequence[int]) -> str:
    return f"lane {lanes[0]}" if len(lanes) == 1 else f"lanes {spans(lanes, DASH)}"


def _when(ids: Sequence[str], programme: Programme) -> str:
    heats = [heat for heat in programme.heats if heat.id in ids]
    first, last = (programme.written(heat.starts_s) for heat in (heats[0], heats[-1]))
    return first if first == last else f"{first} to {last}"
