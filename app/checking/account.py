"""What a record tells of that lies beside it: seals, papers, pictures, and what was erased."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from sqlalchemy import Connection

from app.exporting.queries import Recorded, entries_of_kinds
from app.ids import MeetId
from app.record.check import Checked
from app.record.kinds import Kind
from app.record.queries import committed_body

Body: TypeAlias = Mapping[str, Any]

NOTHING = object()
"""What is told under a name that is not there; no stored value is the same."""

TELLING = (Kind.SEAL_MADE, Kind.PAPER_SEALED, Kind.PICTURE_ADDED, Kind.ERASED)


@dataclass(slots=True)
class Account:
    """A meet's record as it was checked, its entries that tell of what lies beside it, how much of
    each sort was held against them, and how much is as an erasure left it.
    """

    meet: MeetId
    checked: Checked
    entries: Collection[Recorded]
    held: Counter[str] = field(default_factory=Counter)
    left: Counter[str] = field(default_factory=Counter)

    def of(self, kind: Kind) -> dict[str, Body | None]:
        """What the entries of a kind say, by what they are about; None where that was erased, and
        empty where it is not what the entry commits to.
        """
        return {one.subject: _body(one) for one in self.entries if one.kind is kind}

    def erased(self, what: str) -> set[str]:
        """The ids of the papers or the pictures that erasures name."""
        bodies = self.of_all(Kind.ERASED).values()
        return {str(ident) for body in bodies for ident in listed(body.get(what))}

    def of_all(self, kind: Kind) -> dict[int, Body]:
        """What the entries of a kind say by their places, first to last, as far as it is there."""
        told = ((one.seq, _body(one)) for one in self.entries if one.kind is kind)
        return {seq: body for seq, body in told if body is not None}


def account_of(conn: Connection, meet: MeetId, checked: Checked) -> Account:
    """What a record tells of."""
    return Account(meet, checked, entries_of_kinds(conn, meet, TELLING))


def _body(one: Recorded) -> Body | None:
    if one.text is None:
        return None
    salt = bytes.fromhex(one.salt) if one.salt is not None else None
    return committed_body(one.entry, salt, one.text) or {}


def listed(value: object) -> Sequence[Any]:
    """What should be a list; an empty one where it is none. That is told of its entry."""
    return value if isinstance(value, list) else ()


def differing(told: Body | None, stored: Body) -> list[str]:
    """The names under which something else is stored than the record tells, or where it tells
    nothing; none where what it told was erased.
    """
    if told is None:
        return []
    return sorted(name for name, value in stored.items() if told.get(name, NOTHING) != value)
