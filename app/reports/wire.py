"""Calls, reports, cases and the docket as they go over HTTP."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from app.access.sign_wire import KEY, KEY_REVOKED_FROM, Encoded
from app.ids import (
    CallId,
    CaseId,
    ChosenId,
    HeatId,
    KeyId,
    OfficialId,
    PostId,
    ProtestId,
    ReportId,
    RulingId,
    TeamId,
)
from app.pictures.wire import PictureOut
from app.reports.examples import CALLS, REPORTS
from app.reports.states import CaseState, Mark, ReportState
from app.rules.book_parts import Consequence
from app.rules.finding import Outcome
from app.rules.observation import Infringement, Observation
from app.wire import Lane, PhoneClock, Reasons, Wire, Words, shown


class Flag(StrEnum):
    """White: nothing to report. Yellow: an apparent infringement."""

    WHITE = "white"
    YELLOW = "yellow"


class CallIn(Wire):
    """A flag shown by a post for a heat. Yellow alone opens a case; the report follows."""

    model_config = shown(*CALLS)

    heat: ChosenId
    post: ChosenId
    flag: Flag
    lane: Lane | None = Field(default=None, description="with yellow, where it is known already")
    report: ChosenId | None = Field(
        default=None, description="with yellow: the id under which the written report will come"
    )
    clock: PhoneClock

    @model_validator(mode="after")
    def _white_says_no_more(self) -> CallIn:
        if self.flag is Flag.WHITE and (self.lane is not None or self.report is not None):
            raise ValueError("a white flag has no lane and no report")
        return self


class CallOut(Wire):
    """A call as stored."""

    id: CallId
    heat: HeatId
    post: PostId
    official: OfficialId
    flag: Flag
    lane: int | None
    team: TeamId | None
    team_name: str | None = Field(description="who runs in that lane; null where nobody does")
    report: ReportId | None
    case: CaseId | None
    marks: list[Mark]
    counts: bool = Field(description="whether this call speaks for its post, and ends its silence")
    received_at: datetime


class PhoneSignatureIn(Wire):
    """What a phone's own key made of a report, offline: ECDSA on P-256 with SHA-256, r and s."""

    model_config = shown({"key": KEY, "signature": "A" * 86})

    key: ChosenId
    signature: Encoded


class ReportIn(Wire):
    """The written account that follows a yellow flag: one lane, one apparent infringement."""

    model_config = shown(*REPORTS)

    heat: ChosenId
    lane: Lane
    post: ChosenId | None = Field(
        default=None, description="the umpire's post; none for an official's own observation"
    )
    take_over: Annotated[int, Field(ge=1, le=3)] | None = Field(
        default=None, description="only without a post; a post knows its take-over"
    )
    observation: Annotated[Observation, Field(discriminator="seen")]
    words: Words = ""
    clock: PhoneClock
    signature: PhoneSignatureIn | None = Field(
        default=None,
        description="of the RFC 8785 form of this document as it is sent, without `signature` and "
        "with `act` (“report”), `meet` and `report` (the ids in the address)",
    )


class AttestedOut(Wire):
    """Who answers for it that a report says what its umpire wrote: the phone's key, or the server
    that took it in.
    """

    strength: Literal["phone key", "server"]
    key: KeyId | None
    statement_sha256: str | None = Field(
        description="of the document as the phone signed it, else as the server took it in"
    )
    key_revoked_from: datetime | None = KEY_REVOKED_FROM
    words: str


BY_SERVER = AttestedOut(
    strength="server",
    key=None,
    statement_sha256=None,
    key_revoked_from=None,
    words="attested by the server",
)


class FindingOut(Wire):
    """What the rule book makes of an observation. A suggestion, never a decision."""

    outcome: Outcome
    infringement: Infringement
    title: str
    reason: str
    rule: str
    consequence: Consequence
    edition: str


class ReportOut(Wire):
    """A report as stored."""

    id: ReportId
    heat: HeatId
    case: CaseId
    official: OfficialId
    official_name: str
    post: PostId | None
    post_words: str
    take_over: int | None
    run: int = Field(description="the run of the heat it is about: its first, second … start")
    lane: int | None
    team: TeamId | None
    team_name: str | None = Field(description="who runs in that lane; null where nobody does")
    state: ReportState
    observation: dict[str, Any] | None
    words: str
    marks: list[Mark]
    finding: FindingOut | None
    clock: PhoneClock | None
    attested: AttestedOut
    raised_at: datetime
    received_at: datetime | None
    remark: str | None
    came_as: ReportId | None = Field(
        description="for a flag whose account came under another id: that report"
    )
    pictures: list[PictureOut] = Field(description="in the order in which they came")
    possible: list[str]
    version: int


class ReasonIn(Wire):
    """A reason, as the act needs one."""

    model_config = shown({"reason": "How far past the line was the baton, and who held it?"})

    reason: Reasons


REHEARSAL: Any = Field(
    default=False,
    description="whether it is of a rehearsal: nobody rules on it, and it is closed with that",
)
CASE_NUMBER: Any = Field(description="the case's own number at this meet, to be said aloud")


class CaseLine(Wire):
    """A case as the docket lists it."""

    id: CaseId
    number: int = CASE_NUMBER
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    lane: int | None
    team: TeamId | None
    team_name: str | None
    rehearsal: bool = REHEARSAL
    opened_at: datetime
    further_of: CaseId | None
    zone_flags: list[str] = Field(
        default_factory=list,
        description="a sentence for each zone of the heat with a line that the survey found in the "
        "wrong place",
    )
    reports: list[ReportLine] = Field(description="the first ten; the case itself has them all")
    reports_in_all: int
    version: int


class ReportLine(Wire):
    """A report as the docket lists it."""

    id: ReportId
    official_name: str
    post_words: str
    take_over: int | None
    state: ReportState
    seen: Infringement | None
    outcome: Outcome | None
    rule: str | None
    marks: list[Mark]


class ToReconsider(Wire):
    """A ruling that stands and is to be looked at again."""

    ruling: RulingId
    case: CaseId
    case_number: int = CASE_NUMBER
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    lane: int | None
    team_name: str | None
    effect: str = Field(description="what it puts on the result: “DQ TR24.7” or “L”")
    why: str = Field(description="what has changed under it since, in a sentence")


class AwaitedProtest(Wire):
    """A protest that awaits the referee."""

    protest: ProtestId
    number: int
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    team_name: str
    about: str = Field(description="a ruling, a placing, another team's conduct, or something else")
    lodged_at: datetime


class DocketOut(Wire):
    """The open cases, oldest first; `next` is the next page's `after`."""

    protests: list[AwaitedProtest] = Field(
        description="on the first page: the protests that await the referee, oldest first, fifty "
        "at most; empty on the further ones"
    )

    to_reconsider: list[ToReconsider] = Field(
        description="on the first page: the rulings that are to be looked at again, oldest first, "
        "fifty at most; empty on the further ones"
    )
    cases: list[CaseLine]
    open: int
    next: str | None


class GoneOn(Wire):
    """A report that lay in the case at its ruling and was written since, and where it lies now."""

    report: ReportId
    case: CaseId


class CaseOut(Wire):
    """A case with everything about it."""

    id: CaseId
    number: int = CASE_NUMBER
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    lane: int | None
    team: TeamId | None
    team_name: str | None
    affiliation: str | None
    rehearsal: bool = REHEARSAL
    state: CaseState
    opened_at: datetime
    further_of: CaseId | None
    joined_to: CaseId | None
    reports: list[ReportOut] = Field(
        description="in the order in which their flags came; one that has gone on to another case "
        "since this one was ruled on stands here as it was at the ruling"
    )
    gone_on: list[GoneOn] = Field(
        description="reports that lay in this case at its ruling and have gone to another since"
    )
    rulings: list[RulingId]
    possible: list[str]
    version: int


class PostLine(Wire):
    """What a post has shown for a heat."""

    post: PostId
    official: OfficialId
    official_name: str
    words: str
    take_over: int
    flag: Flag | None = Field(
        description="null while the post is silent; a written report that stands counts as yellow"
    )
    withdrawn: bool = Field(
        description="whether its yellow flags were all taken back, and it has shown no white"
    )
    called_at: datetime | None
    called_by: OfficialId | None = Field(
        description="who called; the head of the crew may call for a post that reports by radio"
    )
    called_by_name: str | None


class HeatPostsOut(Wire):
    """The posts that are expected to call for a heat, and what each has shown."""

    heat: HeatId
    posts: list[PostLine]
    silent: int


CaseLine.model_rebuild()
