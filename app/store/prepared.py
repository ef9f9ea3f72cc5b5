"""Statements of the hot path: written with the toolkit, compiled once, run straight on the driver.

The toolkit spends some 20 µs on each execution of a statement that SQLite answers in 2. The dozen
statements behind a report, a session and a docket are run so often that this decides how many
phones a server can take. They stay declared on the mapped tables, so both engines and the column
types are served by one text; values go by position, and only those columns are converted that need
it. Rows come back as named tuples.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Dialect
from sqlalchemy.sql.dml import UpdateBase
from sqlalchemy.sql.expression import Select

Convert = Callable[[Any], Any]
Values = Mapping[str, Any]


class Prepared:
    """One statement. Lists in `IN (…)` cannot be prepared; use the toolkit for those."""

    def __init__(self, statement: Select[*tuple[Any, ...]] | UpdateBase) -> None:
        self._statement = statement
        self._compiled: dict[str, Compiled] = {}

    def first(self, conn: Connection, values: Values) -> Any:
        """The first row, None where there is none."""
        compiled = self._for(conn)
        row = compiled.execute(conn, values).fetchone()
        return None if row is None else compiled.row(row)

    def all(self, conn: Connection, values: Values) -> list[Any]:
        """All rows."""
        compiled = self._for(conn)
        return [compiled.row(row) for row in compiled.execute(conn, values).fetchall()]

    def run(self, conn: Connection, values: Values) -> int:
        """Execute for its effect; how many rows it touched."""
        count: int = self._for(conn).execute(conn, values).rowcount
        return count

    def run_many(self, conn: Connection, rows: Sequence[Values]) -> None:
        """Execute once for each set of values."""
        self._for(conn).execute_many(conn, rows)

    def _for(self, conn: Connection) -> Compiled:
        name = conn.dialect.name
        compiled = self._compiled.get(name)
        if compiled is None:
            compiled = self._compiled[name] = Compiled(self._statement, conn.dialect)
        return compiled


class Compiled:
    """A statement as one engine's driver takes it."""

    def __init__(self, statement: Select[*tuple[Any, ...]] | UpdateBase, dialect: Dialect) -> None:
        compiled = statement.compile(dialect=_by_position(dialect))
        self._text = str(compiled)
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

    def execute(self, conn: Connection, values: Values) -> Any:
        """The driver's cursor after executing."""
        cursor = conn.connection.cursor()
        cursor.execute(self._text, self._bind(values))
        return cursor

    def execute_many(self, conn: Connection, rows: Sequence[Values]) -> None:
        """Execute once for each set of values."""
        conn.connection.cursor().executemany(self._text, [self._bind(row) for row in rows])

    def row(self, raw: Sequence[Any]) -> Any:
        """A driver's row with its columns converted and named."""
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


def _by_position(dialect: Dialect) -> Dialect:
    """The same dialect, with the driver's placeholder that takes its value by position."""
    same: Any = type(dialect)
    taken: Dialect = same(paramstyle="qmark" if dialect.name == "sqlite" else "format")
    return taken


def _conversions(converts: Iterable[Convert | None]) -> list[tuple[int, Convert]]:
    """The places whose values must be converted, and how."""
    return [(place, convert) for place, convert in enumerate(converts) if convert is not None]
