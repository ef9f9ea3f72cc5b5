"""What was typed wrongly about a protest or an appeal, or of the time by which it is measured, as
its papers tell it: what it says now and what it said before, who corrected it, when and why, and
what came to be in time by it, or late.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from sqlalchemy import Connection

from app.appeals.decision_queries import subjects_of_protest
from app.appeals.jury_wire import AppealOut
from app.appeals.which_heat import heat_called
from app.appeals.wire import ProtestOut
from app.clock import in_zone
from app.forms.remedy_paper import Section
from app.ids import AnnouncementId, AppealId, DecisionId, HeatId, ProtestId
from app.meets.queries import MeetFacts
from app.results.announcements import announcement_row
from app.results.correction_wire import (
    CorrectionOut,
    MeasureCorrectionOut,
    Mistyped,
    RemeasuredOut,
    TimeCorrectionOut,
)
from app.results.corrections import corrections_of, measure_corrections
from app.results.wording import sentence

TITLE = "Corrected, for it was typed wrongly"


def subjects_of_decision(
    conn: Connection,
    meet: MeetFacts,
    decision_id: DecisionId,
    protest_id: ProtestId,
    appeal_id: AppealId | None,
) -> list[str]:
    """What a correction names that a decision's paper tells: of the referee's, the protest and its
    own advice, not that of one that it replaces or that replaces it; of the jury's, all that came
    before it.
    """
    if appeal_id is None:
        return [protest_id, decision_id]
    return [*subjects_of_protest(conn, meet, protest_id), appeal_id]


def corrected_in_words(
    conn: Connection, meet: MeetFacts, subjects: Iterable[str]
) -> tuple[str, ...]:
    """The corrections of these protests, appeals and decisions, first to last, a line each."""
    found = chain.from_iterable(corrections_of(conn, meet, subjects).values())
    in_order = sorted(found, key=lambda one: one.corrected_at)
    return tuple(_in_words(one, one.about, meet.time_zone) for one in in_order)


def measure_in_words(
    conn: Connection, meet: MeetFacts, lodged: ProtestOut | AppealOut
) -> tuple[str, ...]:
    """The corrections of the time by which a protest or an appeal is measured, a line each."""
    window = lodged.timeliness.window
    found = measure_corrections(conn, meet, {lodged.id: window}).get(lodged.id, [])
    return tuple(
        _in_words(one, _whose_time(conn, meet, one, lodged.heat), meet.time_zone) for one in found
    )


def _whose_time(conn: Connection, meet: MeetFacts, one: MeasureCorrectionOut, about: HeatId) -> str:
    """Of the end of the meet, or of which announcement."""
    if one.announcement is None:
        return Mistyped.END.value
    return f"time of {_announcement(conn, meet, one, one.announcement, about)}"


def _announcement(
    conn: Connection,
    meet: MeetFacts,
    one: MeasureCorrectionOut,
    announcement: AnnouncementId,
    about: HeatId,
) -> str:
    """Which announcement was corrected, with its heat where that is not the one this is about."""
    heat_id = announcement_row(conn, meet.id, announcement).heat_id
    of = "" if heat_id == about else f" of {heat_called(conn, meet.id, heat_id)}"
    return f"announcement {one.number}{of}"


def corrections_section(
    conn: Connection, meet: MeetFacts, subjects: Iterable[str]
) -> tuple[Section, ...]:
    """One part of a paper; none where nothing was corrected."""
    said = corrected_in_words(conn, meet, subjects)
    return (Section(TITLE, items=said),) if said else ()


def _in_words(one: CorrectionOut | TimeCorrectionOut, about: str, zone: str) -> str:
    is_, was = one.becomes_local or one.becomes, one.was_local or one.was
    by = f"{one.corrected_by_name} at {in_zone(one.corrected_at, zone)}"
    why = one.reasons.rstrip(".")
    said = f"{sentence(about)}: {is_}, given before as {was}. Corrected by {by}. Reason: {why}."
    remark = [f"Remark: {one.remark.rstrip('.')}."] if one.remark else []
    return " ".join([said, *remark, *_remeasured([*one.now_in_time, *one.now_late])])


def _remeasured(moved: Sequence[RemeasuredOut]) -> Iterator[str]:
    for one in moved:
        yield f"{sentence(one.what)} {one.number}: {one.words}, before {one.before}."
