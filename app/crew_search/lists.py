"""Taking over a list of people, or a template, from a file: the rest of what is wished stays."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TypeVar

from app.access.wire import OfficialOut
from app.crew.actions import is_watching
from app.crew_search.plannable import plannable
from app.crew_search.wire import (
    MOST_POSITIONS,
    HoursIn,
    PersonIn,
    PositionIn,
    TemplatePostIn,
    WishesIn,
    WishesOut,
    WishListOut,
)
from app.ids import OfficialId
from app.sheets.columns import tell_of_unknown
from app.sheets.crew_template import TemplateRow, read_crew_template
from app.sheets.listed import Listed, read_listed
from app.sheets.people_list import PersonRow, read_people_list
from app.sheets.problems import ProblemList, show
from app.visible import likeness

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Seen:
    """What is wished with a list taken over, and what the list holds."""

    wishes: WishesIn
    told: WishListOut


def read_people(content: bytes, columns: Mapping[str, str]) -> Listed[PersonRow]:
    """The people in a file and every problem in it, by row and column."""
    return _known_alone(read_listed(read_people_list, content, columns))


def read_template(content: bytes, columns: Mapping[str, str]) -> Listed[TemplateRow]:
    """The posts of a template in a file and every problem in it."""
    return _known_alone(read_listed(read_crew_template, content, columns))


def _known_alone(listed: Listed[Row]) -> Listed[Row]:
    """A list in which a column that nobody knows is refused."""
    return listed.with_problems(tell_of_unknown(listed.ignored))


def with_people(
    before: WishesOut, listed: Listed[PersonRow], officials: Sequence[OfficialOut]
) -> Seen:
    """The list says who is planned, and how; the roles and the affiliation are the meet's own."""
    by_name: dict[str, list[OfficialOut]] = {}
    for one in officials:
        by_name.setdefault(likeness(one.name), []).append(one)
    problems = ProblemList()
    found: dict[OfficialId, PersonRow] = {}
    for row in listed.rows:
        named = by_name.get(likeness(row.name), [])
        if (problem := _against(row, named)) is not None:
            problems.add(row.row, *problem)
        else:
            found[named[0].id] = row
    seen = listed.with_problems(problems.told())
    told = _told(seen, people=len(found)).model_copy(update=_left_out(found, before, officials))
    # Of a list with problems nothing is taken over: its rows may be what no document can hold.
    people = [] if seen.problems else [_person(one, row) for one, row in found.items()]
    return Seen(_with(before, people=people), told)


def _against(row: PersonRow, named: Sequence[OfficialOut]) -> tuple[str, str] | None:
    """The column that is wrong, and why."""
    name = show(row.name)
    if not named:
        return "name", f"{name} is no official of this meet. Name them first, or correct it."
    if len(named) > 1:
        why = f"The meet has {len(named)} officials of this name. Give one another name first."
        return "name", why
    if not is_watching(named[0]):
        return "name", f"{name} is no active umpire. Give them the role, or leave them out."
    if (number := len(row.barred)) > MOST_POSITIONS:
        return "not", f"These are {number} positions; at most {MOST_POSITIONS} are kept."
    return None


def _person(official: OfficialId, row: PersonRow) -> PersonIn:
    hours = [HoursIn(begins=row.begins, ends=row.ends)] if row.begins or row.ends else []
    may_not = [PositionIn(**asdict(one)) for one in row.barred]
    return PersonIn(official=official, experience=row.experience, hours=hours, may_not=may_not)


def _left_out(
    found: Collection[OfficialId], before: WishesOut, officials: Sequence[OfficialOut]
) -> dict[str, list[str]]:
    """The names of those who stay away by the list, and of whom that may not be meant."""
    pinned = {pin.official for pin in before.pins}
    away = [one for one in officials if one.id not in found]
    return {
        "left_out": [one.name for one in plannable(WishesIn(), away)],
        "pinned_left_out": [one.name for one in away if one.id in pinned],
        "dropped_left_out": [one.name for one in away if one.id in before.dropped],
    }


def with_template(before: WishesOut, listed: Listed[TemplateRow]) -> Seen:
    """The posts of a zone by the number of people that it has."""
    posts = [] if listed.problems else [_post(one) for one in listed.rows]
    return Seen(_with(before, template=posts), _told(listed, posts=len(listed.rows)))


def _with(before: WishesOut, **what: Sequence[PersonIn] | Sequence[TemplatePostIn]) -> WishesIn:
    """What was wished before with one part of it replaced."""
    wished = {name: value for name, value in before if name in WishesIn.model_fields}
    return WishesIn(**{**wished, **what})


def _post(one: TemplateRow) -> TemplatePostIn:
    return TemplatePostIn(people=one.people, edge=one.edge, side=one.side, lanes=one.lanes)


def _told(
    listed: Listed[PersonRow] | Listed[TemplateRow], *, people: int = 0, posts: int = 0
) -> WishListOut:
    return WishListOut(
        stored=False,
        people=people,
        posts=posts,
        left_out=[],
        pinned_left_out=[],
        dropped_left_out=[],
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )
