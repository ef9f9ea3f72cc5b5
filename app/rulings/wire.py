"""Rulings and disqualifications as they go over HTTP."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated

from pydantic import Field, model_validator

from app.access.sign_wire import SIGNED_BY_PASSKEY, Signable, SignedWithOut
from app.ids import (
    CaseId,
    ChosenId,
    DecisionId,
    DisqualificationId,
    HeatId,
    OfficialId,
    RulingId,
    TeamId,
)
from app.rules.observation import Infringement
from app.rulings.states import DisqualificationState
from app.wire import Reasons, Wire, shown

EFFECT = Field(description="what stands on the result: “DQ TR24.7”, “L”, or “no disqualification”")


class Verdict(StrEnum):
    """The head official's decision on a case."""

    CONFIRMED = "confirmed"
    DISMISSED = "dismissed"


class RulingIn(Signable):
    """A ruling on a case, signed with the PIN."""

    model_config = shown(
        {"verdict": "confirmed", "reasons": "Seen by two umpires, independently.", "pin": "480213"},
        {"verdict": "dismissed", "reasons": "The line was not in view.", "pin": "480213"},
        {
            "verdict": "confirmed",
            "reasons": "Seen by two umpires, independently.",
            "shown_at": "2026-06-13T12:03:22.000000Z",
            "device_signature": SIGNED_BY_PASSKEY,
        },
        {
            "verdict": "confirmed",
            "infringement": "lane_infringement",
            "separate": 2,
            "reasons": "Two steps on the line, one in each bend.",
            "pin": "480213",
        },
        {
            "verdict": "dismissed",
            "reasons": "The video shows the baton inside the zone.",
            "reconsiders": "01890a5d-ac96-774b-bcce-b302099a8057",
            "pin": "480213",
        },
    )

    verdict: Verdict
    infringement: Infringement | None = Field(
        default=None,
        description="what is confirmed; may be left out where all reports say the same",
    )
    separate: Annotated[int, Field(ge=0, le=10)] | None = Field(
        default=None,
        description="how many separate lane infringements are confirmed; two umpires may have "
        "seen the same one. 0 where it is one that was noted in this heat before. Left out, it is "
        "one, unless the reports may tell of more: then the number is asked for",
    )
    earlier_run: bool = Field(
        default=False,
        description="the word that is needed to confirm what was reported of a recalled start, or "
        "of a race that is run again, only",
    )
    reasons: Reasons
    reconsiders: ChosenId | None = Field(
        default=None, description="the earlier ruling on this case that this one replaces"
    )

    @model_validator(mode="after")
    def _dismissal_names_nothing(self) -> RulingIn:
        if self.verdict is Verdict.DISMISSED and self.infringement is not None:
            raise ValueError("a dismissal confirms no infringement; leave it out")
        if self.verdict is Verdict.DISMISSED and self.separate is not None:
            raise ValueError("a dismissal counts no infringements; leave the number out")
        return self


class RulingOut(Wire):
    """A ruling as stored."""

    id: RulingId
    case: CaseId
    case_number: int
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    team: TeamId | None
    team_name: str | None
    lane: int | None
    official: OfficialId
    official_name: str
    verdict: Verdict
    infringement: Infringement | None
    infringement_title: str | None
    rule: str | None
    effect: str = EFFECT
    edition: str
    separate: int | None = Field(
        description="how many separate lane infringements it confirms; null on a dismissal and "
        "where it is about anything else: only those are counted"
    )
    noted_before: int = Field(description="lane infringements that stood against the team then")
    rests_on: list[RulingId] = Field(
        description="the rulings whose notes L made this one a disqualification"
    )
    is_shaken: bool = Field(
        description="true: look at it again, for its heat was held back since, no report of "
        "this team in it stands any more, or what it counts of lane infringements has changed"
    )
    shakes: list[RulingId] = Field(
        description="the other standing rulings on this team that are shaken now"
    )
    reasons: str
    statement_digest: str = Field(description="SHA-256 of the signed statement's RFC 8785 form")
    signed_with: SignedWithOut
    ruled_at: datetime
    reconsiders: RulingId | None
    replaced_by: RulingId | None
    disqualification: DisqualificationId | None
    decided_by: DecisionId | None = Field(
        description="the decision on a protest or an appeal that set its disqualification aside, "
        "or put it in force again"
    )


class StandingRulingOut(Wire):
    """A ruling that stands in a heat, as whoever takes in a protest looks for it."""

    id: RulingId
    case: CaseId
    case_number: int
    lane: int | None
    team: TeamId | None = Field(description="null: a case was dismissed that had no team yet")
    team_name: str | None
    verdict: Verdict
    infringement_title: str | None = Field(description="what was confirmed; null on a dismissal")
    rule: str | None
    effect: str = EFFECT
    since: str | None = Field(
        description="what a decision on a protest or an appeal has made of its disqualification; "
        "null where none has"
    )
    official: OfficialId
    official_name: str
    ruled_at: datetime
    ruled_at_local: str


class StandingRulingsOut(Wire):
    """The rulings that stand in a heat, confirmed or dismissed, in the order of lanes."""

    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    rulings: list[StandingRulingOut]


class DisqualificationOut(Wire):
    """A disqualification and whether it counts."""

    id: DisqualificationId
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    team: TeamId
    team_name: str
    lane: int
    take_over: int | None
    infringement: Infringement
    rule: str
    state: DisqualificationState
    since: datetime
    by_ruling: RulingId | None = Field(description="null where a decision made it")
    by_decision: DecisionId | None = Field(
        description="the decision that made it, or put it in force again"
    )
    set_aside_by: RulingId | DecisionId | None
    version: int
