"""Are the sealed papers and the pictures those that the record tells of, byte for byte?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from hashlib import sha256

from sqlalchemy import Connection

from app.checking.account import Account, Body, differing
from app.checking.queries import all_papers, all_pictures
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.store.rows import AnyRow

LISTS = ("announced", "entries", "forms", "keys", "keys_revoked", "left_as", "officials")
"""What an erasure's entry names, beside `papers` and `pictures`."""
TOLD_OF_PAPER = ("edition", "fingerprint", "head_size", "kind", "level", "sheet", "subject")
TOLD_OF_PICTURE = ("media_type", "sha256", "shown_sha256", "size")


def erasures_amiss(_conn: Connection, account: Account) -> Iterator[str]:
    """Entries of erasures that do not say what was erased in a way that can be read."""
    for seq, body in account.of_all(Kind.ERASED).items():
        for name in (*LISTS, "papers", "pictures"):
            if not isinstance(body.get(name, []), list):
                yield f"entry {seq}, of an erasure: what it names as {name} is no list"


def papers_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Papers that are gone without an erasure, or are not those that were sealed."""
    told, found = account.of(Kind.PAPER_SEALED), set()
    for row in all_papers(conn, account.meet):
        account.held["sealed paper"] += 1
        found.add(row.id)
        for why in _of_paper(row, told):
            yield f"the paper {row.id} ({row.kind}, edition {row.edition}): {why}"
    erased = account.erased("papers")
    account.left["sealed paper"] += len((told.keys() & erased) - found)
    for ident in sorted(told.keys() - found - erased):
        yield f"the paper {ident}: the record tells of it, and it is not there"


def _of_paper(row: AnyRow, of_all: Mapping[str, Body | None]) -> Iterator[str]:
    if row.id not in of_all:
        yield "no entry of the record tells of it"
        return
    told = of_all[row.id] or {}
    if names := differing(told, {name: getattr(row, name) for name in TOLD_OF_PAPER}):
        yield f"the record tells it otherwise ({', '.join(names)})"
    if not row.sha256 == told.get("sha256") == sha256(row.content).hexdigest():
        yield "its bytes are not those that the record says were sealed"
    if _digest(row.facts) != row.facts_sha256:
        yield "what it is said to be drawn from was changed"


def _digest(facts: object) -> str:
    try:
        return digest_of(facts)
    except ValueError:  # a number that no paper holds
        return ""


def pictures_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Pictures of which a file is gone without an erasure, or is another one than was added."""
    told, found, erased = account.of(Kind.PICTURE_ADDED), set(), account.erased("pictures")
    for row in all_pictures(conn, account.meet):
        is_gone = row.original is None and row.shown is None and row.id in erased
        (account.left if is_gone else account.held)["picture"] += 1
        found.add(row.id)
        for why in _of_picture(row, told, is_erased=row.id in erased):
            yield f"the picture {row.id}: {why}"
    for ident in sorted(told.keys() - found):
        yield f"the picture {ident}: the record tells of it, and it is not there"


def _of_picture(
    row: AnyRow, of_all: Mapping[str, Body | None], *, is_erased: bool
) -> Iterator[str]:
    if row.id not in of_all:
        yield "no entry of the record tells of it"
        return
    if names := differing(of_all[row.id], {name: getattr(row, name) for name in TOLD_OF_PICTURE}):
        yield f"the record tells it otherwise ({', '.join(names)})"
    files = (("as it came", row.original, row.sha256), ("as shown", row.shown, row.shown_sha256))
    for which, content, digest in files:
        if content is None and not is_erased:
            yield f"its file {which} is gone, and no entry says that it was erased"
        elif content is not None and sha256(content).hexdigest() != digest:
            yield f"its file {which} is not the one that was added"
