"""New personal links for officials, and the papers that show them.

Each link is issued by an act and an entry of its own, as one that is asked for alone. Its token
goes into the code on the paper and nowhere else. Whoever has joined keeps their session: a further
link lets in a further device, with the same PIN.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass

from app.access.actions import issue_link
from app.access.wire import LinkOut, OfficialOut
from app.clock import clock_time, in_zone, long_date
from app.forms.badge_sheet import Badge, BadgeSheet
from app.ids import LinkId, MeetId, OfficialId, new_id
from app.refusals import Malformed, StateConflict
from app.store.action import Actor
from app.store.store import Store


@dataclass(frozen=True, slots=True)
class OnPaper:
    """The address that a code leads to, and how long that works."""

    link: str
    works: str


def choose(known: Sequence[OfficialOut], named: Sequence[str]) -> list[OfficialOut]:
    """Whom new links are wanted for: those who are named, in that order, or all who are active.

    Malformed for somebody who is no official of the meet, or is named twice; StateConflict for
    somebody inactive, who could not join.
    """
    people = {person.id: person for person in known}
    chosen: dict[OfficialId, OfficialOut] = {}
    for number, ident in enumerate(named):
        person = people.get(OfficialId(ident))
        if person is None:
            raise _unfit(number, "is no official of this meet")
        if person.id in chosen:
            raise _unfit(number, "is named twice")
        if not person.active:
            raise StateConflict(
                f"{person.name} is inactive and could not join: make them active first."
            )
        chosen[person.id] = person
    return list(chosen.values()) or [person for person in known if person.active]


def _unfit(number: int, why: str) -> Malformed:
    return Malformed(
        f"The official in place {number + 1} {why}. No link was issued.",
        field=f"/officials/{number}",
    )


async def issue_links(
    store: Store, meet: MeetId, actor: Actor, people: Sequence[OfficialOut]
) -> list[LinkOut]:
    """A new link for each of them, in their order."""
    puts = await asyncio.gather(
        *(store.act(meet, actor, issue_link(person.id, LinkId(new_id()))) for person in people)
    )
    return [put.thing for put in puts]


def on_badges(
    people: Sequence[OfficialOut], links: Sequence[LinkOut], meet: str, zone: str, address: str
) -> BadgeSheet:
    """What their badges say. `address` is the server's as phones reach it."""
    return BadgeSheet(
        meet=meet,
        issued_at=in_zone(links[0].issued_at, zone),
        badges=tuple(
            _badge(person, link, zone, address) for person, link in zip(people, links, strict=True)
        ),
    )


def _badge(person: OfficialOut, link: LinkOut, zone: str, address: str) -> Badge:
    roles = ", ".join(role.words for role in person.roles)
    code = on_paper(link, zone, address)
    return Badge(
        name=person.name,
        roles=roles[:1].upper() + roles[1:],
        affiliation=person.affiliation,
        link=code.link,
        works=code.works,
    )


def on_paper(link: LinkOut, zone: str, address: str) -> OnPaper:
    """A new link as papers show it."""
    until = f"{long_date(link.expires_at, zone)}, {clock_time(link.expires_at, zone)}"
    return OnPaper(f"{address}/join#{link.token}", f"Scan to join. Works once, until {until}.")
