"""How is a paper sealed, so that tools of others tell who sealed it and that nothing was changed?

As PAdES (ETSI EN 319 142-1): baseline B-B, and B-T where a time-stamp authority stamps the seal.
A seal is added to the file as an incremental update (ISO 32000-1, 7.5.6), so a paper that was
sealed before keeps its earlier seals, valid, and its earlier bytes as its beginning. What the paper
says is left to the forms, where keys lie and what stands in the record to others.

B-LT and above are not made: what they append after the seal makes readers say that not the whole
file is signed, and a meet's own certificate has no lists of revoked ones that could be appended.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from app.forms.certificates import SealingKey
from app.forms.cms import KeptKey
from app.forms.seal_box import SealInBox
from app.forms.signature_field import Attested, add_signature
from app.forms.time_stamps import LARGEST_TOKEN, NotStamped, TimeStampAuthority

__all__ = ["Attested", "Level", "SealInBox", "Sealed", "Sealer"]

NOT_ASKED = "no authority is set"
RESTS = "the authority failed less than a minute before"
REST_AFTER_FAILURE = timedelta(minutes=1)
"""While an authority fails, each paper would wait for it anew."""


class Level(StrEnum):
    """The baseline that a seal reached (EN 319 142-1, 6)."""

    B_B = "B-B"
    B_T = "B-T"


@dataclass(frozen=True, slots=True)
class Sealed:
    """A sealed paper: its bytes, its seal's name in it, and what the seal reached.

    `stamped_at` is the authority's word; where there is none, `not_stamped` says why.
    """

    content: bytes
    seal: str
    level: Level
    stamped_at: datetime | None
    not_stamped: str


class Sealer:
    """Seals with one key, which is loaded once; may be used by several threads."""

    def __init__(self, key: SealingKey, authority: TimeStampAuthority | None = None) -> None:
        self._key = KeptKey(key)
        self._authority = authority
        self._rests_until: datetime | None = None

    def seal(self, pdf: bytes, attested: Attested, shown: SealInBox | None = None) -> Sealed:
        """The paper with one more seal, which is shown in a box where one is given.

        It is sealed whether or not it can be stamped.
        """
        stamping = self._stamping(attested.at)
        room = LARGEST_TOKEN if stamping.authority is not None else 0
        signed = add_signature(pdf, self._key, attested, shown, stamping.stamp, room)
        if not signed.content.startswith(pdf):
            raise AssertionError("A seal has changed what it was added to.")
        self._rest_after(stamping)
        at = stamping.stamped_at
        level = Level.B_B if at is None else Level.B_T
        return Sealed(signed.content, signed.field, level, at, stamping.why_not)

    def _stamping(self, now: datetime) -> _Stamping:
        if self._authority is None:
            return _Stamping(None, now, why_not=NOT_ASKED)
        if self._rests_until is not None and now < self._rests_until:
            return _Stamping(None, now, why_not=RESTS)
        return _Stamping(self._authority, now)

    def _rest_after(self, stamping: _Stamping) -> None:
        if stamping.authority is not None:
            failed = stamping.stamped_at is None
            self._rests_until = stamping.now + REST_AFTER_FAILURE if failed else None


@dataclass(slots=True)
class _Stamping:
    """One request for a stamp, and what came of it."""

    authority: TimeStampAuthority | None
    now: datetime
    stamped_at: datetime | None = None
    why_not: str = ""

    def stamp(self, signature: bytes) -> bytes | None:
        """The token over a signature; nothing where there is none, and `why_not` says why."""
        if self.authority is None:
            return None
        try:
            stamp = self.authority.stamp(hashlib.sha256(signature).digest(), self.now)
        except NotStamped as error:
            self.why_not = str(error)
            return None
        self.stamped_at = stamp.at
        return stamp.token
