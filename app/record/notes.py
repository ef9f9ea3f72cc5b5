"""Signed notes and checkpoints: how the record's head is written down so that anybody can check it.

Pure. The forms are C2SP's signed note (c2sp.org/signed-note) and checkpoint
(c2sp.org/tlog-checkpoint), signed with Ed25519 (RFC 8032). Who holds the private keys is left to
the seal; who is believed, to whoever opens a note.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Protocol

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from app.clock import rfc3339
from app.ids import MeetId

ED25519 = b"\x01"
"""The signature type of C2SP's signed note that this program writes and reads."""

DASH = "\N{EM DASH}"
MOST_SIGNATURES = 100
LONGEST_NOTE = 64 * 1024
_NUMBER = re.compile(r"0|[1-9][0-9]{0,15}")
_KEY_ID = re.compile(r"[0-9a-f]{8}")


class BadNote(ValueError):
    """A text that is no note, or a note that is not to be believed; says why."""


class NoteSigner(Protocol):
    """Who signs notes in a meet's name, and by which key that is checked."""

    @property
    def verifier_key(self) -> str: ...

    def sign_note(self, text: str) -> str:
        """The text with a signature beneath it: a whole signed note."""
        ...


def origin_of(meet: MeetId) -> str:
    """How a meet's record, and the key that signs for it, are called in notes."""
    return f"zone-docket/{meet}"


@dataclass(frozen=True, slots=True)
class VerifierKey:
    """The public half of a key that signs notes, with its name."""

    name: str
    public: bytes

    @property
    def id(self) -> bytes:
        """The four bytes by which a signature says whose it is."""
        return sha256(self.name.encode() + b"\n" + ED25519 + self.public).digest()[:4]

    @property
    def text(self) -> str:
        """The key in one word: name, id and key, joined by plus signs."""
        key = base64.b64encode(ED25519 + self.public).decode()
        return f"{self.name}+{self.id.hex()}+{key}"

    @classmethod
    def parse(cls, text: str) -> VerifierKey:
        """The key of a text; BadNote for one that is malformed, or of another kind."""
        name, _, rest = text.partition("+")
        key_id, _, encoded = rest.partition("+")
        if not _is_name(name) or _KEY_ID.fullmatch(key_id) is None:
            raise BadNote("this is no verifier key")
        key = _decoded(encoded)
        if key[:1] != ED25519 or len(key) != 33:
            raise BadNote("this verifier key is not one of Ed25519")
        found = cls(name, key[1:])
        if found.id.hex() != key_id:
            raise BadNote("this verifier key does not fit its own id")
        return found

    def has_signed(self, text: str, signature: bytes) -> bool:
        """Whether a signature under this text is this key's."""
        try:
            Ed25519PublicKey.from_public_bytes(self.public).verify(signature, text.encode())
        except (InvalidSignature, ValueError):
            return False
        return True


class NoteKey:
    """A private key that signs notes under a name."""

    def __init__(self, name: str, private: Ed25519PrivateKey) -> None:
        if not _is_name(name):
            raise BadNote("a key's name has neither spaces nor plus signs, and is not empty")
        self._private = private
        self._public = VerifierKey(name, private.public_key().public_bytes_raw())

    @property
    def verifier_key(self) -> str:
        return self._public.text

    def sign_note(self, text: str) -> str:
        """A whole signed note; BadNote for a text that cannot be one's text."""
        _insist_on_text(text)
        signature = self._public.id + self._private.sign(text.encode())
        encoded = base64.b64encode(signature).decode()
        return f"{text}\n{DASH} {self._public.name} {encoded}\n"


def open_note(note: str, keys: Iterable[VerifierKey]) -> str:
    """The text of a note that at least one of these keys has signed.

    Signatures of other keys are ignored. BadNote for a malformed note, for one that none of the
    keys has signed, and where a signature in the name of one of them is not its own.
    """
    text, signatures = _parted(note)
    known = {(key.name, key.id): key for key in keys}
    is_believed = False
    for name, signature in signatures:
        key = known.get((name, signature[:4]))
        if key is None:
            continue
        if not key.has_signed(text, signature[4:]):
            raise BadNote(f"the signature of {name} does not fit this note")
        is_believed = True
    if not is_believed:
        raise BadNote("no key that is known has signed this note")
    return text


def _parted(note: str) -> tuple[str, list[tuple[str, bytes]]]:
    """A note's text and its signatures, which stand below its last empty line."""
    _insist_on_text(note)
    text, gap, below = note.rpartition("\n\n")
    lines = below.split("\n")
    if not gap or lines.pop() != "" or not 0 < len(lines) <= MOST_SIGNATURES:
        raise BadNote("this is no signed note")
    return f"{text}\n", [_signature(line) for line in lines]


def _insist_on_text(text: str) -> None:
    """Refuse what can stand in no note: other control characters than line ends, no end of line."""
    if len(text) > LONGEST_NOTE or not text.endswith("\n"):
        raise BadNote("a note ends with the end of a line, and is not longer than 64 KiB")
    if any(letter < " " and letter != "\n" for letter in text):
        raise BadNote("a note holds no control characters")
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise BadNote("a note is valid UTF-8") from error


def _signature(line: str) -> tuple[str, bytes]:
    dash, _, rest = line.partition(" ")
    name, _, encoded = rest.partition(" ")
    signature = _decoded(encoded)
    if dash != DASH or not _is_name(name) or len(signature) < 5:
        raise BadNote("a line below the note is no signature")
    return name, signature


def _decoded(text: str) -> bytes:
    try:
        decoded = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as error:
        raise BadNote("this is not base64") from error
    if base64.b64encode(decoded).decode() != text:
        raise BadNote("this base64 is written in another way than it should be")
    return decoded


def _is_name(name: str) -> bool:
    return bool(name) and "+" not in name and not any(letter.isspace() for letter in name)


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A record's head as it stands in a note; `extensions` are its further lines."""

    origin: str
    size: int
    root: bytes
    extensions: tuple[str, ...] = ()

    @property
    def body(self) -> str:
        """The note's text."""
        lines = [self.origin, str(self.size), base64.b64encode(self.root).decode()]
        return "".join(f"{line}\n" for line in (*lines, *self.extensions))

    @classmethod
    def parse(cls, body: str) -> Checkpoint:
        """The head that a note's text tells; BadNote where it is no checkpoint."""
        lines = body.split("\n")
        if lines.pop() != "" or len(lines) < 3 or "" in lines:
            raise BadNote("this note is no checkpoint")
        origin, size, root, *extensions = lines
        hashed = _decoded(root)
        if _NUMBER.fullmatch(size) is None or len(hashed) != 32:
            raise BadNote("this checkpoint tells no size, or no root")
        return cls(origin, int(size), hashed, tuple(extensions))


def checkpoint(meet: MeetId, size: int, root: str, now: datetime) -> Checkpoint:
    """The record's head at this instant, ready to be signed; the root comes in hex."""
    return Checkpoint(origin_of(meet), size, bytes.fromhex(root), (f"time {rfc3339(now)}",))
