"""A place in a long list, as a page hands it to the next request: an instant and an id."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Column, ColumnElement, String, bindparam, tuple_

from app.clock import rfc3339
from app.ids import canonical_id
from app.refusals import Malformed
from app.wire import sane_instant


def cursor(instant: datetime, ident: str) -> str:
    """The place of a row, in one word."""
    return f"{rfc3339(instant)}~{ident}"


def after_place(instant: Column[datetime], ident: Column[str]) -> ColumnElement[bool]:
    """The rows behind a place, in the order of their instants and ids: binds `at` and `place`.

    As one comparison of both (SQL:1992, row values): an index is then entered at the place, where
    alternatives made it be read from its start.
    """
    return tuple_(instant, ident) > _place(instant)


def before_place(instant: Column[datetime], ident: Column[str]) -> ColumnElement[bool]:
    """The rows before a place, likewise."""
    return tuple_(instant, ident) < _place(instant)


def _place(instant: Column[datetime]) -> ColumnElement[Any]:
    return tuple_(bindparam("at", type_=instant.type), bindparam("place", type_=String))


def split_cursor(text: str, field: str) -> tuple[datetime, str]:
    """The instant and the id; Malformed for anything that no page of ours has handed out."""
    instant, _, ident = text.partition("~")
    try:
        return sane_instant(datetime.fromisoformat(instant)), canonical_id(ident)
    except (ValueError, TypeError, OverflowError) as error:  # TypeError: it has no time zone
        raise no_place(field) from error


def no_place(field: str) -> Malformed:
    """What is told to whoever sends a place that no page of ours has handed out."""
    return Malformed(
        f"This is no place in the list; leave “{field}” out to begin at its start.",
        field=f"query {field}",
    )
