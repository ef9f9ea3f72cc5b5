"""Taking over a crew list: the names in it become posts of the plan.

A post that the plan has already, for the same official at the same place, keeps its id, so that
flags shown there and badges handed out stay with it. The list is the whole plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from app.access.wire import OfficialOut
from app.crew.actions import WATCHERS
from app.crew.queries import Post
from app.crew.telling import ToMind
from app.crew.wire import CrewIn, CrewListOut, PostIn
from app.ids import new_id
from app.rules.relay import Relay, Side
from app.sheets.crew_list import PostRow, read_crew_list
from app.sheets.listed import Listed, read_listed
from app.sheets.problems import ProblemList, show
from app.visible import likeness

MostLanes = Callable[[Iterable[Relay]], int]


def read_file(content: bytes, columns: Mapping[str, str]) -> Listed[PostRow]:
    """The posts in a file and every problem in it, by row and column."""
    return read_listed(read_crew_list, content, columns)


def plan(
    listed: Listed[PostRow], people: Sequence[OfficialOut], before: Sequence[Post], most: MostLanes
) -> tuple[CrewIn, Listed[PostRow]]:
    """The plan that the list makes, and the list with what stands against it. `most` says which
    lane is the highest for some relays.
    """
    by_name: dict[str, list[OfficialOut]] = {}
    for person in people:
        by_name.setdefault(likeness(person.name), []).append(person)
    problems, places = ProblemList(), []
    left = list(before)
    for row in listed.rows:
        found = by_name.get(likeness(row.official), [])
        _tell_of_trouble(row, found, most(row.relays), problems)
        if len(found) == 1:
            places.append(_as_sent(row, found[0], left))
    return CrewIn(posts=places), listed.with_problems(problems.told())


def _tell_of_trouble(
    row: PostRow, found: Sequence[OfficialOut], most: int, problems: ProblemList
) -> None:
    if not found:
        why = f"{show(row.official)} is no official of this meet. Name them first, or correct it."
        problems.add(row.row, "official", why)
    elif len(found) > 1:
        why = f"The meet has {len(found)} officials of this name. Give one another name first."
        problems.add(row.row, "official", why)
    elif not found[0].active or WATCHERS.isdisjoint(found[0].roles):
        why = (
            f"{show(row.official)} is no active umpire. Give them the role, or the post to another."
        )
        problems.add(row.row, "official", why)
    if max(row.lanes) > most:
        why = f"There is no lane {max(row.lanes)}: this meet's track has {most}. Correct it."
        problems.add(row.row, "lanes", why)


def _as_sent(row: PostRow, person: OfficialOut, left: list[Post]) -> PostIn:
    kept = next((post for post in left if _is_that(post, row, person)), None)
    if kept is not None:
        left.remove(kept)
    return PostIn(
        id=kept.id if kept is not None else new_id(),
        official=person.id,
        take_over=row.take_over,
        edge=row.edge,
        lanes=list(row.lanes),
        side=Side(row.side),
        relays=list(row.relays),
    )


def _is_that(post: Post, row: PostRow, person: OfficialOut) -> bool:
    place = (post.official_id, post.take_over, post.edge, tuple(sorted(post.lanes)))
    return place == (person.id, row.take_over, row.edge, row.lanes)


def summary(listed: Listed[PostRow], mind: ToMind, *, stored: bool) -> CrewListOut:
    """What the list holds, and what is to be minded of the plan that it makes."""
    return CrewListOut(
        stored=stored,
        posts=len(listed.rows),
        people=len({likeness(row.official) for row in listed.rows}),
        unwatched=[gap.words for gap in mind.unwatched],
        apart=[one.words for one in mind.apart],
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )
