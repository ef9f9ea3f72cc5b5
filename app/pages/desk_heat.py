"""One heat at the results desk: its result as it would be announced now, what was announced, and
taking in a protest about it.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.appeals.queries import JUDGEMENT, protest_kinds
from app.appeals.showing import protests_in_heat_shown
from app.appeals.wire import About, Capacity, ProtestOut
from app.guarded import for_readers
from app.ids import AnnouncementId, ChosenId, HeatId, MeetId
from app.meets.queries import heat as known_heat
from app.meets.queries import heats_in, meet_facts
from app.meets.wire import HeatOut
from app.pages.allowed import allowed_to
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.refusals import NotFound
from app.results import finality
from app.results.announcement_wire import AnnouncementOut
from app.results.announcements import announcements_of_heat
from app.results.changes import Changes, changes
from app.results.one_round import others_of_round
from app.results.queries import blocked_by
from app.results.windows import windows_of_heat
from app.results.wire import ResultOut, WindowOut
from app.rulings.queries import rulings_in_heat
from app.rulings.wire import StandingRulingOut

router = for_readers()

Meet = Annotated[ChosenId, Path()]
Heat = Annotated[ChosenId, Path()]


@dataclass(frozen=True, slots=True)
class AtHeat:
    """A heat as the desk works on it. `result` is None before a finish list has come; `changed` is
    what would be told otherwise than in the last announcement.
    """

    heat: HeatOut
    result: ResultOut | None
    in_the_way: Sequence[str]
    changed: Changes | None
    announced: Sequence[AnnouncementOut]
    windows: Sequence[WindowOut]
    rulings: Sequence[StandingRulingOut]
    protests: Sequence[ProtestOut]


def at_heat(
    conn: Connection, meet_id: MeetId, heat_id: HeatId, now: datetime, *, reads_protests: bool
) -> AtHeat:
    """All that the desk asks about a heat; NotFound for one that is not of this meet."""
    heat = finality.heat_shown(conn, meet_id, heat_id, now)
    result = None
    with suppress(NotFound):
        result = finality.result_shown(conn, meet_id, heat_id, now)
    announced = [
        finality.announcement_shown(conn, meet_id, AnnouncementId(one.id), now)
        for one in announcements_of_heat(conn, meet_id, heat_id)
    ]
    return AtHeat(
        heat=heat,
        result=result,
        in_the_way=result.in_the_way if result else blocked_by(conn, meet_id, [heat])[heat_id],
        changed=changes(announced[-1].lines, result.lines) if announced and result else None,
        announced=announced[::-1],
        windows=windows_of_heat(conn, meet_id, heat_id, now),
        rulings=rulings_in_heat(conn, meet_id, heat_id).rulings,
        protests=protests_in_heat_shown(conn, meet_id, heat_id) if reads_protests else (),
    )


@router.get("/meets/{meet}/desk/heats/{heat}")
async def show_heat(
    meet: Meet, heat: Heat, request: Request, here: Here, language: Language = None
) -> Response:
    """A heat's result: load its finish list, look at it, announce it."""
    frame = await frame_of(here, MeetId(meet))
    may = allowed_to(frame)
    reads = may("GET", "protests")
    # Apart from the loop: its letters are worked out from all of its round.
    at = await here.store.read_apart(
        lambda conn: at_heat(conn, frame.meet.id, HeatId(heat), frame.now, reads_protests=reads)
    )
    shows = {"frame": frame, "may": may, "at": at}
    return render(request, Page("desk_heat.html", shows, zone=frame.meet.time_zone), language)


@dataclass(frozen=True, slots=True)
class Intake:
    """What is chosen from when a protest about a heat is taken in."""

    heat: HeatOut
    heats: Sequence[HeatOut]
    rulings: Sequence[StandingRulingOut]
    grounds: Sequence[str]
    bars_judgement: bool
    windows: Sequence[WindowOut]


def intake_of(conn: Connection, meet_id: MeetId, heat_id: HeatId, now: datetime) -> Intake:
    """The teams of the heat's round, heat by heat, its rulings, and what can be lodged until when.

    World Athletics TR8.3: by or for an athlete or a team of the same round.
    """
    facts = meet_facts(conn, meet_id)
    asked = known_heat(conn, meet_id, heat_id)
    return Intake(
        heat=asked,
        heats=[asked, *heats_in(conn, meet_id, others_of_round(conn, heat_id))],
        rulings=rulings_in_heat(conn, meet_id, heat_id).rulings,
        grounds=[*protest_kinds(facts), JUDGEMENT],
        bars_judgement=not facts.book.protestable_judgement,
        windows=windows_of_heat(conn, meet_id, heat_id, now),
    )


@router.get("/meets/{meet}/desk/heats/{heat}/protest")
async def show_intake(
    meet: Meet, heat: Heat, request: Request, here: Here, language: Language = None
) -> Response:
    """Taking in a protest about a heat."""
    frame = await frame_of(here, MeetId(meet))
    intake = await here.store.read(
        lambda conn: intake_of(conn, frame.meet.id, HeatId(heat), frame.now)
    )
    shows = {
        "frame": frame,
        "may": allowed_to(frame),
        "intake": intake,
        "abouts": [one.value for one in About],
        "capacities": [one.value for one in Capacity],
    }
    return render(request, Page("protest_new.html", shows, zone=frame.meet.time_zone), language)
