"""What a record tells of that lies beside it: seals, papers, pictures, and what was erased."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from sqlalchemy import Connection

from app.exporting.queries import Recorded, entries_of_kinds
from app.ids import MeetId
from app.record.check import Checked
from app.record.kinds import Kind
from app.record.queries import committed_body

Body: TypeAlias = Mapping[str, Any]

TELLING = (Kind.SEAL_MADE, Kind.PAPER_SEALED, Kind.PICTURE_ADDED, Kind.ERASED)


@dataclass(slots=True)
class Account:
    """A meet's record as it was checked, its entries that tell of what lies beside it, and how much
    of each sort was held against them.
    """

    meet: MeetId
    checked: Checked
    entries: Collection[Recorded]
    held: Counter[str] = field(default_factory=Counter)

    def of(self, kind: Kind) -> dict[str, Body]:
        """What the entries of a kind say, by what they are about; empty where that was erased, or
        is not what the entry commits to.
        """
        return {one.subject: _body(one) for one in self.entries if one.kind is kind}

    def erased(self, what: str) -> set[str]:
        """The ids of the papers or the pictures that erasures name."""
        bodies = self.of_all(Kind.ERASED)
        return {str(ident) for body in bodies for ident in body.get(what, ())}

    def of_all(self, kind: Kind) -> list[Body]:
        """What all entries of a kind say, first to last."""
        return [_body(one) for one in self.entries if one.kind is kind]


def account_of(conn: Connection, meet: MeetId, checked: Checked) -> Account:
    """What a record tells of."""
    return Account(meet, checked, entries_of_kinds(conn, meet, TELLING))


def _body(one: Recorded) -> Body:
    salt = bytes.fromhex(one.salt) if one.salt is not None else None
    return committed_body(one.entry, salt, one.text) or {}


def differing(told: Body, stored: Body) -> list[str]:
    """The names under which something else is stored than the record tells."""
    return sorted(name for name, value in stored.items() if told.get(name, value) != value)
