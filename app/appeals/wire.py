"""Protests, decisions, appeals and votes as they go over HTTP."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from app.appeals.orders import Orders
from app.appeals.states import AppealState, ProtestState
from app.ids import (
    AppealId,
    CaseId,
    ChosenId,
    DecisionId,
    HeatId,
    OfficialId,
    ProtestId,
    RulingId,
    TeamId,
    VoteId,
    WindowId,
)
from app.reports.wire import CaseOut
from app.results.wire import AnnouncementOut, ResultOut, WindowOut
from app.rounds.wire import ConsequencesOut
from app.rulings.wire import DisqualificationOut, RulingOut
from app.wire import Name, OptionalName, PhoneTime, Pin, Reasons, Receipt, Wire, Words, shown

HEAT = "01890a5d-ac96-774b-bcce-b302099a8057"
TEAM = "01890a5d-ac96-774b-bcce-b302099a8058"
THING = "01890a5d-ac96-774b-bcce-b302099a8059"
HEARD_ALL_THE_SAME = "where it came late or from outside the round: why it is heard all the same"


class About(StrEnum):
    """What a protest is about."""

    RULING = "ruling"
    PLACING = "placing"
    CONDUCT = "conduct"
    OTHER = "other"


class Capacity(StrEnum):
    """As what somebody lodges a protest (World Athletics TR8.3)."""

    ATHLETE = "athlete"
    FOR_ATHLETE = "on behalf of the athletes"
    REPRESENTATIVE = "team representative"


class Verdict(StrEnum):
    """What became of a protest or an appeal."""

    UPHELD = "upheld"
    REJECTED = "rejected"
    REFERRED = "referred"


class Instance(StrEnum):
    """Who decided."""

    REFEREE = "referee"
    JURY = "jury"


class Mark(StrEnum):
    """What is odd about a protest or an appeal; it is kept all the same."""

    LATE = "late"
    OUTSIDE = "outside"
    NO_DEPOSIT = "no deposit"


DONE_ALREADY = (
    "where nothing is left to order, since an earlier decision or ruling has done it: which one"
)


def insist_orders_fit(verdict: str, orders: Sequence[object], done_already: str | None) -> None:
    """ValueError unless what is upheld, and only that, says what follows from it."""
    if verdict != Verdict.UPHELD and (orders or done_already):
        raise ValueError("only what is upheld has orders: leave them out, or uphold it")
    if verdict == Verdict.UPHELD and bool(orders) == bool(done_already):
        raise ValueError(
            "what is upheld says in “orders” what follows, or in “done_already” what has done it"
        )


class ProtestIn(Wire):
    """A protest as the desk or the referee takes it in."""

    model_config = shown(
        {
            "heat": HEAT,
            "team": TEAM,
            "about": "ruling",
            "ruling": THING,
            "lodged_by": "Mira Anchor",
            "capacity": "team representative",
            "words": "The baton was inside the zone: we have a video.",
        },
        {"heat": HEAT, "team": TEAM, "about": "placing", "lodged_by": "Mira Anchor"},
        {
            "heat": HEAT,
            "team": TEAM,
            "about": "conduct",
            "against": THING,
            "lodged_by": "Mira Anchor",
            "lodged_at": "2026-06-13T14:20:00+02:00",
            "words": "Lane 5 pushed our second runner.",
        },
    )

    heat: ChosenId
    team: ChosenId = Field(description="for whom it is lodged")
    about: About
    ruling: ChosenId | None = Field(default=None, description="the ruling it is about")
    against: ChosenId | None = Field(default=None, description="the team whose conduct it is about")
    ground: Annotated[str, Field(max_length=60)] | None = Field(
        default=None,
        description="the kind of protest in the words of the edition, such as “misapplication of "
        "rules”, or “judgement”; may be left out where the edition knows one kind",
    )
    lodged_by: Name
    capacity: Capacity = Capacity.REPRESENTATIVE
    lodged_at: PhoneTime | None = Field(default=None, description="left out, it is now")
    words: Words = ""
    allowed_because: Reasons | None = Field(
        default=None,
        description="the referee's own word that lets a judgement call be protested where the "
        "edition does not",
    )

    @model_validator(mode="after")
    def _names_what_it_is_about(self) -> ProtestIn:
        if (self.ruling is not None) != (self.about is About.RULING):
            raise ValueError("a protest about a ruling names the ruling; others name none")
        if (self.against is not None) != (self.about is About.CONDUCT):
            raise ValueError("a protest about conduct names the team it is against; others none")
        if self.against == self.team:
            raise ValueError("a team does not protest against itself")
        return self


class Timeliness(Wire):
    """Whether something was lodged in time, and by how much."""

    window: WindowId | None
    opened_by: str | None
    closes_at: datetime | None
    closes_at_local: str | None
    rule: str | None
    in_time: bool
    margin_seconds: float | None = Field(
        description="seconds left when it was lodged; negative where it came late, null without an "
        "end"
    )
    words: str = Field(description="“in time by 12 min 4 s”, “LATE by 4 min 10 s”")


class DecisionOut(Wire):
    """A decision as stored."""

    id: DecisionId
    protest: ProtestId
    appeal: AppealId | None
    heat: HeatId
    instance: Instance
    sitting: int
    verdict: Verdict
    reasons: str
    heard_because: str | None
    done_already: str | None
    orders: list[dict[str, Any]]
    ordered: list[str] = Field(description="what was ordered, in words")
    consequences: ConsequencesOut = Field(description="what was shown before it was signed")
    official: OfficialId
    official_name: str
    decided_at: datetime
    decided_at_local: str
    advised_at: datetime | None
    statement_digest: str
    replaced_by: DecisionId | None


class ProtestOut(Wire):
    """A protest with what became of it."""

    id: ProtestId
    number: int
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    team: TeamId
    team_name: str
    affiliation: str
    lane: int | None
    about: About
    ruling: RulingId | None
    against: TeamId | None
    against_name: str | None
    ground: str
    lodged_by: str
    capacity: Capacity
    lodged_at: datetime
    lodged_at_local: str
    entered_at: datetime
    taken_by: OfficialId
    taken_by_name: str
    words: str
    allowed_because: str | None
    took_part: bool = Field(description="whether the team was in that round of the event")
    timeliness: Timeliness
    marks: list[Mark]
    state: ProtestState
    possible: list[str]
    withdrawn: dict[str, Any] | None
    decision: DecisionOut | None = Field(description="the referee's decision")
    appeals: list[AppealId]
    version: int


class ProtestsOut(Wire):
    """Protests, the one that was lodged last first."""

    protests: list[ProtestOut]
    next: Annotated[int | None, Field(description="the next page's `before`")]


class OrdersIn(Wire):
    """What somebody thinks of ordering, to be shown what it would move. Nothing is stored."""

    model_config = shown({"orders": [{"order": "set aside", "disqualification": THING}]})

    orders: Orders


class RefereeDecisionIn(Wire):
    """The referee's decision on a protest, signed with the PIN."""

    model_config = shown(
        {
            "verdict": "upheld",
            "reasons": "The video shows the baton inside the zone.",
            "orders": [{"order": "set aside", "disqualification": THING}],
            "pin": "480213",
        },
        {
            "verdict": "rejected",
            "reasons": "Two umpires saw it independently.",
            "advised_at": "2026-06-13T14:31:00+02:00",
            "pin": "480213",
        },
        {"verdict": "referred", "reasons": "I ruled on it myself.", "pin": "480213"},
    )

    verdict: Verdict
    reasons: Reasons
    orders: Orders = Field(default=[], description="what follows; needed where it is upheld")
    done_already: Reasons | None = Field(default=None, description=DONE_ALREADY)
    heard_because: Reasons | None = Field(default=None, description=HEARD_ALL_THE_SAME)
    advised_at: PhoneTime | None = Field(
        default=None,
        description="when the protesters were told; where nothing is amended, the time for an "
        "appeal runs from it. May follow later",
    )
    pin: Pin

    @model_validator(mode="after")
    def _orders_fit_the_verdict(self) -> RefereeDecisionIn:
        insist_orders_fit(self.verdict, self.orders, self.done_already)
        if self.advised_at is not None and (self.orders or self.verdict is Verdict.REFERRED):
            raise ValueError(
                "only where nothing is amended does the time for an appeal run from the advice"
            )
        return self


class AdviceIn(Wire):
    """The protesters were told that nothing is amended: the time for an appeal runs from it."""

    model_config = shown({"advised_at": "2026-06-13T14:31:00+02:00"})

    advised_at: PhoneTime | None = Field(default=None, description="left out, it is now")


class WithdrawIn(Wire):
    """The team takes its protest or its appeal back."""

    model_config = shown({"by": "Mira Anchor", "reason": "The video was conclusive."})

    by: Name
    reason: Words = ""


class DepositPaidIn(Wire):
    """The deposit that was received for an appeal."""

    model_config = shown({"amount": 100, "currency": "USD", "receipt": "R-17"})

    amount: Annotated[int, Field(ge=1, le=999_999)]
    currency: Annotated[str, Field(pattern="^[A-Z]{3}$", description="ISO 4217, such as USD")]
    receipt: Receipt
    received_at: PhoneTime | None = Field(default=None, description="left out, it is now")


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


class AdmissionIn(Wire):
    """The jury's word on an appeal that came late, without deposit or from outside; signed."""

    model_config = shown({"admit": True, "reasons": "The desk was closed.", "pin": "480213"})

    admit: bool
    reasons: Reasons
    pin: Pin


class PanelIn(Wire):
    """Who decides an appeal. The secretary has no vote and may come from outside."""

    model_config = shown(
        {"chair": HEAT, "members": [TEAM, THING], "secretary": "Noor Quill", "substitutes": []}
    )

    chair: ChosenId
    members: Annotated[list[ChosenId], Field(min_length=2, max_length=6)] = Field(
        description="the members beside the chair"
    )
    secretary: OptionalName = ""
    substitutes: Annotated[list[ChosenId], Field(max_length=7)] = Field(default_factory=list)

    @model_validator(mode="after")
    def _nobody_twice(self) -> PanelIn:
        everybody = [self.chair, *self.members, *self.substitutes]
        if len(set(everybody)) != len(everybody):
            raise ValueError("somebody stands twice in this panel")
        return self


class StepAsideIn(Wire):
    """A member withdraws from an appeal, and who takes the place."""

    model_config = shown({"reasons": "My club would gain the lane.", "replaced_by": TEAM})

    reasons: Reasons
    replaced_by: ChosenId | None = Field(default=None, description="one of the substitutes")


class VoteIn(Wire):
    """A member's vote, signed with the PIN."""

    model_config = shown({"vote": "upheld", "pin": "480213"})

    vote: Literal["upheld", "rejected"]
    pin: Pin


class JuryDecisionIn(Wire):
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
    pin: Pin

    @model_validator(mode="after")
    def _orders_fit_the_verdict(self) -> JuryDecisionIn:
        insist_orders_fit(self.verdict, self.orders, self.done_already)
        return self


class ReopenIn(Wire):
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
    pin: Pin


class PanelMember(Wire):
    """One seat of the panel."""

    official: OfficialId
    name: str
    affiliation: str
    part: Literal["chair", "member", "substitute"]
    state: Literal["sits", "asked to withdraw", "withdrawn", "waits"]
    because: str = Field(description="why this member is asked to withdraw, or has withdrawn")
    has_voted: bool


class PanelOut(Wire):
    """The panel of an appeal as it stands."""

    members: list[PanelMember]
    secretary: str
    size: int
    quorum: int
    chair_casts: bool
    affected: list[str] = Field(
        description="the affiliations of all teams that the consequence can touch"
    )
    votes: int


class DepositOut(Wire):
    """What was asked of the appellant, what was received, and what became of it."""

    asked: str = Field(description="“100 USD”; empty where none is asked")
    rule: str
    received: str
    receipt: str
    received_at: datetime | None
    outcome: Literal["held", "returned", "forfeited", "not asked", "to come"]


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
    is_referred: bool = Field(description="whether the referee passed the protest on")
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
    possible: list[str]
    deposit: DepositOut
    panel: PanelOut | None
    sitting: int
    admitted: dict[str, Any] | None
    reopened: dict[str, Any] | None
    withdrawn: dict[str, Any] | None
    decision: DecisionOut | None = Field(description="the jury's decision that stands")
    earlier_decisions: list[DecisionId]
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


class RulingConsequencesOut(Wire):
    """What each ruling on a case would move, before it is signed."""

    case: CaseId
    if_confirmed: ConsequencesOut
    if_dismissed: ConsequencesOut
    note: str = Field(description="what is assumed, where the reports leave it open")


class DossierOut(Wire):
    """Everything the jury needs for one appeal, in one document."""

    appeal: AppealOut
    protest: ProtestOut
    decisions: list[DecisionOut]
    cases: list[CaseOut]
    rulings: list[RulingOut]
    disqualifications: list[DisqualificationOut]
    announcements: list[AnnouncementOut]
    result_now: ResultOut | None
    if_granted: ConsequencesOut | None = Field(
        description="what would move if the team got what it asks for"
    )
    windows: list[WindowOut]
