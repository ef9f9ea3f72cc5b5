"""Pictures over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.answers import answer, answer_put
from app.ids import ChosenId, MeetId, PictureId, ReportId
from app.pictures import queries
from app.pictures.actions import add_picture
from app.pictures.redrawing import LARGEST_PICTURE, redrawn
from app.pictures.wire import PictureOut
from app.refusals import NotYours
from app.reports.queries import report_out
from app.roles import Role

router = APIRouter(tags=["pictures"])

PICTURE = "/api/meets/{meet}/reports/{report}/pictures/{picture}"
TAKEN = ("image/jpeg", "image/png", "image/webp", "image/heic")
READERS = (Role.REFEREE, Role.CHIEF_UMPIRE, Role.JURY)
_BYTES = {"schema": {"type": "string", "format": "binary"}}

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
    content = await request.body()
    copy = await redrawn(content)
    act = add_picture(PictureId(picture), ReportId(report), content, copy, here.caller)
    return answer_put(await here.store.act(MeetId(meet), here.actor, act))


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

    return Response(await here.store.read_apart(read), media_type="image/jpeg", headers=_KEPT)


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
    headers = {**_KEPT, "Content-Disposition": f'attachment; filename="{name}"'}
    return Response(found.content, media_type=found.media_type, headers=headers)


_KEPT = {"X-Content-Type-Options": "nosniff", "Cache-Control": "private, no-store"}


def _readable(conn: Connection, here: Here, meet: str, report: str, picture: str) -> PictureOut:
    """A picture that the caller may see: as the report that it belongs to."""
    written = report_out(conn, MeetId(meet), ReportId(report))
    if here.caller.official_id != written.official and not here.caller.holds(*READERS):
        raise NotYours("This belongs to another official's report.")
    return queries.picture_out(conn, MeetId(meet), ReportId(report), PictureId(picture))
