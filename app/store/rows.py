"""The type of a row as the database gives it: its columns are whatever the statement selected."""

from __future__ import annotations

from typing import Any, TypeAlias

from sqlalchemy import Row

AnyRow: TypeAlias = Row[*tuple[Any, ...]]
