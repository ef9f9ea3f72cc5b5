"""Reading a crew template: which posts a zone has for how many people.

A row for each post: how many people the zone has, the edge, the side, and how many lanes the post
takes at the most. Answers what the file says and everything that is wrong with it, and stores
nothing. That a number of people has as many posts, at both edges, is our own rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.plurals import counted
from app.rules.relay import Edge, Side
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.crew_list import read_one_of
from app.sheets.fields import LANES, read_whole_number
from app.sheets.problems import ProblemList, SheetRefused
from app.sheets.table import Problem, Row, fill_table

COLUMNS = ("people", "edge", "side", "lanes")
PEOPLE = (2, 20)
MOST_POSTS = sum(range(PEOPLE[0], PEOPLE[1] + 1))
"""As many as there are people, for each number of them."""


@dataclass(frozen=True, slots=True)
class TemplateRow:
    """One post of the template."""

    row: int
    people: int
    edge: Edge
    side: Side
    lanes: int


def read_crew_template(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[TemplateRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The posts, the columns that are left aside, and the problems; take the template over only
    when there are none. Raises SheetRefused when the file is no table, or has more posts than any.
    """
    problems = ProblemList()
    table = fill_table(content, Columns(COLUMNS, COLUMNS, (), mapping), problems)
    if len(table.rows) > MOST_POSTS:
        raise SheetRefused(
            f"This template has {len(table.rows):,} posts; for {PEOPLE[0]} to {PEOPLE[1]} people "
            f"there are at most {MOST_POSTS}. Give each number of people as many posts, once."
        )
    posts = [post for row in table.rows if (post := _read(row, problems)) is not None]
    if not problems:
        _check_numbers(posts, problems)
    return tuple(posts), table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> TemplateRow | None:
    people = read_whole_number(row, "people", PEOPLE, problems)
    edge = read_one_of(row, "edge", tuple(Edge), problems)
    side = read_one_of(row, "side", tuple(Side), problems)
    lanes = read_whole_number(row, "lanes", LANES, problems)
    if people is None or edge is None or side is None or lanes is None:
        return None
    return TemplateRow(row.number, people, Edge(edge), Side(side), lanes)


def _check_numbers(posts: list[TemplateRow], problems: ProblemList) -> None:
    if not posts:
        problems.add(None, None, "This template names no post. Add a row for each post.")
    for people in sorted({post.people for post in posts}):
        theirs = [post for post in posts if post.people == people]
        if len(theirs) != people:
            has = counted(len(theirs), "post")
            why = f"For {people} people this template has {has}. Give each of them one."
            problems.add(theirs[0].row, "people", why)
        for edge in set(Edge) - {post.edge for post in theirs}:
            why = f"With {people} people nobody watches the {edge}. Give a post that edge."
            problems.add(theirs[0].row, "edge", why)
