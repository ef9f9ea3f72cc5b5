"""What the page of one appeal shows, and what whoever looks can do there.

What somebody may do is read from their roles, their seat on the panel and what the appeal allows
now. The page offers it; whether it is done, the service decides when it is sent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from app.access.queries import Caller
from app.access.who_may import HEAD_OR_JURY, READERS_OF_FORMS, TAKES_APPEALS
from app.appeals.decision_queries import decision_row
from app.appeals.dossier import dossier
from app.appeals.jury_wire import AppealOut, CandidatesOut, DossierOut, PanelMember
from app.appeals.offers import Offers, offers_on_appeal
from app.appeals.paper_parts import sought_section
from app.appeals.showing import appeal_shown, decisions_shown, protest_shown
from app.appeals.states import OPEN, AppealAct, AppealState
from app.appeals.who_can_sit import candidates
from app.appeals.wire import DecisionOut, Mark, ProtestOut
from app.ids import AppealId, MeetId
from app.meets.queries import MeetFacts, heat, meet_facts
from app.pages.reported import CaseShown, case_shown
from app.refusals import RoleMissing
from app.roles import Role


@dataclass(frozen=True, slots=True)
class May:
    """What whoever looks can do with an appeal now."""

    take_deposit: bool = False
    take_back: bool = False
    name_panel: bool = False
    admit: bool = False
    turn_away: bool = False
    step_aside: bool = False
    ask_aside: frozenset[str] = frozenset()
    vote: bool = False
    weigh: bool = False
    decide: bool = False
    reopen: bool = False
    sign_beside: bool = False


@dataclass(frozen=True, slots=True)
class Votes:
    """How the panel voted, as the paper of its decision says it."""

    upheld: int
    rejected: int
    quorum: int
    tie: str


@dataclass(frozen=True, slots=True)
class Said:
    """When something was said about an appeal, by whom and why."""

    at: datetime
    by: str
    reasons: str


@dataclass(frozen=True, slots=True)
class AppealPage:
    """All that the page of one appeal shows to this reader."""

    appeal: AppealOut
    protest: ProtestOut
    decisions: Sequence[DecisionOut]
    votes: Mapping[str, Votes]
    sought: Sequence[str]
    admitted: Said | None
    withdrawn: Said | None
    reopened: Said | None
    seat: PanelMember | None
    may: May
    dossier: DossierOut | None = None
    cases: Sequence[CaseShown] = ()
    candidates: CandidatesOut | None = None
    choices: Offers | None = None

    @property
    def is_over(self) -> bool:
        """Whether nothing is left to be decided on it."""
        return self.appeal.state not in OPEN

    @property
    def of_jury(self) -> Sequence[DecisionOut]:
        """The jury's decisions on this appeal, the first sitting's first."""
        return [one for one in self.decisions if one.appeal == self.appeal.id]

    @property
    def of_referee(self) -> Sequence[DecisionOut]:
        """The referee's decisions on the protest, in order."""
        return [one for one in self.decisions if one.appeal is None]


@dataclass(frozen=True, slots=True)
class ToSign:
    """A decision that its secretary can sign, as far as somebody sees it who reads no papers."""

    appeal: AppealId
    number: int
    decision: DecisionOut
    is_signed: bool


def reads_papers(who: Caller) -> bool:
    """Whether an official reads appeals and their papers."""
    return who.holds(*READERS_OF_FORMS.roles)


def to_sign(appeal: AppealOut, who: Caller) -> ToSign | None:
    """What this official signs as the secretary of the appeal's panel; None for nobody else."""
    panel, decided = appeal.panel, appeal.decision
    if panel is None or decided is None or panel.secretary_official != who.official_id:
        return None
    is_signed = any(one.role == "secretary" for one in decided.signatures)
    return ToSign(appeal.id, appeal.number, decided, is_signed)


def appeal_to_sign(
    conn: Connection, meet_id: MeetId, appeal_id: AppealId, who: Caller, now: datetime
) -> ToSign:
    """What the secretary signs; RoleMissing for an official who is none and reads no appeals."""
    found = to_sign(appeal_shown(conn, meet_id, appeal_id, now), who)
    if found is None:
        raise RoleMissing(
            "Appeals are read by the jury, the referee, the chief umpire and the results desk. You "
            "sign here what the jury has decided, where its panel names you as its secretary."
        )
    return found


def appeal_page(
    conn: Connection, meet_id: MeetId, appeal_id: AppealId, who: Caller, now: datetime
) -> AppealPage:
    """One appeal as this official sees it; NotFound for an id that is not of this meet."""
    meet = meet_facts(conn, meet_id)
    told = dossier(conn, meet_id, appeal_id, now) if who.holds(*HEAD_OR_JURY.roles) else None
    appeal = appeal_shown(conn, meet_id, appeal_id, now) if told is None else told.appeal
    made = decisions_shown(conn, meet, appeal.protest, now) if told is None else told.decisions
    may, seat = may_do(appeal, who), seat_of(appeal, who)
    return AppealPage(
        appeal=appeal,
        protest=protest_shown(conn, meet_id, appeal.protest, now) if told is None else told.protest,
        decisions=made,
        votes={one.id: votes for one in made if (votes := _votes(conn, meet_id, one))},
        sought=[item for part in sought_section(conn, meet, appeal) for item in part.items],
        admitted=_said(appeal.admitted, "by_name", "reasons"),
        withdrawn=_said(appeal.withdrawn, "by", "reason"),
        reopened=_said(appeal.reopened, "by_name", "reasons"),
        seat=seat,
        may=may,
        dossier=told,
        cases=() if told is None else _cases(conn, meet, told),
        candidates=candidates(conn, meet_id, appeal_id) if may.name_panel else None,
        choices=offers_on_appeal(conn, meet_id, appeal_id) if may.weigh else None,
    )


def _cases(conn: Connection, meet: MeetFacts, told: DossierOut) -> list[CaseShown]:
    relay = {one: heat(conn, meet.id, one).relay for one in {case.heat for case in told.cases}}
    return [case_shown(meet, relay[one.heat], one, told.rulings) for one in told.cases]


def _votes(conn: Connection, meet_id: MeetId, made: DecisionOut) -> Votes | None:
    """What the decision says of the votes; None for the referee's, and where it was erased."""
    told = (decision_row(conn, meet_id, made.id).statement or {}).get("votes")
    if not told:
        return None
    return Votes(told["upheld"], told["rejected"], told["quorum"], told["tie"])


def _said(told: Mapping[str, Any] | None, by: str, why: str) -> Said | None:
    if told is None:
        return None
    return Said(datetime.fromisoformat(told["at"]), told.get(by) or "", told.get(why) or "")


def seat_of(appeal: AppealOut, who: Caller) -> PanelMember | None:
    """The seat of an official on the panel; None for who is not on it."""
    seats = appeal.panel.members if appeal.panel is not None else ()
    return next((one for one in seats if one.official == who.official_id), None)


def may_do(appeal: AppealOut, who: Caller) -> May:
    """What this official can do with the appeal as it stands."""
    seat, possible = seat_of(appeal, who), frozenset(appeal.possible)
    is_open = appeal.state in OPEN
    is_jury = who.holds(Role.JURY)
    is_seated = is_jury and seat is not None and seat.state in {"sits", "asked to withdraw"}
    is_chair = is_seated and seat is not None and seat.part == "chair"
    is_admitted = appeal.state is AppealState.ADMITTED
    signs = to_sign(appeal, who)
    return May(
        take_deposit=is_open
        and Mark.NO_DEPOSIT in appeal.marks
        and who.holds(*TAKES_APPEALS.roles),
        take_back=AppealAct.WITHDRAW in possible and who.holds(Role.RESULTS),
        name_panel=is_jury and is_open,
        admit=is_chair and AppealAct.ADMIT in possible,
        turn_away=is_chair and AppealAct.TURN_AWAY in possible,
        step_aside=is_seated and is_admitted,
        ask_aside=_to_ask_aside(appeal, who) if is_chair and is_admitted else frozenset(),
        vote=is_admitted and is_seated and seat is not None and _has_vote_left(seat),
        weigh=is_jury and is_open,
        decide=is_chair and AppealAct.UPHOLD in possible and is_admitted,
        reopen=appeal.decision is not None and _may_reopen(appeal, who, possible),
        sign_beside=signs is not None and not signs.is_signed,
    )


def _has_vote_left(seat: PanelMember) -> bool:
    return seat.state == "sits" and not seat.has_voted


def _to_ask_aside(appeal: AppealOut, who: Caller) -> frozenset[str]:
    seats = appeal.panel.members if appeal.panel is not None else ()
    concerned = (one.official for one in seats if one.state == "asked to withdraw")
    return frozenset(concerned) - {who.official_id}


def _may_reopen(appeal: AppealOut, who: Caller, possible: frozenset[str]) -> bool:
    """The chair reopens; where the chair is of the jury no more, any other member."""
    if AppealAct.REOPEN not in possible or appeal.panel is None:
        return False
    seats = [one for one in appeal.panel.members if one.part != "substitute"]
    chair = next((one for one in seats if one.part == "chair"), None)
    if chair is not None and chair.is_juror:
        return chair.official == who.official_id
    return who.holds(Role.JURY) and any(one.official == who.official_id for one in seats)
