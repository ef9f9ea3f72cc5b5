"""How is a paper sealed, so that tools of others tell who sealed it and that nothing was changed?

As PAdES (ETSI EN 319 142-1): baseline B-B, B-T where a time-stamp authority stamps the seal, and
B-LTA where evidence is given that the paper is to take along (`lasting`).
A seal is added to the file as an incremental update (ISO 32000-1, 7.5.6), so a paper that was
sealed before keeps its earlier seals, valid, and its earlier bytes as its beginning. What the paper
says is left to the forms, where keys lie and what stands in the record to others.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.forms.certificates import SealingKey
from app.forms.cms import KeptKey
from app.forms.lasting import Evidence, make_last
from app.forms.level import Level
from app.forms.seal_box import SealInBox
from app.forms.signature_field import Attested, add_signature
from app.forms.time_stamps import LARGEST_TOKEN, NotStamped, TimeStampAuthority

__all__ = ["Attested", "Evidence", "Level", "SealInBox", "Sealed", "Sealer"]

NOT_ASKED = "no authority is set"
RESTS = "the authority failed less than a minute before"
REST_AFTER_FAILURE = timedelta(minutes=1)
"""While an authority fails, each paper would wait for it anew."""


@dataclass(frozen=True, slots=True)
class Sealed:
    """A sealed paper: its bytes, its seal's name in it, and what the seal reached.

    `stamped_at` is the authority's word; `not_stamped` says why a stamp is not there.
    """

    content: bytes
    seal: str
    level: Level
    stamped_at: datetime | None
    not_stamped: str


class Sealer:
    """Seals with one key, which is loaded once; may be used by several threads.

    An authority is asked for stamps. Where `evidence` is given as well, each paper takes it along.
    """

    def __init__(
        self,
        key: SealingKey,
        authority: TimeStampAuthority | None = None,
        evidence: Evidence | None = None,
    ) -> None:
        self._key = KeptKey(key)
        self._authority = authority
        self._evidence = evidence
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
        at = stamping.stamped_at
        level = Level.B_B if at is None else Level.B_T
        sealed = Sealed(signed.content, signed.field, level, at, stamping.why_not)
        sealed = self._with_evidence(sealed, stamping)
        self._rest_after(stamping, sealed)
        return sealed

    def may_better(self, level: Level, now: datetime) -> bool:
        """Whether a paper of this level may reach more, sealed anew: not while the authority is
        left alone.
        """
        if self._authority is None or (self._rests_until is not None and now < self._rests_until):
            return False
        return (Level.B_T if self._evidence is None else Level.B_LTA).is_above(level)

    def _with_evidence(self, sealed: Sealed, stamping: _Stamping) -> Sealed:
        """The paper that takes its evidence along, where that is wanted and can be stamped."""
        if self._evidence is None or stamping.authority is None or stamping.stamped_at is None:
            return sealed
        try:
            lasting = make_last(sealed.content, stamping.authority, self._evidence, stamping.now)
        except NotStamped as error:
            return replace(sealed, not_stamped=str(error))
        return replace(sealed, content=lasting, level=Level.B_LTA)

    def _stamping(self, now: datetime) -> _Stamping:
        if self._authority is None:
            return _Stamping(None, now, why_not=NOT_ASKED)
        if self._rests_until is not None and now < self._rests_until:
            return _Stamping(None, now, why_not=RESTS)
        return _Stamping(self._authority, now)

    def _rest_after(self, stamping: _Stamping, sealed: Sealed) -> None:
        if stamping.authority is not None:
            failed = bool(sealed.not_stamped)
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
