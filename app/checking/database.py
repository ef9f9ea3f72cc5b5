"""Does all of a database agree with its records, and is each still guarded against rewriting?

Of each meet its record is checked as an export of it would be, and then what the record tells of
is held against it: the seals, the heads that were signed, what was fixed when an act was signed,
sealed papers, and pictures. A copy of an older schema is brought to the present one first; until
then its records are checked, and nothing else.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from sqlalchemy import Connection

from app.checking.account import account_of
from app.checking.acts import acts_amiss
from app.checking.files import papers_amiss, pictures_amiss
from app.checking.guards import unguarded
from app.checking.heads import heads_amiss, seals_amiss, signed_sizes
from app.checking.queries import known_meets
from app.checking.rows import rows_amiss
from app.ids import MeetId
from app.record.check import Checked, check_lines
from app.record.queries import export_lines
from app.schema import REVISION
from app.store.revision import stored_revision

LOOKS = (seals_amiss, heads_amiss, acts_amiss, rows_amiss, papers_amiss, pictures_amiss)


@dataclass(slots=True)
class Found:
    """What was checked, meet by meet, how much was held against the records, and every mismatch
    with its place.
    """

    meets: dict[MeetId, Checked] = field(default_factory=dict)
    held: Counter[str] = field(default_factory=Counter)
    mismatches: list[str] = field(default_factory=list)


def check_database(conn: Connection) -> Found:
    """Check every meet that a database holds, and that its records are guarded."""
    found = Found()
    for meet in sorted(known_meets(conn)):
        found.mismatches += check_meet(conn, meet, found)
    found.mismatches += unguarded(conn)
    return found


def check_meet(conn: Connection, meet: MeetId, found: Found) -> list[str]:
    """What does not agree in a meet, with its place; how much was looked at goes into `found`."""
    is_present = stored_revision(conn) == REVISION
    return [f"meet {meet}, {one}" for one in _amiss(conn, meet, found, is_present=is_present)]


def _amiss(conn: Connection, meet: MeetId, found: Found, *, is_present: bool) -> Iterator[str]:
    sizes = signed_sizes(conn, meet) if is_present else frozenset()
    checked = found.meets[meet] = check_lines(export_lines(conn, meet), sizes)
    yield from checked.mismatches
    if not checked.size:
        yield "its record: it has no entry; it was taken away"
    if is_present:
        account = account_of(conn, meet, checked)
        for look in LOOKS:
            yield from look(conn, account)
        found.held += account.held
