"""Statements of the hot path: written with the toolkit, compiled once, run straight on the driver.

The toolkit spends some 20 µs on each execution of a statement that SQLite answers in 2. The dozen
statements behind a report, a session and a docket are run so often that this decides how many
phones a server can take. They stay declared on the mapped tables, so both engines and the column
types are served by one text; values go by position, and only those columns are converted that need
it. Rows come back as named tuples.
"""

from __future__ import annotations

import re
from collections import namedtuple
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Dialect, Insert, Table, Update
from sqlalchemy.sql import visitors
from sqlalchemy.sql.dml import UpdateBase
from sqlalchemy.sql.expression import Select

from app.store.by_name import Named, Reach, Sending

ADDS_ONE_ROW = re.compile(r"INSERT INTO \w+ \([\w, ]+\) VALUES \((\$\d+(::[A-Z ]+)?(, )?)+\)")
"""Of values that are bound, and with nothing behind them (`ON CONFLICT`, `RETURNING`)."""

Convert = Callable[[Any], Any]
Values = Mapping[str, Any]


class Prepared:
    """One statement. Lists in `IN (…)` cannot be prepared; use the toolkit for those."""

    def __init__(self, statement: Select[*tuple[Any, ...]] | UpdateBase) -> None:
        self._statement = statement
        self._compiled: dict[str, Compiled] = {}

    def first(self, conn: Connection, values: Values) -> Any:
        """The first row, None where there is none."""
        return self._for(conn).first(conn, values)

    def all(self, conn: Connection, values: Values) -> list[Any]:
        """All rows."""
        return self._for(conn).rows(conn, values)

    def run(self, conn: Connection, values: Values) -> int:
        """Execute for its effect; how many rows it touched."""
        return self._for(conn).run(conn, values)

    def later(self, conn: Connection, values: Values) -> None:
        """Execute for its effect, at the latest before whatever is asked or committed next. Only in
        the writer: it knows what to do where something that was owed fails.
        """
        self._for(conn).later(conn, values)

    def sending(self, conn: Connection, values: Values) -> Sending:
        """This question as a line to PostgreSQL takes it."""
        return self._for(conn).sending(values)

    def _for(self, conn: Connection) -> Compiled:
        name = conn.dialect.name
        compiled = self._compiled.get(name)
        if compiled is None:
            compiled = self._compiled[name] = Compiled(self._statement, conn.dialect)
        return compiled


Question = tuple[Prepared, Values]


def sendings(conn: Connection, questions: Sequence[Question]) -> list[Sending]:
    """Questions as a line to PostgreSQL takes them."""
    return [asked.sending(conn, values) for asked, values in questions]


class Driven:
    """A statement on SQLite's driver, which keeps it prepared."""

    def __init__(self, text: str) -> None:
        self._text = text

    def rows(self, conn: Connection, values: Sequence[Any]) -> list[Any]:
        """All rows, as the driver gives them."""
        cursor = conn.connection.cursor()
        cursor.execute(self._text, values)
        return list(cursor.fetchall())

    def run(self, conn: Connection, values: Sequence[Any]) -> int:
        """How many rows it touched."""
        cursor = conn.connection.cursor()
        cursor.execute(self._text, values)
        return cursor.rowcount

    later = run


class Compiled:
    """A statement as one engine's driver takes it."""

    def __init__(self, statement: Select[*tuple[Any, ...]] | UpdateBase, dialect: Dialect) -> None:
        compiled = statement.compile(dialect=_by_position(dialect))
        text = str(compiled)
        writes = isinstance(statement, UpdateBase)
        if dialect.name == "sqlite":
            self._driven: Driven | Named = Driven(text)
        else:
            reach = _reach_of(statement, text) if isinstance(statement, Insert | Update) else None
            self._driven = Named(text, writes=writes, reach=reach)
        binds: Mapping[str, Any] = compiled.binds
        self._constants = {
            name: bound.value
            for name, bound in binds.items()
            if not bound.required and bound.value is not None
        }
        self._names: Sequence[str] = compiled.positiontup or ()
        self._outward = _conversions(
            binds[name].type.dialect_impl(dialect).bind_processor(dialect) for name in self._names
        )
        returned = list(statement.exported_columns)
        names = [str(column.key) for column in returned]
        # The columns are known only here, so there is no class to write down.
        row_type: Any = namedtuple("Row", names, rename=True)  # type: ignore[misc]  # noqa: PYI024
        self._make = row_type._make
        self._inward = _conversions(
            column.type.dialect_impl(dialect).result_processor(dialect, None) for column in returned
        )

    def first(self, conn: Connection, values: Values) -> Any:
        """The first row, None where there is none."""
        raw = self._driven.rows(conn, self._bind(values))
        return self._row(raw[0]) if raw else None

    def rows(self, conn: Connection, values: Values) -> list[Any]:
        """All rows, their columns converted and named."""
        return [self._row(raw) for raw in self._driven.rows(conn, self._bind(values))]

    def run(self, conn: Connection, values: Values) -> int:
        """Execute for its effect; how many rows it touched."""
        return self._driven.run(conn, self._bind(values))

    def later(self, conn: Connection, values: Values) -> None:
        """Execute for its effect, before whatever is asked or committed next."""
        self._driven.later(conn, self._bind(values))

    def sending(self, values: Values) -> Sending:
        """This, to be asked together with others; on PostgreSQL only."""
        assert isinstance(self._driven, Named)
        return Sending(self._driven, self._bind(values))

    def _row(self, raw: Sequence[Any]) -> Any:
        if self._inward:
            raw = list(raw)
            for place, convert in self._inward:
                raw[place] = convert(raw[place])
        return self._make(raw)

    def _bind(self, values: Values) -> list[Any]:
        if self._constants:
            values = {**self._constants, **values}
        bound = [values[name] for name in self._names]
        for place, convert in self._outward:
            bound[place] = convert(bound[place])
        return bound


def _reach_of(statement: Insert | Update, text: str) -> Reach:
    """Which tables a statement that writes has to do with, and whether it only adds a row."""
    table = statement.table
    assert isinstance(table, Table)
    seen = {one.name for one in visitors.iterate(statement) if isinstance(one, Table)}
    referred_to = {key.column.table.name for key in table.foreign_keys}
    tables = frozenset({table.name, *seen, *referred_to})
    if not isinstance(statement, Insert) or not ADDS_ONE_ROW.fullmatch(text):
        return Reach(tables)
    return Reach(tables, table.name, table.metadata.sorted_tables.index(table))


def _by_position(dialect: Dialect) -> Dialect:
    """The same dialect, with the driver's placeholder that takes its value by position."""
    same: Any = type(dialect)
    taken: Dialect = same(paramstyle="qmark" if dialect.name == "sqlite" else "numeric_dollar")
    return taken


def _conversions(converts: Iterable[Convert | None]) -> list[tuple[int, Convert]]:
    """The places whose values must be converted, and how."""
    return [(place, convert) for place, convert in enumerate(converts) if convert is not None]
