"""Rows that are owed to one table go in one statement, and nothing comes of it but that it is
quicker.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, bindparam, insert, select, update

from app.access.tables import tries
from app.ids import new_id
from app.store.by_name import MOST_ROWS, Named, Reach, Sending, line_of, rows_together
from app.store.engine import open_engines
from app.store.prepared import Compiled, Prepared
from tests.conftest import NewDatabase

PARENTS, CHILDREN, OTHERS = "parents", "children", "others"
PLACES = {PARENTS: 0, CHILDREN: 1, OTHERS: 2}
REFERS_TO = {PARENTS: {PARENTS}, CHILDREN: {PARENTS, CHILDREN}, OTHERS: {OTHERS}}


def adding_to(table: str, columns: int = 1) -> Named:
    values = ", ".join(f"${number}" for number in range(1, columns + 1))
    reach = Reach(frozenset(REFERS_TO[table]), table, PLACES[table])
    return Named(f"INSERT INTO {table} VALUES ({values})", writes=True, reach=reach)


ADDING = {table: adding_to(table) for table in PLACES}
TOUCHING = [
    Named(f"UPDATE {table}", writes=True, reach=Reach(frozenset({table}))) for table in PLACES
]
ANYTHING = Named("SELECT anything()", writes=True)

Seen = list[tuple[bytes, Any]]


def carried_out(sendings: Sequence[Sending]) -> tuple[dict[str, list[int]], Seen]:
    """The rows of each table then, and what each other statement found in its tables."""
    rows: dict[str, list[int]] = {table: [] for table in PLACES}
    found: Seen = []
    for one in sendings:
        table = one.what.text.split()[2].decode() if b"INSERT" in one.what.text else ""
        if table:
            assert one.what.text.count(b"$") == len(one.values), "one column, one value a row"
            if table == CHILDREN:
                assert set(one.values) <= set(rows[PARENTS]), "before the row that it refers to"
            rows[table] += one.values
        else:
            reach = one.what.reach.tables if one.what.reach else PLACES
            found.append((one.what.text, {name: list(rows[name]) for name in reach}))
    return rows, found


@st.composite
def owed(draw: st.DrawFn) -> list[Sending]:
    """In an order that holds: each child comes behind the parent that it refers to."""
    sendings, parents = [], []
    for number in range(draw(st.integers(0, 60))):
        what = draw(st.sampled_from([*ADDING.values()] * 3 + [*TOUCHING, ANYTHING]))
        if what is ADDING[CHILDREN]:
            if parents:
                sendings.append(Sending(what, [draw(st.sampled_from(parents))]))
            continue
        if what is ADDING[PARENTS]:
            parents.append(number)
        sendings.append(Sending(what, [number] if what.adds_to else []))
    return sendings


@given(owed())
def test_whatever_is_owed_comes_to_the_same_in_fewer_statements(sendings: list[Sending]) -> None:
    together = rows_together(sendings)
    assert carried_out(together) == carried_out(sendings)
    assert len(together) <= len(sendings)


@pytest.mark.parametrize("number", [1, 2, 3, 16, 31, 32, 100])
def test_so_many_rows_take_few_statements_and_few_kinds_of_them(number: int) -> None:
    add = adding_to(OTHERS, columns=2)
    together = rows_together([Sending(add, [place, "x"]) for place in range(number)])
    assert [value for one in together for value in one.values[::2]] == list(range(number))
    whole, rest = divmod(number, MOST_ROWS)
    assert len(together) == whole + rest.bit_count()
    lengths = {len(one.values) // 2 for one in together}
    assert lengths <= {1, 2, 4, 8, MOST_ROWS}


def test_values_of_several_rows_are_numbered_on() -> None:
    add = adding_to(OTHERS, columns=2)
    assert add.of_rows(1) is add
    three = add.of_rows(3)
    assert three.text == b"INSERT INTO others VALUES ($1, $2), ($3, $4), ($5, $6)"
    assert add.of_rows(3) is three


ADD = Prepared(insert(tries))
RAISE = Prepared(
    update(tries).where(tries.c.key == bindparam("which")).values(count=tries.c.count + 1)
)
BY_KEY = Prepared(select(tries).where(tries.c.key == bindparam("key")))


@pytest.fixture(scope="module")
def writing(new_database: NewDatabase) -> Iterator[Engine]:
    engines = open_engines(new_database("postgresql"))
    yield engines.writing
    engines.dispose()


@given(st.lists(st.tuples(st.sampled_from("aaaaru"), st.integers(0, 10**6)), max_size=70))
@settings(max_examples=30)
def test_the_database_holds_what_was_owed_and_tells_it(
    writing: Engine, acts: list[tuple[str, int]]
) -> None:
    """Added, raised, and read in any order, as if each had been told at once."""
    of_this, counts = new_id(), dict[str, int]()
    with writing.begin() as conn:
        for act, number in acts:
            if act == "a":
                key = f"{of_this} {len(counts)}"
                ADD.later(conn, {"key": key, "count": number, "blocked_until": None})
                counts[key] = number
            elif counts:
                key = list(counts)[number % len(counts)]
                if act == "u":
                    RAISE.later(conn, {"which": key})
                    counts[key] += 1
                else:
                    assert BY_KEY.first(conn, {"key": key}).count == counts[key]
    with writing.begin() as conn:
        stored = select(tries.c.key, tries.c.count).where(tries.c.key.like(f"{of_this}%"))
        assert dict(conn.execute(stored).all()) == counts


def test_the_server_takes_each_statement_that_adds_a_row_for_several(writing: Engine) -> None:
    """Also where it is told of no type, as of bytes."""
    ours = [module for name, module in sys.modules.items() if name.startswith("app.")]
    made = {one for module in ours for one in vars(module).values() if isinstance(one, Prepared)}
    with writing.begin() as conn:
        line, tables = line_of(conn), set()
        for one in made:
            named = Compiled(one._statement, conn.dialect)._driven
            assert isinstance(named, Named)
            if named.adds_to:
                tables.add(named.adds_to)
                line._known_as(named.of_rows(2))
    assert {"reports", "calls", "record_entries", "record_bodies"} <= tables
