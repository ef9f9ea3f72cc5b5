"""Protests and decisions as they go over HTTP; appeals and the jury stand in `jury_wire.py`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from app.access.sign_wire import KEY_REVOKED_FROM, Signable
from app.appeals.orders import Orders
from app.appeals.states import ProtestState
from app.ids import (
    AppealId,
    CaseId,
    ChosenId,
    DecisionId,
    HeatId,
    OfficialId,
    ProtestId,
    RulingId,
    SignatureId,
    TeamId,
    WindowId,
)
from app.results.correction_wire import HOW_KNOWN, CorrectionOut, MeasureCorrectionOut
from app.results.wire import WindowOut
from app.rounds.wire import ConsequencesOut
from app.wire import Name, PhoneTime, Reasons, Wire, Words, shown

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
            "where it is upheld, name what is ordered, or what has done that already: one of the "
            "two (“orders”, “done_already”)"
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
    opened_by: str | None = Field(
        description="such as “announcement 2”, or “announcement 2 of heat 2” where that is not the "
        "heat that this is about"
    )
    closes_at: datetime | None
    closes_at_local: str | None
    rule: str | None
    in_time: bool
    margin_seconds: float | None = Field(
        description="seconds left when it was lodged; negative where it came late, null without an "
        "end"
    )
    words: str = Field(description="“in time by 12 min 4 s”, “LATE by 4 min 10 s”")
    time_corrections: list[MeasureCorrectionOut] = Field(
        default=[],
        description="of the announcement whose window this is, or of the end of the meet that it "
        "counts from, and of any by which it came to be in time or late; first to last",
    )


class AffectedOut(Wire):
    """A team that a decision moved, and until when it can protest or appeal."""

    team: TeamId
    team_name: str
    heat: HeatId | None = Field(description="the heat it ran in; null: drawn away since")
    round: str
    heat_number: int | None
    window: WindowOut | None = Field(
        description="the window that measures it, which an announcement that tells the decision "
        "opened: for an appeal the one that closes last of its own heat's and of the heat's "
        "decided about; where none lies, its own heat's for a protest"
    )
    words: str = Field(
        description="“appeal until 15:40:00 CEST”, and whether that can still become later; "
        "without a window why it has none, such as "
        "“opens with the amended announcement of heat 2, if one is made”"
    )


class AppealTimeOut(Wire):
    """The time in which a decision on a protest can be appealed against, in facts."""

    opened_by: str = Field(description="as in `timeliness`")
    opened_at: datetime
    closes_at: datetime | None = Field(description="null: the edition and the meet set no end")
    minutes: int | None
    rule: str
    origin: Literal["edition", "meet"]


SignedRole = Literal["referee", "chair", "secretary"]


class SignedByOut(Wire):
    """Who signed a decision, and with what."""

    role: SignedRole = Field(description="the secretary has no vote and may sign beside the chair")
    official: OfficialId
    official_name: str
    strength: Literal["PIN", "device key"]
    key_revoked_from: datetime | None = KEY_REVOKED_FROM
    how: str = Field(description="as the decision's paper names it")
    statement_sha256: str
    signed_at: datetime


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
    affected: list[AffectedOut] = Field(
        default=[],
        description="each team that it moved or names, with its own new window as it runs now",
    )
    official: OfficialId
    official_name: str
    decided_at: datetime
    decided_at_local: str
    advised_at: datetime | None
    statement_digest: str
    signatures: list[SignedByOut] = Field(
        default=[], description="who has signed it: the referee, or the chair and the secretary"
    )
    replaced_by: DecisionId | None


class DecisionSignatureIn(Signable):
    """A second signature on the jury's decision: its secretary's, that this is the decision."""

    model_config = shown({"pin": "480213"})


class SignatureOut(Wire):
    """A second signature on a decision, as stored."""

    id: SignatureId
    decision: DecisionId
    official: OfficialId
    official_name: str
    how: str = Field(description="how it was given, as the decision's paper names it")
    statement_sha256: str
    signed_at: datetime


CORRECTIONS: Any = Field(
    default=[], description="what was typed wrongly of it and what it became, first to last"
)


class JurysDecisionOut(Wire):
    """What the jury decided on an appeal, in short, and where to read it."""

    id: DecisionId
    appeal: AppealId
    appeal_number: int
    sitting: int
    verdict: Verdict
    decided_at: datetime
    decided_at_local: str
    form_path: str = Field(description="where its paper is read: “/api/meets/…/form.pdf”")


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
    decision: DecisionOut | None = Field(
        description="the referee's decision; of a protest that was appealed, `state` tells what it "
        "was, and `jury` what became of it"
    )
    appeals: list[AppealId]
    jury: list[JurysDecisionOut] = Field(
        default=[],
        description="what the jury has decided on these appeals and stands, in order; empty where "
        "it has not",
    )
    appeals_until: str | None = Field(
        default=None,
        description="until when the protesters can appeal against the decision, with the rule; "
        "empty while no time for it runs, null in a list",
    )
    appeal_time: AppealTimeOut | None = Field(
        default=None, description="the same in facts; null while no time runs, and in a list"
    )
    awaits: list[str] | None = Field(
        default=None,
        description="what is to be done next before anything can follow, in words; null in a list",
    )
    corrections: list[CorrectionOut] = CORRECTIONS
    version: int


class ProtestsOut(Wire):
    """Protests, the one that was lodged last first."""

    protests: list[ProtestOut]
    next: Annotated[int | None, Field(description="the next page's `before`")]


class OrdersIn(Wire):
    """What somebody thinks of ordering, to be shown what it would move. Nothing is stored."""

    model_config = shown({"orders": [{"order": "set aside", "disqualification": THING}]})

    orders: Orders
    done_already: Reasons | None = Field(default=None, description=DONE_ALREADY)


class RefereeDecisionIn(Signable):
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


class LodgedCorrectionIn(Signable):
    """When a protest or an appeal was lodged, where that had been typed wrongly."""

    model_config = shown(
        {
            "lodged_at": "2026-06-13T14:20:00+02:00",
            "reasons": "Typed 15:20; the slip says 14:20.",
            "pin": "480213",
        }
    )

    lodged_at: PhoneTime = Field(description="when it was truly lodged")
    reasons: Reasons


class AdviceCorrectionIn(Signable):
    """When the protesters were told, where that had been typed wrongly."""

    model_config = shown(
        {
            "advised_at": "2026-06-13T14:31:00+02:00",
            "reasons": "Typed 14:13; they signed at 14:31.",
            "pin": "480213",
        }
    )

    advised_at: PhoneTime = Field(description="when they were truly told")
    reasons: Reasons
    remark: Words = HOW_KNOWN


class WithdrawIn(Wire):
    """The team takes its protest or its appeal back."""

    model_config = shown({"by": "Mira Anchor", "reason": "The video was conclusive."})

    by: Name
    reason: Words = ""


class RulingConsequencesOut(Wire):
    """What each ruling on a case would move, before it is signed."""

    case: CaseId
    if_confirmed: ConsequencesOut
    if_dismissed: ConsequencesOut
    note: str = Field(
        description="what is assumed, where the reports leave it open; or why no ruling can be made"
    )
