"""What goes over HTTP about appeals: the jury's panel, votes, deposit, decisions and dossier."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from app.access.sign_wire import Signable
from app.appeals.orders import Orders
from app.appeals.states import AppealState
from app.appeals.wire import (
    CORRECTIONS,
    DONE_ALREADY,
    HEAT,
    TEAM,
    THING,
    DecisionOut,
    JurysDecisionOut,
    Mark,
    ProtestOut,
    Timeliness,
    insist_orders_fit,
)
from app.ids import (
    AppealId,
    ChosenId,
    HeatId,
    OfficialId,
    ProtestId,
    TeamId,
    VoteId,
)
from app.reports.wire import CaseOut, HeatPostsOut
from app.results.announcement_wire import AnnouncementOut
from app.results.correction_wire import CorrectionOut
from app.results.wire import ResultOut, WindowOut
from app.rounds.wire import ConsequencesOut
from app.rulings.wire import DisqualificationOut, RulingOut
from app.wire import Name, OptionalName, PhoneTime, Reasons, Receipt, Wire, shown


class DepositPaidIn(Wire):
    """The deposit that was received for an appeal."""

    model_config = shown({"amount": 100, "currency": "USD", "receipt": "R-17"})

    amount: Annotated[int, Field(ge=1, le=999_999)]
    currency: Annotated[str, Field(pattern="^[A-Z]{3}$", description="ISO 4217, such as USD")]
    receipt: Receipt
    received_at: PhoneTime | None = Field(default=None, description="left out, it is now")


class ReceiptCorrectionIn(Signable):
    """The number of a deposit's receipt, where that had been typed wrongly."""

    model_config = shown(
        {"receipt": "R-17", "reasons": "Typed R-71; the slip says R-17.", "pin": "480213"}
    )

    receipt: Receipt
    reasons: Reasons


class DepositCorrectionIn(Signable):
    """When a deposit was received, where that had been typed wrongly."""

    model_config = shown(
        {
            "received_at": "2026-06-13T14:40:00+02:00",
            "reasons": "Entered with the next one; the slip says 14:40.",
            "pin": "480213",
        }
    )

    received_at: PhoneTime = Field(description="when it was truly received")
    reasons: Reasons


class AppealIn(Wire):
    """An appeal to the jury against the referee's decision on a protest."""

    model_config = shown(
        {
            "protest": THING,
            "team": TEAM,
            "lodged_by": "Mira Anchor",
            "words": "The video was not looked at.",
            "sought": [{"order": "set aside", "disqualification": THING}],
            "deposit": {"amount": 100, "currency": "USD", "receipt": "R-17"},
        }
    )

    protest: ChosenId
    team: ChosenId
    lodged_by: Name
    lodged_at: PhoneTime | None = Field(default=None, description="left out, it is now")
    words: Reasons
    sought: Orders = Field(
        default=[],
        description="what the team asks for. Left out: that the referee's orders are undone, or "
        "that the disqualification is set aside",
    )
    deposit: DepositPaidIn | None = Field(default=None, description="may follow")


class AdmissionIn(Signable):
    """The jury's word on an appeal that came late, without deposit or from outside; signed."""

    model_config = shown({"admit": True, "reasons": "The desk was closed.", "pin": "480213"})

    admit: bool
    reasons: Reasons


class PanelIn(Wire):
    """Who decides an appeal. The secretary has no vote and may come from outside; one who is an
    official of the meet can sign the decision as well.
    """

    model_config = shown(
        {"chair": HEAT, "members": [TEAM, THING], "secretary": "Noor Quill", "substitutes": []}
    )

    chair: ChosenId
    members: Annotated[list[ChosenId], Field(min_length=2, max_length=6)] = Field(
        description="the members beside the chair"
    )
    secretary: OptionalName = Field(
        default="", description="who writes the minutes and is no official of the meet"
    )
    secretary_official: ChosenId | None = Field(
        default=None,
        description="instead of `secretary`: the official who writes the minutes, and may sign the "
        "decision beside the chair (`PUT …/decisions/{id}/signatures/{id}`)",
    )
    substitutes: Annotated[list[ChosenId], Field(max_length=7)] = Field(default_factory=list)

    @model_validator(mode="after")
    def _nobody_twice(self) -> PanelIn:
        everybody = [self.chair, *self.members, *self.substitutes]
        if len(set(everybody)) != len(everybody):
            raise ValueError("somebody stands twice in this panel")
        if self.secretary_official in everybody:
            raise ValueError("the secretary has no vote, and so no other place in this panel")
        if self.secretary and self.secretary_official is not None:
            raise ValueError("name the secretary once, by name or as an official of the meet")
        return self


class StepAsideIn(Wire):
    """A member withdraws from an appeal, and who takes the place."""

    model_config = shown({"reasons": "My club would gain the lane.", "replaced_by": TEAM})

    reasons: Reasons
    replaced_by: ChosenId | None = Field(default=None, description="one of the substitutes")


class VoteIn(Signable):
    """A member's vote, signed with the PIN."""

    model_config = shown({"vote": "upheld", "pin": "480213"})

    vote: Literal["upheld", "rejected"]


class JuryDecisionIn(Signable):
    """The jury's decision, signed by its chair with the PIN."""

    model_config = shown(
        {
            "verdict": "upheld",
            "reasons": "The video shows the baton inside the zone.",
            "orders": [{"order": "set aside", "disqualification": THING}],
            "pin": "480213",
        },
        {
            "verdict": "rejected",
            "reasons": "The evidence is not conclusive, so the referee's decision stands.",
            "pin": "480213",
        },
    )

    verdict: Literal["upheld", "rejected"]
    reasons: Reasons
    orders: Orders = Field(default=[], description="what follows; needed where it is upheld")
    done_already: Reasons | None = Field(default=None, description=DONE_ALREADY)
    deposit: Literal["returned", "forfeited"] | None = Field(
        default=None, description="left out, what the edition says"
    )

    @model_validator(mode="after")
    def _orders_fit_the_verdict(self) -> JuryDecisionIn:
        insist_orders_fit(self.verdict, self.orders, self.done_already)
        return self


class ReopenIn(Signable):
    """The jury looks at its decision again, on new conclusive evidence; signed by its chair."""

    model_config = shown(
        {
            "evidence": "A second camera shows lane 4 from the side.",
            "allowed_by": "Ines Compass, chair of the jury",
            "reasons": "The final has not been run yet.",
            "pin": "480213",
        }
    )

    evidence: Reasons = Field(description="what is new")
    allowed_by: Name = Field(description="who allowed it")
    reasons: Reasons = Field(description="why it is conclusive, and a change still practicable")


class PanelMember(Wire):
    """One seat of the panel."""

    official: OfficialId
    name: str
    affiliation: str
    part: Literal["chair", "member", "substitute"]
    state: Literal["sits", "asked to withdraw", "withdrawn", "waits"]
    because: str = Field(description="why this member is asked to withdraw, or has withdrawn")
    has_voted: bool
    is_juror: bool = Field(description="false: the organiser has taken the role jury since")


class PanelOut(Wire):
    """The panel of an appeal as it stands."""

    members: list[PanelMember]
    secretary: str
    secretary_official: OfficialId | None
    size: int
    quorum: int
    chair_casts: bool
    affected: list[str] = Field(
        description="the affiliations of all teams that the consequence can touch"
    )
    votes: int


class CandidateOut(Wire):
    """An official who can be named for a panel, or why not."""

    official: OfficialId
    name: str
    affiliation: str
    can_sit: Literal["yes", "asked to withdraw", "no"] = Field(
        description="“asked to withdraw”: can be named, but has no vote while that is so"
    )
    because: str = Field(description="why not, or why asked to withdraw; empty for who can sit")


class CandidatesOut(Wire):
    """Who can be named for the panel of one appeal."""

    size: int = Field(description="how many sit, the chair among them")
    jurors: list[CandidateOut] = Field(description="who holds the role jury, by name")
    secretaries: list[CandidateOut] = Field(
        description="the officials who can write the minutes: who did not judge in the matter"
    )


class DepositOut(Wire):
    """What was asked of the appellant, what was received, and what became of it."""

    asked: str = Field(description="“100 USD”; empty where none is asked")
    rule: str
    received: str
    receipt: str
    received_at: datetime | None
    outcome: Literal["held", "returned", "forfeited", "not asked", "to come", "not received"] = (
        Field(
            description="“to come” while the appeal still takes it; “not received” once it was "
            "decided, turned away or taken back without it"
        )
    )


class AppealOut(Wire):
    """An appeal with what became of it."""

    id: AppealId
    number: int
    protest: ProtestId
    protest_number: int
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    team: TeamId
    team_name: str
    affiliation: str
    lane: int | None
    is_referred: bool = Field(
        description="whether the referee referred the protest to the jury: then nobody appeals, "
        "`taken_by_name` is the referee who did and `lodged_at` when, and `lodged_by` is who "
        "lodged the protest"
    )
    lodged_by: str
    lodged_at: datetime
    lodged_at_local: str
    entered_at: datetime
    taken_by: OfficialId
    taken_by_name: str
    words: str
    sought: list[dict[str, Any]]
    timeliness: Timeliness
    marks: list[Mark]
    state: AppealState
    possible: list[str] = Field(description="what can be done now")
    awaits: list[str] = Field(
        description="what is missing before it is decided, a sentence each: “A panel is to be "
        "named.”; then that the result which the decision changed is to be announced"
    )
    deposit: DepositOut
    panel: PanelOut | None
    sitting: int
    admitted: dict[str, Any] | None
    reopened: dict[str, Any] | None
    withdrawn: dict[str, Any] | None
    decision: DecisionOut | None = Field(description="the jury's decision that stands")
    earlier_decisions: list[JurysDecisionOut] = Field(
        description="those before the one that stands, by sitting; while it is reopened all of them"
    )
    corrections: list[CorrectionOut] = CORRECTIONS
    version: int


class AppealsOut(Wire):
    """Appeals, the one that was lodged last first."""

    appeals: list[AppealOut]
    next: Annotated[int | None, Field(description="the next page's `before`")]


class VoteOut(Wire):
    """A vote that was cast."""

    id: VoteId
    appeal: AppealId
    sitting: int
    official: OfficialId
    vote: Literal["upheld", "rejected"]
    cast_at: datetime


class DossierOut(Wire):
    """Everything the jury needs for one appeal, in one document."""

    appeal: AppealOut
    protest: ProtestOut
    decisions: list[DecisionOut]
    posts: list[HeatPostsOut] = Field(
        description="what each post showed, white, yellow or nothing, also where nobody wrote a "
        "report: in its heat, and in the round's other heats that it can move"
    )
    cases: list[CaseOut]
    rulings: list[RulingOut]
    disqualifications: list[DisqualificationOut]
    announcements: list[AnnouncementOut]
    result_now: ResultOut | None
    other_results_now: list[ResultOut] = Field(
        description="of the round's other heats that it can move; their announcements and windows "
        "stand with those of its own heat"
    )
    if_granted: ConsequencesOut | None = Field(
        description="what would move if the team got what it asks for"
    )
    if_rejected: ConsequencesOut | None = Field(
        description="what would move if it is rejected, where it was reopened: what the jury had "
        "ordered is taken back. Null else: then rejecting it moves nothing"
    )
    note: str = Field(
        description="why one of the two is missing, and what stays where it was reopened; empty "
        "where nothing is to be said"
    )
    windows: list[WindowOut]
