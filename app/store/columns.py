"""Column types and the metadata that all tables hang on.

Instants are stored in UTC to the microsecond on both engines: PostgreSQL has a type for that,
SQLite keeps the RFC 3339 text with a fixed width, so that text order is time order.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from pydantic_core import from_json, to_json
from sqlalchemy import Dialect, MetaData, String, Text, types
from sqlalchemy.dialects.postgresql import TIMESTAMP

from app.clock import rfc3339

ID_LENGTH = 36

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def id_type() -> String:
    """The column type of an id: the canonical text of a UUID."""
    return String(ID_LENGTH)


class Instant(types.TypeDecorator[datetime]):
    """An aware datetime, UTC, to the microsecond. A naive one is refused."""

    impl = String(27)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> types.TypeEngine[Any]:
        if dialect.name == "postgresql":
            return dialect.type_descriptor(TIMESTAMP(timezone=True))
        return dialect.type_descriptor(String(27))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant needs its zone")
        if dialect.name == "postgresql":
            return value
        return rfc3339(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if isinstance(value, datetime):
            return value.astimezone(UTC)
        return datetime.fromisoformat(value)


class Json(types.TypeDecorator[Any]):
    """A small document inside a row, stored as text: read whole. SQL asks nothing of it
    but whether something is in it.
    """

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        if value is None:
            return None
        return to_json(value).decode()

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        # A tenth of the time of the standard reader; every report reads four such columns.
        return None if value is None else from_json(value)
