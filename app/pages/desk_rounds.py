"""Rounds at the results desk: who goes on, what places score, and lots."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.guarded import for_readers
from app.ids import ChosenId, EventId, MeetId
from app.pages.allowed import allowed_to
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.rounds.queries import drawn_rounds, event_names, rounds_expected, rounds_out
from app.rounds.standing import round_at_hand
from app.rounds.telling import standing_out
from app.rounds.wire import RoundOut, RoundStandingOut
from app.visible import likeness

router = for_readers()


@dataclass(frozen=True, slots=True)
class RoundAtDesk:
    """A round as it is set and stands now; `setting` is None for one that nobody has set."""

    key: str
    event: EventId
    event_name: str
    name: str
    heats: int
    setting: RoundOut | None
    standing: RoundStandingOut | None


def rounds_at_desk(conn: Connection, meet_id: MeetId) -> list[RoundAtDesk]:
    """All rounds that the start lists have or that are expected, set or not, by event."""
    known = {(one.event, likeness(one.round)): one for one in rounds_out(conn, meet_id).rounds}
    events = event_names(conn, meet_id)
    drawn, expected = drawn_rounds(conn, events), rounds_expected(conn, events)
    found = []
    for event, name in events.items():
        names = {**expected[event], **{key: one.name for key, one in drawn[event].items()}}
        in_order = dict.fromkeys([*drawn[event], *expected[event]])
        for place, key in enumerate(in_order):
            setting = known.get((event, key))
            standing = None
            if setting is not None and setting.next_round and key in drawn[event]:
                at_hand = round_at_hand(conn, meet_id, event, key)
                standing = standing_out(at_hand, only_drawn=False)
            heats = drawn[event][key].heats if key in drawn[event] else 0
            mark = f"{event}-{place}"
            found.append(RoundAtDesk(mark, event, name, names[key], heats, setting, standing))
    return found


@router.get("/meets/{meet}/desk/rounds")
async def show_rounds(
    meet: Annotated[ChosenId, Path()], request: Request, here: Here, language: Language = None
) -> Response:
    """How rounds are set, and where they stand by all that is known."""
    frame = await frame_of(here, MeetId(meet))
    # Apart from the loop: who goes on is worked out.
    found = await here.store.read_apart(lambda conn: rounds_at_desk(conn, frame.meet.id))
    shows = {"frame": frame, "may": allowed_to(frame), "rounds": found}
    return render(request, Page("desk_rounds.html", shows, zone=frame.meet.time_zone), language)
