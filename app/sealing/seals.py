"""With what does a meet seal? Its seal is made the first time that something is to be sealed.

Private keys lie in the key store, public halves in the database. Where the newest seal's key is not
on this server, or locked, nothing is sealed: a new seal in its place must be somebody's act, since
whoever checks a paper later goes by it. Everything else goes on meanwhile.

All of it waits for the store and reckons, so it is done in a thread, not on the event loop.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from app.config import Settings
from app.forms.certificates import (
    SealingKey,
    certificates_as_pem,
    fingerprint_of,
    make_sealing_key,
)
from app.forms.level import Level
from app.ids import MeetId
from app.meets.queries import meet_facts
from app.record.log import Head
from app.record.notes import NoteKey, checkpoint, origin_of
from app.record.queries import head_of
from app.refusals import Malformed, Refusal, Unavailable
from app.sealing.actions import (
    SERVER,
    PublicSeal,
    insist_not_replaced,
    keep_checkpoint,
    take_into_use,
)
from app.sealing.key_store import KeyStore, Locked, record_key
from app.sealing.queries import seal_in_use, signed_head
from app.sealing.rewriting import Agreement, rewritten
from app.sealing.stamping import Stamping
from app.sealing.wire import SealOut
from app.store.store import Store

if TYPE_CHECKING:  # what seals PDFs takes a third of a second to import: not before it is needed
    from app.forms.seal import Sealer

log = logging.getLogger(__name__)

LOST = (
    "The key of this meet's seal is not on this server, so nothing can be sealed. Put back the "
    "folder with the seals; or, where it is lost, stop the server and make another seal with "
    "`seal MEET --because WHY`. All else goes on."
)
LOCKED = (
    "The key of this meet's seal is locked with another passphrase, so nothing can be sealed. "
    "Start the server with the passphrase that it was made with; all else goes on."
)
NOT_KEPT = (
    "The key of this meet's seal cannot be read or kept in ZONEDOCKET_SEAL_FOLDER, so nothing can "
    "be sealed. The server's log says which file and why: put it back from a copy of that folder; "
    "or, where there is none, stop the server and make another seal with `seal MEET --because "
    "WHY`. All else goes on."
)
ANOTHER = (
    "The key on this server gives another key for the record's heads than was published with this "
    "meet's seal, so nothing can be sealed. Stop the server and make another seal with `seal MEET "
    "--because WHY`. All else goes on."
)
NO_EVIDENCE = (
    "The file that ZONEDOCKET_TIMESTAMP_EVIDENCE names cannot be used, so nothing can be sealed. "
    "The server's log says why; all else goes on."
)


@dataclass(frozen=True, slots=True)
class OpenSeal:
    """A meet's seal, ready to be used: for papers, and for the heads of its record."""

    seal: SealOut
    papers: Sealer
    notes: NoteKey


def key_store(settings: Settings) -> KeyStore:
    """Where private keys lie by these settings: in memory alone where there is no passphrase."""
    passphrase = settings.seal_passphrase.get_secret_value()
    return KeyStore(settings.seal_folder, passphrase) if passphrase else KeyStore()


@contextmanager
def _failing_in_words(what: str) -> Iterator[None]:
    """What a disk or a file's content refuses is Unavailable, and the log says which file it is."""
    try:
        yield
    except Locked as error:
        log.warning("%s", error)
        raise Unavailable(LOCKED) from error
    except (OSError, ValueError, Malformed) as error:
        log.warning("%s %s", what, error)
        raise Unavailable(what) from error


def public_half(key: SealingKey, meet: MeetId) -> PublicSeal:
    """What everybody may know of a seal."""
    return PublicSeal(
        certificates_as_pem(key.certificates),
        fingerprint_of(key.certificate),
        note_key(key, meet).verifier_key,
    )


def note_key(key: SealingKey, meet: MeetId) -> NoteKey:
    """What signs the heads of a meet's record."""
    return NoteKey(origin_of(meet), record_key(key, meet))


class Seals:
    """The meets' seals, as this process uses them."""

    def __init__(self, store: Store, keys: KeyStore, stamping: Stamping | None = None) -> None:
        self._store = store
        self._keys = keys
        self._stamping = stamping or Stamping()
        self.agreement = Agreement()
        self._open: dict[MeetId, OpenSeal] = {}

    def of(self, meet: MeetId) -> OpenSeal:
        """The meet's seal; Unavailable where its key is not here, or locked."""
        seal = self._store.read_now(lambda conn: seal_in_use(conn, meet)) or self._first(meet)
        known = self._open.get(meet)
        if known is None or known.seal.id != seal.id:
            known = self._open[meet] = self._opened(meet, seal)
        return known

    def may_better(self, meet: MeetId, level: Level, now: datetime) -> bool:
        """Whether a paper that was sealed at this level may be stamped better now."""
        if self._stamping.authority is None:
            return False
        try:
            return self.of(meet).papers.may_better(level, now)
        except Unavailable:
            return False  # what was sealed is given out as it is

    def known_signer(self, meet: MeetId) -> NoteKey | None:
        """Who signs for the meet, None where it has no seal yet; Unavailable as with `of`."""
        seal = self._store.read_now(lambda conn: seal_in_use(conn, meet))
        return None if seal is None else self._opened(meet, seal).notes

    def _opened(self, meet: MeetId, seal: SealOut) -> OpenSeal:
        from app.forms.seal import Sealer  # noqa: PLC0415

        with _failing_in_words(NOT_KEPT):
            key = self._keys.find(meet, seal.fingerprint)
        if key is None:
            raise Unavailable(LOST)
        notes = note_key(key, meet)
        if notes.verifier_key != seal.verifier_key:
            raise Unavailable(ANOTHER)
        with _failing_in_words(NO_EVIDENCE):
            evidence = self._stamping.evidence(key)
        sealer = Sealer(key, self._stamping.authority, evidence)
        return OpenSeal(seal, sealer, notes)

    def _first(self, meet: MeetId) -> SealOut:
        name = self._store.read_now(lambda conn: meet_facts(conn, meet)).name
        return self.take(meet, make_sealing_key(name, self._store.clock.now()))

    def take(self, meet: MeetId, key: SealingKey, instead_because: str = "") -> SealOut:
        """Seal with this key from now on: it is kept before anybody can be told of it. Where the
        meet has a seal, that one stays in use unless it is said why this one comes instead.
        StateConflict for a seal that another has replaced before.
        """
        made = public_half(key, meet)
        self._store.read_now(lambda conn: insist_not_replaced(conn, meet, made))
        with _failing_in_words(NOT_KEPT):
            self._keys.keep(meet, key)
        taken = take_into_use(made, instead_because=instead_because)
        seal = self._store.act_now(meet, SERVER, taken)
        if seal.fingerprint != made.fingerprint:  # another process was first
            self._keys.forget(meet, made.fingerprint)
        return seal

    def signed(self, meet: MeetId, head: Head) -> str:
        """The signed note of a head of the meet's record, which is kept; Unavailable where the meet
        cannot seal, or the record's entries do not lead to this head, and to the newest before it
        that was signed.
        """
        self._store.read_now(lambda conn: self.agreement.insist_on(conn, meet, head))
        known = self._store.read_now(lambda conn: signed_head(conn, meet, head.size))
        if known is None:
            body = checkpoint(meet, head.size, head.root, self._store.clock.now()).body
            note = self.of(meet).notes.sign_note(body)
            known = self._store.act_now(meet, SERVER, keep_checkpoint(head, note))
        if known.root != head.root:
            raise rewritten(meet, head)
        return known.note

    def sign_present_head(self, meet: MeetId) -> None:
        """Sign the record as it stands, where nothing waits for it: what cannot be signed now is
        signed with the next paper. The act that it comes after is stored, so nothing that fails
        here may take that act's answer.
        """
        try:
            self.of(meet)  # first: a seal that is made now has an entry of its own in the record
            self.signed(meet, self._store.read_now(lambda conn: head_of(conn, meet)))
        except Refusal as error:
            log.warning("the head of the record of meet %s was not signed: %s", meet, error.detail)
        except Exception:
            log.exception("the head of the record of meet %s was not signed", meet)
