"""Pictures over HTTP."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore
from typing import Annotated

from fastapi import Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.answers import answer, answer_put
from app.guarded import for_programs
from app.ids import ChosenId, MeetId, PictureId, ReportId
from app.pictures import queries
from app.pictures.actions import Place, add_picture, known_picture, look_before
from app.pictures.redrawing import LARGEST_PICTURE, redrawn
from app.pictures.wire import PictureOut
from app.refusals import Unavailable
from app.reports.queries import report_out
from app.reports.who_reads import insist_may_read

router = for_programs("pictures")

PICTURE = "/api/meets/{meet}/reports/{report}/pictures/{picture}"
TAKEN = ("image/jpeg", "image/png", "image/webp", "image/heic")
MOST_AT_ONCE = 16
_NOT_KEPT = {"Cache-Control": "private, no-store"}
_BYTES = {"schema": {"type": "string", "format": "binary"}}

_under_way = BoundedSemaphore(MOST_AT_ONCE)

Meet = Annotated[ChosenId, Path()]
Report = Annotated[ChosenId, Path()]
Picture = Annotated[ChosenId, Path()]


@router.put(
    PICTURE,
    response_model=PictureOut,
    max_body_size=LARGEST_PICTURE,
    openapi_extra={"requestBody": {"required": True, "content": dict.fromkeys(TAKEN, _BYTES)}},
)
async def put_picture(
    meet: Meet, report: Report, picture: Picture, request: Request, here: Here
) -> Response:
    """Add a picture to a report: the file in the body, whatever the header calls it."""
    most = here.services.settings.picture_mib
    place = Place(MeetId(meet), ReportId(report), PictureId(picture), here.caller, most)
    await here.store.read(lambda conn: look_before(conn, place))
    with _one_of_few():
        content = await request.body()
        known = await here.store.read(lambda conn: known_picture(conn, place, content))
        if known is not None:
            return answer(known)
        copy = await redrawn(content)
        return answer_put(
            await here.store.act(place.meet, here.actor, add_picture(place, content, copy))
        )


@contextmanager
def _one_of_few() -> Iterator[None]:
    """Unavailable where as many pictures are under way as this process holds at once."""
    if not _under_way.acquire(blocking=False):
        raise Unavailable("Many pictures come at once. Send this one again in a moment.")
    try:
        yield
    finally:
        _under_way.release()


@router.get(PICTURE, response_model=PictureOut)
async def get_picture(meet: Meet, report: Report, picture: Picture, here: Here) -> Response:
    """What is known of a picture."""
    return answer(await here.store.read(lambda conn: _readable(conn, here, meet, report, picture)))


@router.get(
    f"{PICTURE}/copy.jpg",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": _BYTES}}},
)
async def get_copy(meet: Meet, report: Report, picture: Picture, here: Here) -> Response:
    """The picture as it is shown: its pixels alone, upright, and 2,560 at most along an edge."""

    def read(conn: Connection) -> bytes:
        return queries.shown_copy(conn, _readable(conn, here, meet, report, picture).id)

    return Response(await here.store.read_apart(read), media_type="image/jpeg", headers=_NOT_KEPT)


@router.get(
    f"{PICTURE}/original",
    response_class=Response,
    responses={200: {"content": dict.fromkeys(TAKEN, _BYTES)}},
)
async def get_original(meet: Meet, report: Report, picture: Picture, here: Here) -> Response:
    """The file as it came, with all that it says of place and device: it is evidence, and to be
    handed on to nobody who need not have it.
    """

    def read(conn: Connection) -> queries.File:
        return queries.original(conn, _readable(conn, here, meet, report, picture))

    found = await here.store.read_apart(read)
    name = f"picture-{picture}.{found.media_type.rsplit('/', 1)[1]}"
    headers = {**_NOT_KEPT, "Content-Disposition": f'attachment; filename="{name}"'}
    return Response(found.content, media_type=found.media_type, headers=headers)


def _readable(conn: Connection, here: Here, meet: str, report: str, picture: str) -> PictureOut:
    """A picture that the caller may see: as the report that it belongs to."""
    written = report_out(conn, MeetId(meet), ReportId(report))
    insist_may_read(here.caller, written.official)
    return queries.picture_out(conn, MeetId(meet), ReportId(report), PictureId(picture))
