"""Rulings and disqualifications as they go over HTTP."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field, model_validator

from app.ids import CaseId, ChosenId, DisqualificationId, HeatId, OfficialId, RulingId, TeamId
from app.rules.observation import Infringement
from app.rulings.states import DisqualificationState
from app.wire import Pin, Reasons, Wire


class Verdict(StrEnum):
    """The head official's decision on a case."""

    CONFIRMED = "confirmed"
    DISMISSED = "dismissed"


class RulingIn(Wire):
    """A ruling on a case, signed with the PIN."""

    verdict: Verdict
    infringement: Infringement | None = Field(
        default=None,
        description="what is confirmed; may be left out where all reports say the same",
    )
    reasons: Reasons
    reconsiders: ChosenId | None = Field(
        default=None, description="the earlier ruling on this case that this one replaces"
    )
    pin: Pin

    @model_validator(mode="after")
    def _dismissal_names_nothing(self) -> RulingIn:
        if self.verdict is Verdict.DISMISSED and self.infringement is not None:
            raise ValueError("a dismissal confirms no infringement; leave it out")
        return self


class RulingOut(Wire):
    """A ruling as stored."""

    id: RulingId
    case: CaseId
    heat: HeatId
    team: TeamId | None
    lane: int | None
    official: OfficialId
    official_name: str
    verdict: Verdict
    infringement: Infringement | None
    infringement_title: str | None
    rule: str | None
    effect: str = Field(
        description="what stands on the result: “DQ TR24.7”, “L”, or “no disqualification”"
    )
    edition: str
    reasons: str
    statement_digest: str = Field(description="SHA-256 of the signed statement's RFC 8785 form")
    ruled_at: datetime
    reconsiders: RulingId | None
    replaced_by: RulingId | None
    disqualification: DisqualificationId | None


class DisqualificationOut(Wire):
    """A disqualification and whether it counts."""

    id: DisqualificationId
    heat: HeatId
    team: TeamId
    team_name: str
    lane: int
    infringement: Infringement
    rule: str
    state: DisqualificationState
    since: datetime
    by_ruling: RulingId
    set_aside_by: RulingId | None
    version: int
