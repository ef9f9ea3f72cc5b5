"""Does all of a database agree with its records, and is each still guarded against rewriting?

Of each meet its record is checked as an export of it would be, and then what the record tells of
is held against it: what it grows from, the seals, the heads that were signed, what was fixed when
an act was signed, sealed papers, and pictures. A copy of an older schema is brought to the present
one first; until then its records are checked, and nothing else.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection

from app.checking.account import Account, account_of
from app.checking.acts import acts_amiss
from app.checking.files import erasures_amiss, papers_amiss, pictures_amiss
from app.checking.guards import unguarded
from app.checking.heads import head_amiss, heads_amiss, seals_amiss, signed_sizes
from app.checking.queries import known_meets
from app.checking.rows import rows_amiss
from app.ids import MeetId
from app.record.check import Checked, check_lines
from app.record.queries import export_lines
from app.schema import REVISION
from app.store.revision import stored_revision

LOOKS: Mapping[str, Callable[[Connection, Account], Iterable[str]]] = {
    "head": head_amiss,
    "seals": seals_amiss,
    "signed heads": heads_amiss,
    "signatures": acts_amiss,
    "rows": rows_amiss,
    "erasures": erasures_amiss,
    "papers": papers_amiss,
    "pictures": pictures_amiss,
}
UNREADABLE = (AttributeError, KeyError, TypeError, ValueError, OverflowError, RecursionError)
"""What comes of a value that is of another type than its column: SQLite takes any."""


@dataclass(frozen=True, slots=True)
class FoundOfMeet:
    """A meet's record as it was checked, every mismatch, how much was held against the record, and
    how much of what it tells of is as an erasure left it.
    """

    checked: Checked
    mismatches: Sequence[str]
    held: Counter[str] = field(default_factory=Counter)
    left: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True)
class Found:
    """What was found, meet by meet, and which guards are missing or are others."""

    meets: dict[MeetId, FoundOfMeet]
    unguarded: Sequence[str]

    @property
    def mismatches(self) -> list[str]:
        """Everything that does not agree, with its place."""
        of_meets = (
            f"meet {meet}, {one}" for meet, found in self.meets.items() for one in found.mismatches
        )
        return [*of_meets, *self.unguarded]

    @property
    def held(self) -> Counter[str]:
        """How much of each sort was held against the records."""
        return sum((one.held for one in self.meets.values()), Counter())

    @property
    def left(self) -> Counter[str]:
        """How much of each sort is as an erasure left it."""
        return sum((one.left for one in self.meets.values()), Counter())


def check_database(conn: Connection) -> Found:
    """Check every meet that a database holds, and that its records are guarded."""
    meets = {meet: check_meet(conn, meet) for meet in sorted(known_meets(conn), key=str)}
    return Found(meets, list(unguarded(conn)))


def check_meet(conn: Connection, meet: MeetId) -> FoundOfMeet:
    """Check a meet's record, and hold against it what it tells of."""
    is_present = stored_revision(conn) == REVISION
    sizes = signed_sizes(conn, meet) if is_present else frozenset()
    try:
        checked = check_lines(export_lines(conn, meet), sizes)
    except UNREADABLE as error:
        return FoundOfMeet(Checked(), [f"its record: {_unreadable(error)}"])
    mismatches = list(_in_record(checked))
    if not is_present:
        return FoundOfMeet(checked, mismatches)
    account = account_of(conn, meet, checked)
    beside = [one for what in LOOKS for one in _amiss(what, conn, account)]
    return FoundOfMeet(checked, [*mismatches, *beside], account.held, account.left)


def _amiss(what: str, conn: Connection, account: Account) -> Iterator[str]:
    try:
        yield from LOOKS[what](conn, account)
    except UNREADABLE as error:
        yield f"its {what}: {_unreadable(error)}"


def _unreadable(error: Exception) -> str:
    return f"something there cannot be read ({type(error).__name__})"


def _in_record(checked: Checked) -> Iterator[str]:
    yield from checked.mismatches
    if not checked.size:
        yield "its record: it has no entry; it was taken away"
