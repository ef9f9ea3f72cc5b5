"""The organiser's pages: the meet's settings, its officials, its start lists, its crew.

What is sent from them goes to the service's own routes; lists come as files, are looked at first,
and every problem in them is shown in its place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated
from zoneinfo import available_timezones

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy import Connection

from app.access import queries as access
from app.access.guard import Here
from app.access.wire import OfficialOut
from app.crew import queries as crew
from app.crew.wire import CrewOut
from app.ids import ChosenId, MeetId
from app.meets import queries as meets
from app.meets.wire import HeatOut
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.roles import Role
from app.rules.book import editions, load_book

router = APIRouter(include_in_schema=False)

Meet = Annotated[ChosenId, Path()]


@dataclass(frozen=True, slots=True)
class SetUp:
    """How far the meet's set-up is: what is there, and what is missing before the first heat."""

    officials: Sequence[OfficialOut]
    heats: Sequence[HeatOut]
    crew: CrewOut

    def count(self, role: str) -> int:
        """How many active officials hold a role."""
        return sum(one.active and role in one.roles for one in self.officials)

    @property
    def roles_missing(self) -> list[Role]:
        """Roles that nobody holds; a chief umpire is had by large meets alone."""
        return [role for role in Role if role != Role.CHIEF_UMPIRE and not self.count(role)]

    @property
    def not_joined(self) -> int:
        """How many active officials have never opened a personal link."""
        return sum(one.active and not one.has_pin for one in self.officials)

    @property
    def rounds(self) -> list[tuple[tuple[str, str], list[HeatOut]]]:
        """The heats by event and round, in the order of the programme."""
        by_round: dict[tuple[str, str], list[HeatOut]] = {}
        for (event, name), some in groupby(self.heats, lambda heat: (heat.event_name, heat.round)):
            by_round.setdefault((event, name), []).extend(some)
        return list(by_round.items())


def _set_up(conn: Connection, meet_id: MeetId) -> SetUp:
    return SetUp(
        access.officials_of(conn, meet_id),
        list(_every_heat(conn, meet_id)),
        crew.crew(conn, meet_id),
    )


def _every_heat(conn: Connection, meet_id: MeetId) -> Iterator[HeatOut]:
    after: int | None = 0
    while after is not None:
        page = meets.heats_page(conn, meet_id, after)
        yield from page.heats
        after = page.next


async def _shown(
    request: Request, here: Here, meet: str, template: str, language: str | None
) -> Response:
    meet_id = MeetId(meet)
    frame = await frame_of(here, meet_id)
    set_up = await here.store.read_apart(lambda conn: _set_up(conn, meet_id))
    shows = {"frame": frame, "set_up": set_up, "roles": list(Role), "editions": _editions()}
    return render(request, Page(template, shows, zone=frame.meet.time_zone), language)


def _editions() -> list[tuple[str, str]]:
    books = [load_book(key) for key in editions()]
    return [(book.key, f"{book.title}, {book.edition}") for book in books]


@router.get("/meets/{meet}/organiser")
async def show_organiser(
    meet: Meet, request: Request, here: Here, language: Language = None
) -> Response:
    """What the meet has, what it lacks, and its settings."""
    return await _shown(request, here, meet, "organiser.html", language)


@router.get("/meets/{meet}/organiser/officials")
async def show_officials(
    meet: Meet, request: Request, here: Here, language: Language = None
) -> Response:
    """Everybody who works at the meet, with their roles and links."""
    return await _shown(request, here, meet, "organiser_officials.html", language)


@router.get("/meets/{meet}/organiser/start-lists")
async def show_start_lists(
    meet: Meet, request: Request, here: Here, language: Language = None
) -> Response:
    """The heats that are drawn, and loading further ones."""
    return await _shown(request, here, meet, "organiser_start_lists.html", language)


@router.get("/meets/{meet}/organiser/crew")
async def show_crew(
    meet: Meet, request: Request, here: Here, language: Language = None
) -> Response:
    """Who stands where, what nobody watches, and loading a plan."""
    return await _shown(request, here, meet, "organiser_crew.html", language)


@router.get("/set-up")
async def show_set_up(request: Request, language: Language = None) -> Response:
    """Making a meet with the server's setup key."""
    zones = sorted(zone for zone in available_timezones() if "/" in zone)
    return render(request, Page("set_up.html", {"editions": _editions(), "zones": zones}), language)
