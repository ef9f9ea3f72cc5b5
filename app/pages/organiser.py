"""The organiser's pages: the meet's settings, its officials, its start lists, its crew, rehearsals.

What is sent from them goes to the service's own routes; lists come as files, are looked at first,
and every problem in them is shown in its place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated, Any
from zoneinfo import available_timezones

from fastapi import Depends, Path, Query, Request, Response
from sqlalchemy import Connection

from app.access import queries as access
from app.access.guard import Admitted, Here
from app.access.wire import OfficialOut
from app.crew import telling as crew
from app.crew.wire import CrewOut
from app.guarded import for_readers
from app.ids import ChosenId, HeatId, MeetId
from app.meets import queries as meets
from app.meets.rehearsing import rehearsals, rehearsals_going_on
from app.meets.states import HeatState
from app.meets.wire import HeatOut, HeatsOut
from app.pages.crew_plan import crew_shown
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.plurals import spans
from app.roles import Role
from app.rules.book import editions, load_book
from app.rules.relay import Relay

router = for_readers()

Meet = Annotated[ChosenId, Path()]
Shown = Callable[[Connection, MeetId], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class SetUp:
    """How far the meet's set-up is: what is there, and what is missing before the first heat."""

    officials: Sequence[OfficialOut]
    heats: int
    crew: CrewOut
    rehearsals: int

    @property
    def roles_missing(self) -> list[Role]:
        """Roles that nobody holds; a chief umpire is had by large meets alone."""
        held = {role for one in self.officials if one.active for role in one.roles}
        return [role for role in Role if role != Role.CHIEF_UMPIRE and role not in held]

    @property
    def not_joined(self) -> int:
        """How many active officials have never opened a personal link."""
        return sum(one.active and not one.has_pin for one in self.officials)


@dataclass(frozen=True, slots=True)
class Programme:
    """A page of the heats that are drawn, by event and round."""

    rounds: Sequence[tuple[tuple[str, str], Sequence[HeatOut]]]
    next: int | None


@dataclass(frozen=True, slots=True)
class Rehearsals:
    """Rehearsals, those that go on first, and what a further one can be of."""

    going_on: Sequence[HeatOut]
    ended: Sequence[HeatOut]
    relays: Sequence[Relay]


def _set_up(conn: Connection, meet_id: MeetId) -> SetUp:
    return SetUp(
        access.officials_of(conn, meet_id),
        meets.count_heats(conn, meet_id),
        crew.crew(conn, meet_id),
        rehearsals_going_on(conn, meet_id),
    )


def _programme(page: HeatsOut) -> Programme:
    by_round: dict[tuple[str, str], list[HeatOut]] = {}
    for where, some in groupby(page.heats, lambda heat: (heat.event_name, heat.round)):
        by_round.setdefault(where, []).extend(some)
    return Programme(list(by_round.items()), page.next)


def _rehearsals(conn: Connection, meet_id: MeetId) -> Rehearsals:
    """Relays of the programme come first: they are what a crew will watch."""
    known = rehearsals(conn, meet_id)
    on_programme = meets.relays_of(conn, meet_id)
    return Rehearsals(
        [one for one in known if one.state is not HeatState.ENDED],
        [one for one in known if one.state is HeatState.ENDED],
        sorted(Relay, key=lambda relay: relay not in on_programme),
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """A page of a meet that somebody asked for."""

    request: Request
    here: Admitted
    meet: MeetId
    language: str | None

    async def shown(self, template: str, shows: Shown) -> Response:
        """The page, with what it shows of the meet and nothing more."""
        frame = await frame_of(self.here, self.meet)
        seen = await self.here.store.read_apart(lambda conn: shows(conn, self.meet))
        page = Page(template, {"frame": frame, **seen}, zone=frame.meet.time_zone)
        return render(self.request, page, self.language)


def _asked(meet: Meet, request: Request, here: Here, language: Language = None) -> _Asked:
    return _Asked(request, here, MeetId(meet), language)


def _editions() -> list[tuple[str, str]]:
    books = [load_book(key) for key in editions()]
    return [(book.key, f"{book.title}, {book.edition}") for book in books]


Asked = Annotated[_Asked, Depends(_asked)]


@router.get("/meets/{meet}/organiser")
async def show_organiser(asked: Asked) -> Response:
    """What the meet has, what it lacks, and its settings."""

    def shows(conn: Connection, meet_id: MeetId) -> Mapping[str, Any]:
        return {"set_up": _set_up(conn, meet_id), "editions": _editions()}

    return await asked.shown("organiser.html", shows)


@router.get("/meets/{meet}/organiser/officials")
async def show_officials(asked: Asked) -> Response:
    """Everybody who works at the meet, with their roles and links."""

    def shows(conn: Connection, meet_id: MeetId) -> Mapping[str, Any]:
        known = access.officials_of(conn, meet_id)
        organisers = sum(one.active and Role.ORGANISER in one.roles for one in known)
        return {"officials": known, "organisers": organisers, "roles": list(Role)}

    return await asked.shown("organiser_officials.html", shows)


@router.get("/meets/{meet}/organiser/start-lists")
async def show_start_lists(
    asked: Asked, after: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0
) -> Response:
    """The heats that are drawn, a hundred a page, and loading further ones."""

    def shows(conn: Connection, meet_id: MeetId) -> Mapping[str, Any]:
        page = _programme(meets.heats_page(conn, meet_id, after))
        return {"programme": page, "is_first": after == 0}

    return await asked.shown("organiser_start_lists.html", shows)


@router.get("/meets/{meet}/organiser/crew")
async def show_crew(
    asked: Asked,
    heat: Annotated[ChosenId | None, Query(description="left out, the first to come")] = None,
) -> Response:
    """Who stands where, as a table and as pictures, what nobody watches, and loading a plan."""

    def shows(conn: Connection, meet_id: MeetId) -> Mapping[str, Any]:
        return {"crew": crew_shown(conn, meet_id, HeatId(heat) if heat else None)}

    return await asked.shown("organiser_crew.html", shows)


@router.get("/meets/{meet}/organiser/rehearsals")
async def show_rehearsals(asked: Asked) -> Response:
    """The rehearsals, making one, and ending those that go on."""

    def shows(conn: Connection, meet_id: MeetId) -> Mapping[str, Any]:
        return {"tried": _rehearsals(conn, meet_id), "spans": spans}

    return await asked.shown("organiser_rehearsals.html", shows)


@router.get("/set-up")
async def show_set_up(request: Request, language: Language = None) -> Response:
    """Making a meet with the server's setup key."""
    zones = sorted(zone for zone in available_timezones() if "/" in zone)
    return render(request, Page("set_up.html", {"editions": _editions(), "zones": zones}), language)
