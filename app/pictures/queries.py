"""Reading pictures: what is known of them, the copy, and the original."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from sqlalchemy import Connection, Table, bindparam, func, select

from app.access.names import WHO, name_then
from app.access.tables import officials
from app.ids import MeetId, PictureId, ReportId
from app.pictures.tables import picture_copies, picture_originals, pictures
from app.pictures.wire import PictureOut
from app.refusals import NotFound
from app.store.rows import AnyRow

_PICTURES = select(pictures, *WHO).join(officials, officials.c.id == pictures.c.official_id)
_BY_ID = _PICTURES.where(pictures.c.id == bindparam("picture"))
_OF_REPORTS = _PICTURES.where(
    pictures.c.report_id.in_(bindparam("reports", expanding=True))
).order_by(pictures.c.received_at, pictures.c.id)
_COUNT = select(func.count()).where(pictures.c.report_id == bindparam("report"))
_SIZE = select(func.coalesce(func.sum(pictures.c.size), 0)).where(
    pictures.c.meet_id == bindparam("meet")
)


class File(NamedTuple):
    """A picture's bytes, and what they are."""

    content: bytes
    media_type: str


def picture_row(conn: Connection, picture_id: PictureId) -> AnyRow | None:
    """A picture as stored, None where nobody has used the id."""
    return conn.execute(_BY_ID, {"picture": picture_id}).one_or_none()


def picture_out(
    conn: Connection, meet_id: MeetId, report_id: ReportId, picture_id: PictureId
) -> PictureOut:
    """A picture of a report; NotFound for an id that is not of this report, or not of this meet."""
    row = picture_row(conn, picture_id)
    if row is None or (row.meet_id, row.report_id) != (meet_id, report_id):
        raise NotFound("There is no such picture of this report.")
    return _out(conn, row)


def pictures_of(
    conn: Connection, report_ids: Iterable[ReportId]
) -> Mapping[ReportId, list[PictureOut]]:
    """The pictures of reports, in the order in which they came; reports without any are left out.

    One statement.
    """
    found: dict[ReportId, list[PictureOut]] = {}
    for row in conn.execute(_OF_REPORTS, {"reports": list(report_ids)}):
        found.setdefault(ReportId(row.report_id), []).append(_out(conn, row))
    return found


def count_pictures(conn: Connection, report_id: ReportId) -> int:
    """How many pictures a report has."""
    count: int = conn.execute(_COUNT, {"report": report_id}).scalar_one()
    return count


def size_of_all(conn: Connection, meet_id: MeetId) -> int:
    """How many bytes the originals of a meet have together."""
    size: int = conn.execute(_SIZE, {"meet": meet_id}).scalar_one()
    return size


def shown_copy(conn: Connection, picture_id: PictureId) -> bytes:
    """The copy that is shown, a JPEG; NotFound where it was erased."""
    return _content(conn, picture_copies, picture_id)


def original(conn: Connection, picture: PictureOut) -> File:
    """A picture as it came; NotFound where that was erased."""
    return File(_content(conn, picture_originals, picture.id), picture.media_type)


def _content(conn: Connection, table: Table, picture_id: PictureId) -> bytes:
    asked = select(table.c.content).where(table.c.picture_id == picture_id)
    content = conn.execute(asked).scalar_one_or_none()
    if content is None:
        raise NotFound("This picture was erased. That it was there, and its digest, stay known.")
    return bytes(content)


def _out(conn: Connection, row: AnyRow) -> PictureOut:
    return PictureOut(
        id=row.id,
        report=row.report_id,
        official=row.official_id,
        official_name=name_then(conn, row, row.received_at),
        received_at=row.received_at,
        media_type=row.media_type,
        size=row.size,
        sha256=row.sha256,
        shown_sha256=row.shown_sha256,
        copy_path=(f"/api/meets/{row.meet_id}/reports/{row.report_id}/pictures/{row.id}/copy.jpg"),
        width=row.width,
        height=row.height,
    )
