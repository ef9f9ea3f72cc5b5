"""Announcements as they go over HTTP, and as they are kept."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from app.access.sign_wire import Signable
from app.ids import (
    AnnouncementId,
    ChosenId,
    HeatId,
    OfficialId,
)
from app.results.correction_wire import TimeCorrectionOut
from app.results.wire import (
    BY_TIME,
    DOES_NOT_COUNT,
    FINAL_SINCE,
    HOLDS,
    IS_ROUND_COMPLETE,
    NEXT_ROUND,
    OPEN_DRAW,
    PENDING,
    QUALIFIED,
    BlockersOut,
    QualifiedOut,
    ResultLineOut,
)
from app.rounds.wire import OpenDrawOut
from app.rules.windows import CountsFrom, Remedy, close_from
from app.wire import PhoneTime, Reasons, Wire, Words, shown


class AnnouncementIn(Signable):
    """The announcement of a heat's result, signed with the PIN."""

    model_config = shown(
        {"heat": "01890a5d-ac96-774b-bcce-b302099a8057", "pin": "480213"},
        {
            "heat": "01890a5d-ac96-774b-bcce-b302099a8057",
            "announced_at": "2026-06-13T14:15:00+02:00",
            "despite": "The post at the start of zone 3 cannot be reached.",
            "remark": "Lane 4 is disqualified.",
            "pin": "480213",
        },
    )

    heat: ChosenId
    announced_at: PhoneTime | None = Field(
        default=None, description="when it was announced; left out, it is now"
    )
    despite: Reasons | None = Field(
        default=None,
        description="the explicit word where a post is silent, a case open or a ruling to be "
        "reconsidered: why it is announced all the same",
    )
    remark: Words = Field(default="", description="what changed, on an amended result")


class SnapshotWindow(Wire):
    """A window as an announcement tells it."""

    kind: str
    remedy: Remedy
    closes_at: datetime | None
    minutes: int | None
    counts_from: CountsFrom | None = None
    rule: str
    origin: Literal["edition", "meet"]


class EarlierWindow(SnapshotWindow):
    """A window that an earlier announcement of the heat opened, as it runs now."""

    announcement: int = Field(description="the number of that announcement")


class LaterAnnouncement(Wire):
    """The announcement that stands in place of an earlier one of the same heat."""

    id: AnnouncementId
    number: int
    announced_at: datetime
    announced_at_local: str

    def words(self, made: str) -> str:
        """What it says of the earlier one, with when it was `made` in words."""
        return f"Superseded by announcement {self.number}, made {made}."


class QualifiersAnnounced(LaterAnnouncement):
    """A later announcement of the same round by which others have qualified."""

    round: str
    heat_number: int

    def words(self, made: str) -> str:
        return (
            f"Others have qualified by announcement {self.number} of {self.round}, heat "
            f"{self.heat_number}, made {made}."
        )


KNOWN_LATER = (
    "signed_with",
    "superseded_by",
    "qualifiers_superseded_by",
    "time_corrections",
    "meet_ended_at",
    "final_since",
    "pending",
    "does_not_count",
    "appeals_void",
    "earlier_windows",
)
"""What is told of an announcement beside what it said when it was made."""


class AnnouncementOut(Wire):
    """An announcement: a snapshot that is never changed, and what is known about it since."""

    id: AnnouncementId
    heat: HeatId
    number: int
    supersedes: AnnouncementId | None
    meet_name: str
    venue: str
    time_zone: str
    edition: str
    edition_title: str
    event_name: str
    round: str
    heat_number: int
    announced_at: datetime
    announced_at_local: str
    entered_at: datetime
    announced_by: OfficialId
    announced_by_name: str
    lines: list[ResultLineOut]
    changes: list[str] = Field(
        default_factory=list,
        description="what is otherwise than in the announcement before, a sentence for each team",
    )
    moved_only: int = Field(
        default=0,
        description="how many of the changes, the last ones, are of teams whose place alone "
        "changed, because of the others",
    )
    through: list[str] = Field(
        default_factory=list,
        description="who goes on to the next round by this and did not by what was announced "
        "before, and who no longer does, in whichever heat they ran; without those of whom "
        "`changes` says it",
    )
    despite: str | None
    blockers: BlockersOut
    remark: str
    windows: list[SnapshotWindow]
    because: list[str] = Field(
        default_factory=list,
        description="the decisions on protests and appeals in this round since the announcement "
        "before, and what they ordered; and that a heat is not held, where that is why",
    )
    is_ordered_here: bool = Field(
        default=False,
        description="whether one of them ordered something in this heat itself",
    )
    no_windows_because: str = Field(
        default="",
        description="why this announcement opens no window of its own; empty where it does",
    )
    abbreviations: dict[str, str]
    statement_digest: str
    qualified: list[QualifiedOut] = QUALIFIED
    next_round: str = NEXT_ROUND
    by_time: int = BY_TIME
    is_round_complete: bool = IS_ROUND_COMPLETE
    open_draw: OpenDrawOut | None = OPEN_DRAW
    signed_with: str = Field(
        default="", description="how it was signed: with a PIN, or with a passkey"
    )
    qualifiers_superseded_by: QualifiersAnnounced | None = Field(
        default=None,
        description="the announcement, of this heat or another of its round, that says last who "
        "qualified, where that is somebody else",
    )
    superseded_by: LaterAnnouncement | None = Field(
        default=None, description="the announcement that stands now; null for the one that stands"
    )
    time_corrections: list[TimeCorrectionOut] = Field(
        default=[],
        description="corrections of the time of this announcement, first to last: what it says "
        "itself stays, and the windows that it opened follow the last one",
    )
    meet_ended_at: datetime | None = Field(
        default=None,
        description="when the meet ended, as it is known now, where a window of this announcement "
        "counts from that; null while the meet goes on",
    )
    final_since: datetime | None = FINAL_SINCE
    pending: list[str] = PENDING
    does_not_count: str = DOES_NOT_COUNT
    appeals_void: str = Field(
        default="",
        description="why no appeal can be lodged any more in the window that this announcement "
        "opened for appeals, whatever its closing time: the jury has decided. Empty where one can, "
        "and where it opened none",
    )
    earlier_windows: list[EarlierWindow] = Field(
        default=[],
        description="where this one stands and opens no window of its own: of each kind the window "
        "of an earlier announcement of this heat that closes last, closed or not; not one in which "
        "the jury has decided",
    )

    def snapshot(self) -> dict[str, Any]:
        """What is stored, recorded and signed; what is known only later is no part of it."""
        return self.model_dump(mode="json", exclude=set(KNOWN_LATER))

    def for_everybody(self) -> AnnouncementOut:
        """Without which protests and appeals a correction made late: that is for officials."""
        corrected = [
            one.model_copy(update={"now_in_time": [], "now_late": []})
            for one in self.time_corrections
        ]
        return self.model_copy(update={"time_corrections": corrected})

    @property
    def is_amended(self) -> bool:
        """Whether it says otherwise than the one before: what a decision ordered in the heat amends
        its result, whatever its lines say; and so do others who go on.
        """
        return bool(self.changes or self.through) or self.is_ordered_here

    @property
    def made_at(self) -> datetime:
        """When it was announced: as corrected last, else as it was first given."""
        return self.time_corrections[-1].becomes if self.time_corrections else self.announced_at

    @property
    def windows_as_corrected(self) -> list[SnapshotWindow]:
        """The windows as they run: those that count from the announcement follow its time, those
        that count from the end of the meet the end as it is known now.
        """
        return [
            window.model_copy(update={"closes_at": self._closes(window)}) for window in self.windows
        ]

    def _closes(self, window: SnapshotWindow) -> datetime | None:
        if window.counts_from is None:
            moved = self.made_at - self.announced_at
            return window.closes_at and window.closes_at + moved
        if self.meet_ended_at is None or window.minutes is None:
            return window.closes_at
        return close_from(window.minutes, self.meet_ended_at)


class AnnouncementLine(Wire):
    """An announcement as a list shows it."""

    id: AnnouncementId
    heat: HeatId
    number: int
    event_name: str
    round: str
    heat_number: int
    announced_at: datetime
    announced_at_local: str
    is_latest: bool
    holds: bool = HOLDS
    final_since: datetime | None = FINAL_SINCE
    pending: list[str] = PENDING
    does_not_count: str = DOES_NOT_COUNT


class AnnouncementsOut(Wire):
    """Announcements, newest first."""

    announcements: list[AnnouncementLine]
    next: Annotated[str | None, Field(description="the next page's `before`")]
