"""Are the sealed papers and the pictures those that the record tells of, byte for byte?"""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256

from sqlalchemy import Connection

from app.checking.account import Account, Body, differing
from app.checking.queries import all_papers, all_pictures
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.store.rows import AnyRow

TOLD_OF_PAPER = ("edition", "fingerprint", "head_size", "kind", "level", "sheet", "subject")
TOLD_OF_PICTURE = ("media_type", "sha256", "shown_sha256", "size")


def papers_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Papers that are gone without an erasure, or are not those that were sealed."""
    told, found = account.of(Kind.PAPER_SEALED), set()
    for row in all_papers(conn, account.meet):
        account.held["sealed paper"] += 1
        found.add(row.id)
        for why in _of_paper(row, told.get(row.id)):
            yield f"the paper {row.id} ({row.kind}, edition {row.edition}): {why}"
    for ident in sorted(told.keys() - found - account.erased("papers")):
        yield f"the paper {ident}: the record tells of it, and it is not there"


def _of_paper(row: AnyRow, told: Body | None) -> Iterator[str]:
    if told is None:
        yield "no entry of the record tells of it"
        return
    if names := differing(told, {name: getattr(row, name) for name in TOLD_OF_PAPER}):
        yield f"the record tells it otherwise ({', '.join(names)})"
    if not row.sha256 == told.get("sha256") == sha256(row.content).hexdigest():
        yield "its bytes are not those that the record says were sealed"
    if digest_of(row.facts) != row.facts_sha256:
        yield "what it is said to be drawn from was changed"


def pictures_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Pictures of which a file is gone without an erasure, or is another one than was added."""
    told, found, erased = account.of(Kind.PICTURE_ADDED), set(), account.erased("pictures")
    for row in all_pictures(conn, account.meet):
        account.held["picture"] += 1
        found.add(row.id)
        for why in _of_picture(row, told.get(row.id), is_erased=row.id in erased):
            yield f"the picture {row.id}: {why}"
    for ident in sorted(told.keys() - found):
        yield f"the picture {ident}: the record tells of it, and it is not there"


def _of_picture(row: AnyRow, told: Body | None, *, is_erased: bool) -> Iterator[str]:
    if told is None:
        yield "no entry of the record tells of it"
        return
    if names := differing(told, {name: getattr(row, name) for name in TOLD_OF_PICTURE}):
        yield f"the record tells it otherwise ({', '.join(names)})"
    files = (("as it came", row.original, row.sha256), ("as shown", row.shown, row.shown_sha256))
    for which, content, digest in files:
        if content is None and not is_erased:
            yield f"its file {which} is gone, and no entry says that it was erased"
        elif content is not None and sha256(content).hexdigest() != digest:
            yield f"its file {which} is not the one that was added"
