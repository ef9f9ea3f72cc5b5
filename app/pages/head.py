"""The head official's tablet: the zones of the heat now, the docket, and which heat is now.

Everything on it is read through the same queries that the service's own answers are made of. What
is done goes over HTTP as from any other program: starting and holding back a heat, pointing at the
next one; what is done about a case, on the case's own page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Path, Query, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.access.queries import Caller
from app.appeals.queries import docket_of
from app.crew.queries import expected_posts
from app.guarded import for_readers
from app.ids import ChosenId, HeatId, MeetId, RulingId
from app.meets.queries import heats_around, heats_page, meet_facts
from app.meets.rehearsing import rehearsals
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.pages.frame import frame_of
from app.pages.grid import Grid, Watched, grid_of
from app.pages.rendering import Language, Page, render
from app.pages.zone_flags import flags_of_cases
from app.reports.heard import heat_posts, lanes_named
from app.results.drawn import heat_now_to_mind, heat_to_mind
from app.results.finality import heat_shown
from app.roles import Role
from app.rulings.queries import ruling_out
from app.rulings.wire import RulingOut
from app.surveys.queries import NOTHING_FOUND, found_in

router = for_readers()

CAN_BE_HELD_BACK = frozenset({HeatState.RUNNING, HeatState.JUDGED, HeatState.ANNOUNCED})

Ruled = Annotated[ChosenId | None, Query(description="the ruling that was signed just before")]


@dataclass(frozen=True, slots=True)
class HeatShown:
    """The heat whose zones are shown, which heat is now and which next, and what may be done."""

    shown: HeatOut | None
    grid: Grid | None
    now: HeatOut | None
    next: HeatOut | None
    others: Sequence[HeatOut]
    may_hold_back: bool
    zone_flags: Sequence[str]

    @property
    def before(self) -> HeatOut | None:
        """The heat that was started last, where another one is shown: as soon as its last post has
        called, the next one is now.
        """
        started = [(one.started_at, one) for one in self.others if one.started_at is not None]
        last = max(started, key=lambda pair: pair[0])[1] if started else None
        return None if last is None or self.shown is None or last.id == self.shown.id else last

    @property
    def is_now(self) -> bool:
        """Whether the heat that is shown is the one that is now."""
        return self.shown is not None and self.now is not None and self.shown.id == self.now.id


@router.get("/meets/{meet}/head")
async def show_head(
    meet: Annotated[ChosenId, Path()],
    request: Request,
    here: Here,
    heat: Annotated[ChosenId | None, Query(description="to look at another heat")] = None,
    ruled: Ruled = None,
    after: Annotated[str | None, Query(max_length=80)] = None,
    language: Language = None,
) -> Response:
    """One screen: who has called at which zone, and what awaits a ruling."""
    frame = await frame_of(here, MeetId(meet))
    at_hand = await here.store.read_apart(
        lambda conn: heat_at_hand(
            conn, MeetId(meet), HeatId(heat) if heat else None, here.caller, frame.now
        )
    )
    waiting = await here.store.read(lambda conn: docket_of(conn, MeetId(meet), after))
    surveyed = await here.store.read(lambda conn: flags_of_cases(conn, MeetId(meet), waiting.cases))
    signed = await here.store.read(lambda conn: just_signed(conn, MeetId(meet), ruled))
    shows = {"frame": frame, "heat": at_hand, "docket": waiting, "signed": signed, "after": after}
    shows["zone_flags"] = surveyed
    return render(request, Page("head.html", shows, zone=frame.meet.time_zone), language)


def just_signed(conn: Connection, meet_id: MeetId, ruling: str | None) -> RulingOut | None:
    """The ruling from which somebody comes, to say that it is stored and where its form is."""
    return ruling_out(conn, meet_id, RulingId(ruling)) if ruling else None


def heat_at_hand(
    conn: Connection, meet_id: MeetId, asked: HeatId | None, caller: Caller, now: datetime
) -> HeatShown:
    """The heat that was asked for, else the one that is now, with its zones."""
    pointed = heat_now_to_mind(conn, meet_id)
    which = asked or (pointed.now.id if pointed.now else None)
    shown = None
    if which is not None:
        shown = heat_to_mind(conn, meet_id, heat_shown(conn, meet_id, which, now))
    return HeatShown(
        shown=shown,
        grid=_grid(conn, meet_id, shown) if shown else None,
        now=pointed.now,
        next=pointed.next,
        others=_others(conn, meet_id, which),
        may_hold_back=shown is not None and _may_hold_back(conn, meet_id, shown, caller),
        zone_flags=_zone_flags(conn, meet_id, which) if which is not None else (),
    )


def _zone_flags(conn: Connection, meet_id: MeetId, heat: HeatId) -> Sequence[str]:
    return found_in(conn, meet_id, [heat]).get(heat, NOTHING_FOUND).flags


def _others(conn: Connection, meet_id: MeetId, which: HeatId | None) -> Sequence[HeatOut]:
    """The heats to choose from: rehearsals that go on, and heats around the one that is shown."""
    tried = [one for one in rehearsals(conn, meet_id) if one.state is not HeatState.ENDED]
    if which is None:
        return [*tried, *heats_page(conn, meet_id, 0).heats]
    return [*tried, *heats_around(conn, meet_id, which).heats]


def _grid(conn: Connection, meet_id: MeetId, heat: HeatOut) -> Grid:
    lines = heat_posts(conn, meet_id, heat.id).posts
    return grid_of(
        Watched(
            posts=tuple(expected_posts(conn, meet_id, heat)),
            lines={line.post: line for line in lines},
            lanes=tuple(lane.lane for lane in heat.lanes),
            named=lanes_named(conn, heat.id),
            is_to_come=heat.state is HeatState.TO_COME,
        )
    )


def _may_hold_back(conn: Connection, meet_id: MeetId, heat: HeatOut, caller: Caller) -> bool:
    """Whether the page offers it; an announced one is the referee's to have run again."""
    if heat.state not in CAN_BE_HELD_BACK:
        return False
    is_chief_only = not caller.holds(Role.REFEREE)
    if heat.state is HeatState.ANNOUNCED and is_chief_only:
        return meet_facts(conn, meet_id).terms.chief_umpire_rules
    return True
