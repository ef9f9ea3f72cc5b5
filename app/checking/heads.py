"""Does a record grow from its own head, are the seals those it tells of, and does it lead to every
head that was signed?
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from sqlalchemy import Connection

from app.checking.account import Account, differing
from app.ids import MeetId
from app.plurals import counted
from app.record.checkpoints import SignedHead, all_signed_heads
from app.record.kinds import Kind
from app.record.notes import BadNote, Checkpoint, VerifierKey, open_note, origin_of
from app.record.queries import grows_as_it_says, is_closed
from app.sealing.queries import seals_of
from app.sealing.wire import SealOut


def signed_sizes(conn: Connection, meet: MeetId) -> frozenset[int]:
    """The sizes of the heads that were signed."""
    return frozenset(head.size for head in all_signed_heads(conn, meet))


def head_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Subtrees that the record would grow from and that are not those of its head, and a head that
    takes entries of a meet that was erased as a whole, or takes none of another.
    """
    if not grows_as_it_says(conn, account.meet):
        yield "its head: the next entry would not lead on from it; what it grows from was changed"
    erasures = account.of_all(Kind.ERASED).values()
    is_erased = any(body.get("scope") == "the meet" for body in erasures)
    if is_closed(conn, account.meet) is not is_erased:
        yield f"its head: it says that the meet was {'not ' if is_erased else ''}erased as a whole"


def seals_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Seals that the record does not tell of, or tells otherwise."""
    told, stored = account.of(Kind.SEAL_MADE), seals_of(conn, account.meet).seals
    for seal in stored:
        where = account.left if told.get(seal.id, {}) is None else account.held
        where["seal"] += 1
        if seal.id not in told:
            yield f"seal {seal.number}: no entry of the record tells of it"
        elif names := differing(told[seal.id], _as_told(seal)):
            yield f"seal {seal.number}: the record tells it otherwise ({', '.join(names)})"
    for ident in sorted(told.keys() - {seal.id for seal in stored}):
        number = (told[ident] or {}).get("number")
        yield f"seal {number or ident}: the record tells of it, and it is not there"


def _as_told(seal: SealOut) -> dict[str, object]:
    return {
        "certificates": seal.certificates,
        "fingerprint": seal.fingerprint,
        "number": seal.number,
        "verifier_key": seal.verifier_key,
    }


def heads_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Signed heads that none of the record's seals signed, or that its entries do not lead to."""
    keys: list[VerifierKey] = []
    for seq, seal in account.of_all(Kind.SEAL_MADE).items():
        try:
            keys.append(VerifierKey.parse(str(seal.get("verifier_key"))))
        except BadNote as error:
            yield f"entry {seq}, of a seal: its key for heads cannot be read: {error}"
    for head in all_signed_heads(conn, account.meet):
        account.held["signed head"] += 1
        if why := _what_is_amiss(head, account, keys):
            yield f"the signed head of {counted(head.size, 'entry')}: {why}"


def _what_is_amiss(head: SignedHead, account: Account, keys: Collection[VerifierKey]) -> str:
    try:
        said = Checkpoint.parse(open_note(head.note, keys))
    except BadNote as error:
        return str(error)
    told = (said.origin, said.size, said.root.hex())
    if told != (origin_of(account.meet), head.size, head.root):
        return "its note tells another one"
    if head.size > account.checked.size:
        return f"the record has {counted(account.checked.size, 'entry')} only; its end was cut off"
    if account.checked.roots[head.size] != head.root:
        return "the entries do not lead to it; the record was rewritten behind it"
    return ""
