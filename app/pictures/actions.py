"""What is done with pictures: they are added to a report, and stay."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256

from sqlalchemy import Connection, insert

from app.access.queries import Caller
from app.ids import MeetId, PictureId, ReportId
from app.pictures.queries import count_pictures, picture_out, picture_row, size_of_all
from app.pictures.redrawing import Redrawn
from app.pictures.tables import picture_copies, picture_originals, pictures
from app.pictures.wire import PictureOut
from app.record.kinds import Kind
from app.refusals import IdTaken, NotYours, StateConflict
from app.reports.grouping import touch_case_of
from app.reports.queries import report_out
from app.reports.states import ReportState
from app.roles import Role
from app.store.action import Action, Deed, Done, Put, Unit

MOST_OF_REPORT = 20
HEAD = (Role.REFEREE, Role.CHIEF_UMPIRE)
MIB = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Place:
    """Where a picture is to be added, by whom, and how many MiB a meet's may have together."""

    meet: MeetId
    report: ReportId
    picture: PictureId
    caller: Caller
    most_mib: int


def look_before(conn: Connection, place: Place) -> None:
    """Refuse what would be refused whatever the picture is, before it is read and drawn.

    NotFound, NotYours; StateConflict where the report was withdrawn, or has as many as it may have,
    and where the meet has. A picture that is there already may come again.
    """
    report = report_out(conn, place.meet, place.report)
    if report.official != place.caller.official_id and not place.caller.holds(*HEAD):
        raise NotYours("This report was written by another official. Nothing was stored.")
    if picture_row(conn, place.picture) is not None:
        return
    if report.state is ReportState.WITHDRAWN:
        raise StateConflict(
            "This report was withdrawn. Write a new one, and add the picture to that. Nothing was "
            "stored."
        )
    if count_pictures(conn, report.id) >= MOST_OF_REPORT:
        raise StateConflict(
            f"This report has {MOST_OF_REPORT} pictures, and takes no more. Choose those that show "
            "it best. Nothing was stored."
        )
    if size_of_all(conn, place.meet) >= place.most_mib * MIB:
        raise StateConflict(
            f"The pictures of this meet have {place.most_mib} MiB together, and no more are taken. "
            "Keep this one on the telephone and show it to the head official. Nothing was stored."
        )


def known_picture(conn: Connection, place: Place, content: bytes) -> PictureOut | None:
    """The picture that was sent before under this id, by the same person; IdTaken for another."""
    row = picture_row(conn, place.picture)
    if row is None:
        return None
    was = (row.meet_id, row.report_id, row.official_id, row.sha256)
    digest = sha256(content).hexdigest()
    if was != (place.meet, place.report, place.caller.official_id, digest):
        raise IdTaken("a picture", place.picture)
    return picture_out(conn, place.meet, place.report, place.picture)


def add_picture(place: Place, content: bytes, copy: Redrawn) -> Action[Put[PictureOut]]:
    """Add a picture to a report: its author's, or the head official's.

    Also after a ruling: a telephone may have had no signal, and `received_at` tells. The same
    picture under the same id again is the same one. Refused as by `look_before`.
    """

    def act(unit: Unit) -> Done[Put[PictureOut]]:
        look_before(unit.conn, place)
        known = known_picture(unit.conn, place, content)
        if known is not None:
            return Done(Put(known, created=False), None)
        _store(unit, place, content, copy)
        touch_case_of(unit, place.report)
        out = picture_out(unit.conn, place.meet, place.report, place.picture)
        body = out.model_dump(mode="json", exclude={"id", "official_name", "copy_path"})
        return Done(Put(out, created=True), Deed(Kind.PICTURE_ADDED, place.picture, body))

    return act


def _store(unit: Unit, place: Place, content: bytes, copy: Redrawn) -> None:
    unit.conn.execute(
        insert(pictures).values(
            id=place.picture,
            meet_id=place.meet,
            report_id=place.report,
            official_id=place.caller.official_id,
            media_type=copy.media_type,
            size=len(content),
            sha256=sha256(content).hexdigest(),
            shown_sha256=sha256(copy.jpeg).hexdigest(),
            width=copy.width,
            height=copy.height,
            received_at=unit.now,
        )
    )
    for table, bytes_of_it in ((picture_originals, content), (picture_copies, copy.jpeg)):
        unit.conn.execute(insert(table).values(picture_id=place.picture, content=bytes_of_it))
