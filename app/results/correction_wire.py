"""Corrections of what was typed wrongly, and the end of the meet, as they go over HTTP."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Any

from pydantic import Field

from app.access.sign_wire import Signable
from app.ids import (
    AnnouncementId,
    CorrectionId,
    OfficialId,
)
from app.wire import PhoneTime, Reasons, Wire, Words, shown

ENDED_AT: Any = Field(description="null while the meet goes on")
HOW_KNOWN: Any = Field(
    default="",
    description="the explicit word where time that still runs would be over at once: how the "
    "teams knew of it",
)
Moved = dict[str, list[dict[str, Any]]]
"""As they are kept: the documents of `now_in_time` and of `now_late`."""

EARLIER_ENDS = "corrections of this time, first to last; windows follow the last one"


class TimeCorrectionIn(Signable):
    """The time at which something was announced, where it had been typed wrongly."""

    model_config = shown(
        {
            "announced_at": "2026-06-13T14:09:00+02:00",
            "reasons": "Typed 14:19; the loudspeaker's log says 14:09.",
            "pin": "480213",
        }
    )

    announced_at: PhoneTime = Field(description="when it was truly announced")
    reasons: Reasons
    remark: Words = HOW_KNOWN


class RemeasuredOut(Wire):
    """A protest or an appeal that a corrected time made timely, or late."""

    what: str = Field(description="protest or appeal")
    id: str
    number: int
    words: str = Field(description="such as “in time by 4 min”")
    before: str = Field(description="the same before the correction")


class Corrected(Wire):
    """What all corrections tell: who made one, when, why, and what is measured otherwise by it."""

    id: CorrectionId
    reasons: str
    remark: str = Field(
        default="", description="how the teams knew of it, where time that ran was over at once"
    )
    corrected_by: OfficialId
    corrected_by_name: str
    corrected_at: datetime
    now_in_time: list[RemeasuredOut] = Field(
        default=[],
        description="protests and appeals that had been late and were in time by this correction: "
        "what was rejected or turned away for it is to be looked at again (`possible` says how)",
    )
    now_late: list[RemeasuredOut] = Field(
        default=[], description="those that had been in time and were late by it"
    )


class TimeCorrectionOut(Corrected):
    """A correction of an announcement's time, which its windows followed."""

    was: datetime
    was_local: str
    becomes: datetime
    becomes_local: str


class MeasureCorrectionOut(TimeCorrectionOut):
    """A correction of an announcement's time, or of the end of the meet, by which a protest or an
    appeal is measured, or came to be in time or late; `now_in_time` and `now_late` name that one
    alone.
    """

    announcement: AnnouncementId | None = Field(
        default=None, description="null: it is the end of the meet that was corrected"
    )
    number: int | None = Field(default=None, description="of the announcement in its heat")


class Mistyped(StrEnum):
    """What was typed wrongly, beside the time of an announcement."""

    PROTEST = "time of a protest"
    APPEAL = "time of an appeal"
    ADVICE = "time of an advice"
    DEPOSIT = "time of a deposit"
    RECEIPT = "receipt of a deposit"
    END = "end of the meet"


class CorrectionOut(Corrected):
    """A correction of what was typed wrongly, and what it said before."""

    about: Mistyped
    was: str = Field(description="an instant, or the number of a receipt")
    was_local: str = Field(description="an instant as people at the meet read it, else empty")
    becomes: str
    becomes_local: str


class EndCorrectionIn(Signable):
    """When the meet ended, where that had been typed wrongly."""

    model_config = shown(
        {
            "ended_at": "2026-06-14T18:05:00+02:00",
            "reasons": "Typed 19:05; the last race was at 17:50.",
            "pin": "480213",
        }
    )

    ended_at: PhoneTime = Field(description="when it truly ended")
    reasons: Reasons
    remark: Words = HOW_KNOWN


class EndCorrected(Wire):
    """A correction of the end of the meet as everybody reads it: the times alone."""

    was: datetime
    was_local: str
    becomes: datetime
    becomes_local: str
    corrected_at: datetime


class EndOut(Wire):
    """When the meet ended, and what was said of it before, for everybody."""

    ended_at: datetime | None = ENDED_AT
    ended_at_local: str
    corrections: list[EndCorrected] = Field(description=EARLIER_ENDS)


class EndCorrectionsOut(Wire):
    """The same for officials: who corrected it and why, and which protests that made late."""

    ended_at: datetime | None = ENDED_AT
    ended_at_local: str
    corrections: list[CorrectionOut] = Field(description=EARLIER_ENDS)


class EndOfMeetIn(Signable):
    """The end of the meet: from then on count the windows that a book counts from there."""

    model_config = shown(
        {"pin": "480213"}, {"ended_at": "2026-06-14T18:05:00+02:00", "pin": "480213"}
    )

    ended_at: PhoneTime | None = Field(
        default=None, description="when the meet ended; left out, it is now"
    )
