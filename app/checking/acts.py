"""Is what was fixed when an act was signed still there, and as the record tells it?"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection

from app.checking.account import Account
from app.checking.queries import all_kept, subjects_of
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.queries import committed_of_kinds
from app.sealing.as_signed import is_as_signed, what_erasures_left

IN_WORDS = {
    Kind.RULING: "ruling",
    Kind.PROTEST_DECIDED: "decision",
    Kind.APPEAL_DECIDED: "decision",
    Kind.ANNOUNCEMENT: "announcement",
}


def acts_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Rulings, decisions and announcements that are gone, or are not as they were signed."""
    found: set[str] = set()
    left = what_erasures_left(conn, account.meet)
    for kept in all_kept(conn, account.meet):
        (account.left if kept.act in left.last else account.held)["signed act"] += 1
        found.add(kept.act)
        if not is_as_signed(conn, account.meet, kept, left):
            yield f"the {IN_WORDS[kept.kind]} {kept.act}: it is not what the record says was signed"
    for word, told in (
        ("ruling", subjects_of(conn, account.meet, Kind.RULING)),
        ("announcement", subjects_of(conn, account.meet, Kind.ANNOUNCEMENT)),
        ("decision", set(_decided(conn, account.meet))),
    ):
        for ident in sorted(told - found):
            yield f"the {word} {ident}: the record tells of it, and it is not there"


def _decided(conn: Connection, meet: MeetId) -> Iterator[str]:
    """The decisions that the record tells of, as far as it still says which they were."""
    for one in committed_of_kinds(conn, meet, (Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED)):
        if one.body is not None and "decision" in one.body:
            yield str(one.body["decision"])
