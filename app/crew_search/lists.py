"""Taking over a list of people, or a template, from a file: the rest of what is wished stays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.access.wire import OfficialOut
from app.crew.actions import is_watching
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
from app.sheets.crew_template import TemplateRow, read_crew_template
from app.sheets.listed import Listed, read_listed
from app.sheets.people_list import PersonRow, read_people_list
from app.sheets.problems import ProblemList, show
from app.visible import likeness


@dataclass(frozen=True, slots=True)
class Seen:
    """What is wished with a list taken over, and what the list holds."""

    wishes: WishesIn
    told: WishListOut


def read_people(content: bytes, columns: Mapping[str, str]) -> Listed[PersonRow]:
    """The people in a file and every problem in it, by row and column."""
    return read_listed(read_people_list, content, columns)


def read_template(content: bytes, columns: Mapping[str, str]) -> Listed[TemplateRow]:
    """The posts of a template in a file and every problem in it."""
    return read_listed(read_crew_template, content, columns)


def with_people(
    before: WishesOut, listed: Listed[PersonRow], officials: Sequence[OfficialOut]
) -> Seen:
    """The list says who is planned, and how; the roles and the affiliation are the meet's own."""
    watching = [one for one in officials if is_watching(one)]
    by_name: dict[str, list[OfficialOut]] = {}
    for one in officials:
        by_name.setdefault(likeness(one.name), []).append(one)
    problems = ProblemList()
    people: list[PersonIn] = []
    for row in listed.rows:
        found = by_name.get(likeness(row.name), [])
        if (why := _why_not(row, found, watching)) is not None:
            problems.add(row.row, "name", why)
        elif len(row.barred) > MOST_POSITIONS:
            why = f"These are {len(row.barred)} positions; at most {MOST_POSITIONS} are kept."
            problems.add(row.row, "not", why)
        else:
            people.append(
                PersonIn(
                    official=found[0].id,
                    experience=row.experience,
                    hours=list(_hours(row)),
                    may_not=list(_positions(row)),
                )
            )
    seen = listed.with_problems(problems.told())
    listed_ids = {one.official for one in people}
    names = [one.name for one in watching if one.id not in listed_ids]
    wishes = WishesIn(
        people=people,
        template=before.template,
        pins=before.pins,
        dropped=before.dropped,
    )
    return Seen(wishes, _told(seen, people=len(people), left_out=names))


def _why_not(
    row: PersonRow, found: Sequence[OfficialOut], watching: Sequence[OfficialOut]
) -> str | None:
    if not found:
        return f"{show(row.name)} is no official of this meet. Name them first, or correct it."
    if len(found) > 1:
        return f"The meet has {len(found)} officials of this name. Give one another name first."
    if found[0] not in watching:
        return f"{show(row.name)} is no active umpire. Give them the role, or leave them out."
    return None


def _hours(row: PersonRow) -> Iterator[HoursIn]:
    if row.begins or row.ends:
        yield HoursIn(begins=row.begins, ends=row.ends)


def _positions(row: PersonRow) -> Iterator[PositionIn]:
    for one in row.barred:
        yield PositionIn(take_over=one.take_over, edge=one.edge, side=one.side)


def with_template(before: WishesOut, listed: Listed[TemplateRow]) -> Seen:
    """The posts of a zone by the number of people that it has."""
    posts = [
        TemplatePostIn(people=one.people, edge=one.edge, side=one.side, lanes=one.lanes)
        for one in listed.rows
    ]
    wishes = WishesIn(
        people=before.people, template=posts, pins=before.pins, dropped=before.dropped
    )
    return Seen(wishes, _told(listed, posts=len(posts)))


def _told(
    listed: Listed[PersonRow] | Listed[TemplateRow],
    *,
    people: int = 0,
    posts: int = 0,
    left_out: Sequence[str] = (),
) -> WishListOut:
    return WishListOut(
        stored=False,
        people=people,
        posts=posts,
        left_out=list(left_out),
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )
