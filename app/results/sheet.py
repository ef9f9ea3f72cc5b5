"""An announcement's sheet, to be given out: what it tells, and that the results desk signed it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from app.forms.result_sheet import ResultSheet, draw_result_sheet
from app.forms.signature_section import SHA256_OF_STATEMENT
from app.ids import AnnouncementId, MeetId
from app.record.kinds import Kind
from app.results.announcement_wire import AnnouncementOut
from app.results.announcements import announcement_row
from app.results.finality import announcement_shown
from app.results.printing import sheet_facts
from app.sealing.told import Act, Kept, Told, Wanted
from app.store.rows import AnyRow


def announcement_sheet(meet_id: MeetId, announcement_id: AnnouncementId) -> Wanted[ResultSheet]:
    """The sheet of an announcement, as it is told at the time."""

    def gather(conn: Connection, now: datetime) -> Told[ResultSheet]:
        announced = announcement_shown(conn, meet_id, announcement_id, now)
        sheet = sheet_facts(announced, now)
        kept = kept_of_announcement(announcement_row(conn, meet_id, announcement_id))
        return Told(sheet, (_signed(announced),), announced.venue, announced.time_zone, kept)

    return Wanted("announcement", announcement_id, gather, draw_result_sheet)


def kept_of_announcement(row: AnyRow) -> Kept:
    """What was fixed when an announcement was signed: all that it says."""
    return Kept(
        act=row.id,
        kind=Kind.ANNOUNCEMENT,
        about=row.id,
        statement_sha256=row.statement_digest,
        facts=row.snapshot,
    )


def _signed(announced: AnnouncementOut) -> Act:
    return Act(
        ", ".join(filter(None, [announced.announced_by_name, "results desk"])),
        f"Announcement {announced.number} of {announced.event_name}, {announced.round}, heat "
        f"{announced.heat_number}; signed: {announced.signed_with}. {SHA256_OF_STATEMENT}: "
        f"{announced.statement_digest}",
    )
