"""What is done with pictures: they are added to a report, and stay."""

from __future__ import annotations

from hashlib import sha256

from sqlalchemy import insert

from app.access.queries import Caller
from app.ids import PictureId, ReportId
from app.pictures.queries import count_pictures, picture_out, picture_row
from app.pictures.redrawing import Redrawn
from app.pictures.tables import picture_copies, picture_originals, pictures
from app.pictures.wire import PictureOut
from app.record.kinds import Kind
from app.refusals import IdTaken, NotYours, StateConflict
from app.reports.queries import report_out
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.roles import Role
from app.store.action import Action, Deed, Done, Put, Unit

MOST_OF_REPORT = 20
HEAD = (Role.REFEREE, Role.CHIEF_UMPIRE)


def add_picture(
    picture_id: PictureId, report_id: ReportId, content: bytes, copy: Redrawn, caller: Caller
) -> Action[Put[PictureOut]]:
    """Add a picture to a report: its author's, or the head official's.

    Also after a ruling: a telephone may have had no signal, and `received_at` tells. The same
    picture under the same id again is the same one. StateConflict where the report is withdrawn, or
    has as many as it may have.
    """
    digest = sha256(content).hexdigest()

    def act(unit: Unit) -> Done[Put[PictureOut]]:
        known = picture_row(unit.conn, picture_id)
        if known is not None:
            was = (known.meet_id, known.report_id, known.official_id, known.sha256)
            if was != (unit.meet_id, report_id, caller.official_id, digest):
                raise IdTaken("a picture", picture_id)
            return Done(
                Put(picture_out(unit.conn, unit.meet_id, report_id, picture_id), created=False),
                None,
            )
        _insist_takes_one(unit, report_out(unit.conn, unit.meet_id, report_id), caller)
        unit.conn.execute(
            insert(pictures).values(
                id=picture_id,
                meet_id=unit.meet_id,
                report_id=report_id,
                official_id=caller.official_id,
                media_type=copy.media_type,
                size=len(content),
                sha256=digest,
                shown_sha256=sha256(copy.jpeg).hexdigest(),
                width=copy.width,
                height=copy.height,
                received_at=unit.now,
            )
        )
        unit.conn.execute(insert(picture_originals).values(picture_id=picture_id, content=content))
        unit.conn.execute(insert(picture_copies).values(picture_id=picture_id, content=copy.jpeg))
        out = picture_out(unit.conn, unit.meet_id, report_id, picture_id)
        body = out.model_dump(mode="json", exclude={"id", "official_name", "copy_path"})
        return Done(Put(out, created=True), Deed(Kind.PICTURE_ADDED, picture_id, body))

    return act


def _insist_takes_one(unit: Unit, report: ReportOut, caller: Caller) -> None:
    if report.official != caller.official_id and not caller.holds(*HEAD):
        raise NotYours("This report was written by another official. Nothing was stored.")
    if report.state is ReportState.WITHDRAWN:
        raise StateConflict(
            "This report was withdrawn. Write a new one, and add the picture to that. Nothing was "
            "stored."
        )
    if count_pictures(unit.conn, report.id) >= MOST_OF_REPORT:
        raise StateConflict(
            f"This report has {MOST_OF_REPORT} pictures, and takes no more. Choose those that show "
            "it best. Nothing was stored."
        )
