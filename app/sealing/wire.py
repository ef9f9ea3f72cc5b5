"""Seals and sealed papers as they go over HTTP."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from app.ids import MeetId, PaperId, SealId
from app.wire import Wire


class SealOut(Wire):
    """A seal of the meet, as far as it is public: what papers and heads are checked by."""

    id: SealId
    number: int
    certificates: str = Field(description="PEM: the certificate that seals, then its issuers")
    fingerprint: str = Field(description="SHA-256 of the certificate that seals, in hex")
    verifier_key: str = Field(description="C2SP verifier key of the record's checkpoints")
    made_at: datetime
    is_in_use: bool


class SealsOut(Wire):
    """All seals that the meet has had, the one in use last."""

    seals: list[SealOut]


class PaperOut(Wire):
    """A paper that was sealed. The same bytes are given out whenever it is asked for."""

    id: PaperId
    meet: MeetId
    kind: str
    subject: str = Field(description="the id of the ruling, announcement … that it tells of")
    sheet: str
    edition: int
    sha256: str
    seal: SealId
    head_size: int = Field(description="of the record's head that it shows")
    level: str = Field(description="baseline of ETSI EN 319 142-1 that its last seal reached")
    sealed_at: datetime


class PapersOut(Wire):
    """Papers by the order in which they were sealed, a page at a time."""

    papers: list[PaperOut]
    next: str | None = None
