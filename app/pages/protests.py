"""Protests: the list of what was lodged, and one protest with what it is about, what the referee
may order, and what is to be done next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Path, Query, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.appeals import showing
from app.appeals.deposits import Asked, asked_by
from app.appeals.jury_wire import AppealOut
from app.appeals.offers import Offers, offers_on_protest, offers_to_appeal
from app.appeals.states import ProtestAct
from app.appeals.wire import ProtestOut, Verdict
from app.guarded import for_readers
from app.ids import AppealId, CaseId, ChosenId, HeatId, MeetId, ProtestId, RulingId
from app.meets.queries import heat, heats_in, meet_facts
from app.meets.wire import LaneOut
from app.pages.allowed import May, allowed_to
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.pages.reported import CaseShown, case_shown
from app.results.one_round import others_of_round
from app.rulings import queries as rulings
from app.rulings.as_ruled import case_told
from app.rulings.wire import RulingOut

router = for_readers()

Meet = Annotated[ChosenId, Path()]
Before = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@dataclass(frozen=True, slots=True)
class AtProtest:
    """A protest as its page shows it; `case` and `offers` are None for whoever may not see them."""

    protest: ProtestOut
    ruling: RulingOut | None
    case: CaseShown | None
    appeals: Sequence[AppealOut]
    offers: Offers | None
    to_ask: Offers | None
    asked: Asked | None
    teams: Sequence[LaneOut]

    @property
    def can_be_decided(self) -> bool:
        """Whether the referee can decide on it now."""
        return ProtestAct.REJECT.value in self.protest.possible

    @property
    def is_to_be_told(self) -> bool:
        """Whether the protesters are still to be told that nothing is amended."""
        made = self.protest.decision
        if made is None or self.protest.jury or made.verdict is Verdict.REFERRED:
            return False
        return not made.ordered and made.advised_at is None

    @property
    def can_be_appealed(self) -> bool:
        """Whether there is a decision of the referee that an appeal can be against."""
        made = self.protest.decision
        return made is not None and made.verdict is not Verdict.REFERRED and not self.protest.jury


def at_protest(
    conn: Connection, meet_id: MeetId, protest_id: ProtestId, now: datetime, may: May
) -> AtProtest:
    """All about a protest that this role may see; NotFound for one that is not of this meet."""
    protest = showing.protest_shown(conn, meet_id, protest_id, now)
    ruling = protest.ruling and rulings.ruling_out(conn, meet_id, RulingId(protest.ruling))
    can_look = may("POST", "protests/{protest}/consequences")
    takes_appeals = protest.decision is not None and may("PUT", "appeals/{appeal}")
    return AtProtest(
        protest=protest,
        ruling=ruling or None,
        case=_case(conn, meet_id, ruling.case) if ruling and may("GET", "cases/{case}") else None,
        appeals=[
            showing.appeal_shown(conn, meet_id, AppealId(one), now) for one in protest.appeals
        ],
        offers=offers_on_protest(conn, meet_id, protest.heat) if can_look else None,
        to_ask=offers_to_appeal(conn, meet_id, protest.heat) if takes_appeals else None,
        asked=asked_by(meet_facts(conn, meet_id)),
        teams=_teams(conn, meet_id, protest.heat),
    )


def _case(conn: Connection, meet_id: MeetId, case_id: CaseId) -> CaseShown:
    case = case_told(conn, meet_id, case_id)
    relay = heat(conn, meet_id, case.heat).relay
    return case_shown(meet_facts(conn, meet_id), relay, case, ())


def _teams(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> list[LaneOut]:
    """The teams of the heat, then those of the other heats of its round."""
    every = heats_in(conn, meet_id, [heat_id, *others_of_round(conn, heat_id)])
    return list({lane.team: lane for one in every for lane in one.lanes}.values())


@router.get("/meets/{meet}/protests")
async def show_protests(
    meet: Meet,
    request: Request,
    here: Here,
    before: Before = None,
    appeals_before: Before = None,
    language: Language = None,
) -> Response:
    """What was lodged, the last first."""
    frame = await frame_of(here, MeetId(meet))
    ident, now = frame.meet.id, frame.now
    lodged = await here.store.read_apart(
        lambda conn: (
            showing.protests_shown(conn, ident, before, now),
            showing.appeals_shown(conn, ident, appeals_before, now),
        )
    )
    shows = {"frame": frame, "protests": lodged[0], "appeals": lodged[1]}
    return render(request, Page("protests.html", shows, zone=frame.meet.time_zone), language)


@router.get("/meets/{meet}/protests/{protest}")
async def show_protest(
    meet: Meet,
    protest: Annotated[ChosenId, Path()],
    request: Request,
    here: Here,
    language: Language = None,
) -> Response:
    """One protest: what it is about, whether it is in time, its decision, and what follows."""
    frame = await frame_of(here, MeetId(meet))
    may = allowed_to(frame)
    # Apart from the loop: what can be ordered is tried out on the round.
    at = await here.store.read_apart(
        lambda conn: at_protest(conn, frame.meet.id, ProtestId(protest), frame.now, may)
    )
    shows = {"frame": frame, "may": may, "at": at}
    return render(request, Page("protest.html", shows, zone=frame.meet.time_zone), language)
