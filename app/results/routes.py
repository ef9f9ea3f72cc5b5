"""Heats as they stand, results, announcements and windows over HTTP.

Heats are shown here, and started and held back, since whether they are final follows from results.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import Path, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from app.access.guard import Here
from app.access.sign_wire import Check
from app.access.signing import act_signed, take_pen
from app.answers import VersionNamed, VersionRequired, answer, answer_put
from app.forms.paper import Paper
from app.guarded import for_programs
from app.header_names import A_LIST, header_names
from app.ids import AnnouncementId, ChosenId, CorrectionId, HeatId, MeetId
from app.meets import actions as heats
from app.meets import pointing
from app.meets.queries import names_in_event_of
from app.meets.wire import (
    HeatNowIn,
    HeatNowOut,
    HeatOut,
    HeatsOut,
    HoldBackIn,
    MeetOut,
    NotHeldIn,
)
from app.refusals import FileRefused
from app.results import actions, announcing, drawn, finality, holding_back, not_held, windows
from app.results.announced_time import correct_time
from app.results.announcement_wire import AnnouncementIn, AnnouncementOut, AnnouncementsOut
from app.results.calendar import as_calendar
from app.results.called_off import unless_called_off
from app.results.correction_wire import (
    EndCorrectionIn,
    EndCorrectionsOut,
    EndOfMeetIn,
    EndOut,
    TimeCorrectionIn,
)
from app.results.ending import correct_end, end_corrections, end_meet, end_of_meet
from app.results.printing import as_csv, as_text
from app.results.sheet import announcement_sheet
from app.results.wire import ResultOut, WindowsOut
from app.sealing.papers import as_pdf, sealed_paper
from app.sheets.finish_list import FinishRow, read_finish_list
from app.sheets.table import SheetRefused

router = for_programs("results")

NOTHING_TO_SAY = HoldBackIn()
"""What is meant where a start is recalled and no document comes with it."""

LARGEST_FINISH_LIST = 256 * 1024

Meet = Annotated[ChosenId, Path()]
Heat = Annotated[ChosenId, Path()]
Announcement = Annotated[ChosenId, Path()]
Correction = Annotated[ChosenId, Path()]


@router.get("/api/meets/{meet}/heats", response_model=HeatsOut)
async def list_heats(
    meet: Meet, here: Here, after: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0
) -> Response:
    """Heats in the order of the programme, a hundred a page, and the one that runs."""
    now = here.clock.now()
    # Apart from the loop: whether results are final is worked out, and anybody may ask.
    return answer(
        await here.store.read_apart(
            lambda conn: drawn.page_to_mind(
                conn, MeetId(meet), finality.heats_shown(conn, MeetId(meet), after, now)
            )
        )
    )


@router.get("/api/meets/{meet}/heats/{heat}", response_model=HeatOut)
async def get_heat(meet: Meet, heat: Heat, here: Here) -> Response:
    """One heat with its lanes."""
    now = here.clock.now()
    out = await here.store.read_apart(
        lambda conn: drawn.heat_to_mind(
            conn, MeetId(meet), finality.heat_shown(conn, MeetId(meet), HeatId(heat), now)
        )
    )
    return answer(out, version=out.version)


@router.put("/api/meets/{meet}/heat-now", response_model=HeatNowOut)
async def put_heat_now(meet: Meet, sent: HeatNowIn, here: Here) -> Response:
    """Say which heat is now, for every phone to follow; starting a heat says so too."""
    act = unless_called_off(HeatId(sent.heat), pointing.point_at(sent))
    put = await here.store.act(MeetId(meet), here.actor, act)
    shown = await here.store.read_apart(lambda conn: drawn.heat_now_to_mind(conn, MeetId(meet)))
    return answer(shown, created=put.created)


@router.get("/api/meets/{meet}/heat-now", response_model=HeatNowOut)
async def get_heat_now(meet: Meet, here: Here) -> Response:
    """Which heat is now, and which is next."""
    return answer(
        await here.store.read_apart(lambda conn: drawn.heat_now_to_mind(conn, MeetId(meet)))
    )


@router.post("/api/meets/{meet}/heats/{heat}/start", response_model=HeatOut)
async def start_heat(meet: Meet, heat: Heat, here: Here, version: VersionRequired) -> Response:
    """This heat runs now, whoever is drawn: `mind` says who of them is not through."""
    started = drawn.telling_what_to_mind(heats.start_heat(HeatId(heat), version))
    act = finality.unless_final(HeatId(heat), started)
    out = await here.store.act(MeetId(meet), here.actor, unless_called_off(HeatId(heat), act))
    return answer(out, version=out.version)


@router.post("/api/meets/{meet}/heats/{heat}/hold-back", response_model=HeatOut)
async def hold_back_heat(
    meet: Meet, heat: Heat, here: Here, version: VersionRequired, sent: HoldBackIn = NOTHING_TO_SAY
) -> Response:
    """This heat has not begun after all, or is to run again; not one whose result is final."""
    held = holding_back.hold_back_heat(HeatId(heat), sent, here.caller, version)
    act = finality.unless_final(HeatId(heat), held)
    out = await here.store.act(MeetId(meet), here.actor, unless_called_off(HeatId(heat), act))
    return answer(out, version=out.version)


@router.post("/api/meets/{meet}/heats/{heat}/not-held", response_model=HeatOut)
async def declare_not_held(
    meet: Meet, heat: Heat, sent: NotHeldIn, here: Here, version: VersionRequired
) -> Response:
    """This heat is not held: its round has been drawn into fewer, and waits for it no more."""
    act = not_held.declare_not_held(HeatId(heat), sent, version)
    out = await here.store.act(MeetId(meet), here.actor, act)
    return answer(out, version=out.version)


@router.put(
    "/api/meets/{meet}/heats/{heat}/result",
    response_model=ResultOut,
    max_body_size=LARGEST_FINISH_LIST,
    openapi_extra=A_LIST,
)
async def put_result(
    meet: Meet,
    heat: Heat,
    request: Request,
    here: Here,
    version: VersionNamed,
    columns: Annotated[
        str, Query(max_length=2000, description='own header names: {"Bahn":"lane","Zeit":"time"}')
    ] = "{}",
    check: Annotated[bool, Query()] = False,
) -> Response:
    """Load a heat's finish order and times from a CSV or XLSX file in the body; `check=true` only
    looks, and is answered with the result that the list would give.
    """
    content = await request.body()
    rows = await run_in_threadpool(read_file, content, header_names(columns))
    load = actions.load_result(HeatId(heat), rows, content, here.caller, version)
    act = unless_called_off(HeatId(heat), load)
    if check:
        return answer(await actions.look_at_result(here.store, MeetId(meet), here.actor, act))
    put = await here.store.act(MeetId(meet), here.actor, act)
    return answer_put(put, version=put.thing.version)


def read_file(content: bytes, columns: dict[str, str]) -> tuple[FinishRow, ...]:
    """The rows of a finish list; FileRefused names every problem by row and column."""
    try:
        rows, problems = read_finish_list(content, mapping=columns)
    except SheetRefused as refused:
        raise FileRefused("finish list", refused.problems) from refused
    if problems:
        raise FileRefused("finish list", problems)
    return rows


@router.get("/api/meets/{meet}/heats/{heat}/result", response_model=ResultOut)
async def get_result(meet: Meet, heat: Heat, here: Here) -> Response:
    """The heat's annotated result as it would be announced now, and what blocks that."""
    now = here.clock.now()
    # Apart from the loop: its letters are worked out from all of its round.
    out = await here.store.read_apart(
        lambda conn: finality.result_shown(conn, MeetId(meet), HeatId(heat), now)
    )
    return answer(out, version=out.version)


@router.put("/api/meets/{meet}/announcements/{announcement}", response_model=AnnouncementOut)
async def put_announcement(
    meet: Meet,
    announcement: Announcement,
    sent: AnnouncementIn,
    here: Here,
    version: VersionRequired,
    check: Check = False,
) -> Response:
    """Announce a result, signed with the PIN; If-Match names the result as it was looked at."""
    pen = await take_pen(here, sent, check=check)
    put = await act_signed(
        here,
        MeetId(meet),
        pen,
        announcing.announce(AnnouncementId(announcement), sent, pen, version),
    )
    if put.created:  # whoever keeps its sheet can prove a later rewrite of what led to it
        await run_in_threadpool(here.services.seals.sign_present_head, MeetId(meet))
    return answer_put(put)


@router.put(
    "/api/meets/{meet}/announcements/{announcement}/time-corrections/{correction}",
    response_model=AnnouncementOut,
)
async def put_time_correction(
    meet: Meet,
    announcement: Announcement,
    correction: Correction,
    sent: TimeCorrectionIn,
    here: Here,
    check: Check = False,
) -> Response:
    """Correct the time of an announcement that was typed wrongly, signed with the PIN. The windows
    that it opened follow.
    """
    pen = await take_pen(here, sent, check=check)
    act = correct_time(AnnouncementId(announcement), CorrectionId(correction), sent, pen)
    return answer_put(await act_signed(here, MeetId(meet), pen, act))


@router.get("/api/meets/{meet}/announcements", response_model=AnnouncementsOut)
async def list_announcements(
    meet: Meet, here: Here, before: Annotated[str | None, Query(max_length=80)] = None
) -> Response:
    """What has been announced, newest first."""
    now = here.clock.now()
    # Apart from the loop: whether results still hold is worked out, and anybody may ask.
    out = await here.store.read_apart(
        lambda conn: finality.announcements_shown(conn, MeetId(meet), before, now)
    )
    return answer(out)


@router.get("/api/meets/{meet}/announcements/{announcement}.json", response_model=AnnouncementOut)
async def get_announcement(meet: Meet, announcement: Announcement, here: Here) -> Response:
    """One announcement. Which protests a corrected time made late, officials read in the answer to
    the correction and in the dossier.
    """
    return answer((await _announcement(here, meet, announcement, here.clock.now())).for_everybody())


@router.get(
    "/api/meets/{meet}/announcements/{announcement}.csv",
    response_class=Response,
    responses={200: {"content": {"text/csv": {}}}},
)
async def get_announcement_csv(meet: Meet, announcement: Announcement, here: Here) -> Response:
    """The annotated result as CSV."""
    announced = await _announcement(here, meet, announcement, here.clock.now())
    return Response(as_csv(announced), media_type="text/csv; charset=utf-8; header=present")


@router.get(
    "/api/meets/{meet}/announcements/{announcement}.txt",
    response_class=Response,
    responses={200: {"content": {"text/plain": {}}}},
)
async def get_announcement_text(meet: Meet, announcement: Announcement, here: Here) -> Response:
    """The result as text for the announcer to read aloud."""
    now = here.clock.now()
    announced = await _announcement(here, meet, announcement, now)
    teams = await here.store.read(lambda conn: names_in_event_of(conn, announced.heat))
    return Response(as_text(announced, now, teams), media_type="text/plain; charset=utf-8")


@router.get(
    "/api/meets/{meet}/announcements/{announcement}.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_announcement_pdf(
    meet: Meet,
    announcement: Announcement,
    here: Here,
    paper: Annotated[Paper, Query()] = Paper.A4,
) -> Response:
    """The announcement as a sheet to print and post, sealed."""
    wanted = announcement_sheet(MeetId(meet), AnnouncementId(announcement))
    return as_pdf(await sealed_paper(here, MeetId(meet), paper, wanted), f"result-{announcement}")


async def _announcement(here: Here, meet: str, announcement: str, now: datetime) -> AnnouncementOut:
    ident = AnnouncementId(announcement)
    # Apart from the loop: whether it still holds is worked out, and anybody may ask.
    return await here.store.read_apart(
        lambda conn: finality.announcement_shown(conn, MeetId(meet), ident, now)
    )


@router.put("/api/meets/{meet}/end", response_model=MeetOut)
async def put_end(meet: Meet, sent: EndOfMeetIn, here: Here, check: Check = False) -> Response:
    """The meet has ended, signed with the PIN: from then on count the windows that wait for it."""
    pen = await take_pen(here, sent, check=check)
    put = await act_signed(here, MeetId(meet), pen, end_meet(sent, pen))
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/end", response_model=EndOut)
async def get_end(meet: Meet, here: Here) -> Response:
    """When the meet ended, and what was said of it before it was corrected."""
    return answer(await here.store.read(lambda conn: end_of_meet(conn, MeetId(meet))))


@router.get("/api/meets/{meet}/end/time-corrections", response_model=EndCorrectionsOut)
async def get_end_corrections(meet: Meet, here: Here) -> Response:
    """The same for officials: who corrected it and why, and which protests are late by it."""
    return answer(await here.store.read(lambda conn: end_corrections(conn, MeetId(meet))))


@router.put("/api/meets/{meet}/end/time-corrections/{correction}", response_model=EndCorrectionsOut)
async def put_end_correction(
    meet: Meet, correction: Correction, sent: EndCorrectionIn, here: Here, check: Check = False
) -> Response:
    """Correct when the meet ended, where that was typed wrongly, signed with the PIN. The windows
    that count from it follow.
    """
    pen = await take_pen(here, sent, check=check)
    act = correct_end(CorrectionId(correction), sent, pen)
    return answer_put(await act_signed(here, MeetId(meet), pen, act))


@router.get("/api/meets/{meet}/windows.json", response_model=WindowsOut)
async def get_windows(
    meet: Meet, here: Here, after: Annotated[str | None, Query(max_length=120)] = None
) -> Response:
    """Running windows, soonest to close first; then those that have closed; a hundred a page."""
    now = here.clock.now()
    out = await here.store.read(lambda conn: windows.windows_of(conn, MeetId(meet), now, after))
    return answer(out)


@router.get(
    "/api/meets/{meet}/windows.ics",
    response_class=Response,
    responses={200: {"content": {"text/calendar": {}}}},
)
async def get_windows_calendar(meet: Meet, here: Here) -> Response:
    """All windows as a calendar."""
    now = here.clock.now()
    # Apart, and drawn up in a thread: a long meet's calendar takes its time.
    found = await here.store.read_apart(lambda conn: windows.all_windows(conn, MeetId(meet), now))
    content = await run_in_threadpool(as_calendar, found)
    return Response(content, media_type="text/calendar; charset=utf-8")
