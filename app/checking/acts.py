"""Is what was fixed when an act was signed still there, and as the record tells it?"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection

from app.checking.account import Account, differing
from app.checking.queries import all_decided, all_kept, subjects_of
from app.ids import MeetId
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.record.queries import committed_of_kinds
from app.sealing.as_signed import Left, is_as_signed, what_erasures_left

IN_WORDS = {
    Kind.RULING: "ruling",
    Kind.PROTEST_DECIDED: "decision",
    Kind.APPEAL_DECIDED: "decision",
    Kind.ANNOUNCEMENT: "announcement",
}

SAID = (
    *("verdict", "reasons", "edition", "lane", "infringement", "rule", "separate"),
    *("reconsiders", "rests_on", "instance", "orders", "heard_because"),
)
"""What a statement and the columns beside it both say, under one name."""


def acts_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Rulings, decisions and announcements that are gone, or are not as they were signed."""
    found: set[str] = set()
    left = what_erasures_left(conn, account.meet)
    for kept in all_kept(conn, account.meet):
        (account.left if kept.act in left.last else account.held)["signed act"] += 1
        found.add(kept.act)
        if not is_as_signed(conn, account.meet, kept, left):
            yield f"the {IN_WORDS[kept.kind]} {kept.act}: it is not what the record says was signed"
    yield from _rows_amiss(conn, account, left)
    for word, told in (
        ("ruling", subjects_of(conn, account.meet, Kind.RULING)),
        ("announcement", subjects_of(conn, account.meet, Kind.ANNOUNCEMENT)),
        ("decision", set(_decided(conn, account.meet))),
    ):
        for ident in sorted(told - found):
            yield f"the {word} {ident}: the record tells of it, and it is not there"


def _rows_amiss(conn: Connection, account: Account, left: Left) -> Iterator[str]:
    """Rulings and decisions whose columns do not say what their own signed statement says; those
    are as the last erasure left them that an erasure names.
    """
    for word, row in all_decided(conn, account.meet):
        statement = row["statement"] if row["id"] not in left.last else {}
        said = {name: row[name] for name in SAID if name in row and name in statement}
        otherwise = differing(statement, said)
        if statement and digest_of(statement) != row["statement_digest"]:
            otherwise = ["statement"]
        if otherwise:
            named = ", ".join(otherwise)
            yield f"the {word} {row['id']}: it is not what its statement says ({named})"


def _decided(conn: Connection, meet: MeetId) -> Iterator[str]:
    """The decisions that the record tells of, as far as it still says which they were."""
    for one in committed_of_kinds(conn, meet, (Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED)):
        if one.body is not None and "decision" in one.body:
            yield str(one.body["decision"])
