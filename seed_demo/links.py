"""Personal links for one official of each role, how a device joins with one, what is left to do.

A link works once; the token stands in its fragment, so that no server log ever holds it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.ids import new_id
from app.reports.docket import docket
from app.reports.wire import CaseLine
from app.roles import Role
from app.store.action import Actor
from seed_demo.joining import PIN, new_token
from seed_demo.stage import Stage
from seed_demo.story import Vote, Whites

ROLES = {
    Role.REFEREE: "referee",
    Role.CHIEF_UMPIRE: "chief umpire",
    Role.RESULTS: "results",
    Role.JURY: "jury",
    Role.ORGANISER: "organiser",
    Role.UMPIRE: "umpire",
}


@dataclass(frozen=True, slots=True)
class Invitation:
    """Somebody's personal link, as far as it does not depend on the server's address."""

    role: str
    name: str
    token: str


def invite_each_role(stage: Stage) -> tuple[Invitation, ...]:
    """A further personal link for one official of each role: whoever of them acted last."""
    return tuple(_invite(stage, role) for role in ROLES)


def open_cases(stage: Stage) -> Sequence[CaseLine]:
    """The cases that still await the referee, oldest first."""
    return stage.read(lambda conn: docket(conn, stage.meet_id, None)).cases


def _invite(stage: Stage, role: Role) -> Invitation:
    organiser = stage.people[stage.files.organiser]
    by_one = (step for step in stage.story.step if not isinstance(step, Whites | Vote))
    acted = [stage.people[step.by] for step in by_one]
    known = [*reversed(acted), *stage.people.values()]
    person = next(one for one in known if role in one.roles)
    token = new_token(stage, person, Actor(organiser.id, organiser.roles))
    return Invitation(ROLES[role], person.name, token)


def tell_links(
    invitations: tuple[Invitation, ...], meet_id: str, left: Sequence[CaseLine], address: str
) -> Iterator[str]:
    """The links of every role, how to join with one and rule, and what anybody may look at."""
    yield "Personal links, one for each role; each works once:"
    for one in invitations:
        yield f"  {one.role:<12}  {one.name}"
        yield f"      {address}/join#{one.token}"
    yield ""
    yield from _tell_joining(invitations[0], meet_id, address)
    for case in left:
        yield from _tell_ruling(case, f"{address}/api/meets/{meet_id}/cases/{case.id}")
    yield "Anybody may read, without joining:"
    yield f"  {address}/api/meets/{meet_id}/heats"
    yield f"  {address}/api/meets/{meet_id}/announcements"
    yield f"  {address}/api/meets/{meet_id}/scores"
    yield f"  {address}/api/meets/{meet_id}/windows.ics"


def _tell_joining(first: Invitation, meet_id: str, address: str) -> Iterator[str]:
    yield f"Open one in a browser; everybody's PIN is {PIN}, asked again for whatever is signed."
    yield f"The notice board is for everybody: {address}/meets/{meet_id}"
    yield f"From a terminal, join with the part of a link after its #. As {first.role}:"
    yield f"  curl {address}/api/join -H 'Content-Type: application/json' \\"
    yield f'    -d \'{{"token":"{first.token}",'
    yield f'         "session":"{new_id()}","pin":"{PIN}"}}\''
    yield "The answer's token opens what the role may see, here the docket:"
    yield f"  curl -H 'Authorization: Bearer …' {address}/api/meets/{meet_id}/docket"


def _tell_ruling(case: CaseLine, address: str) -> Iterator[str]:
    yield f"The case of lane {case.lane} there is left for you to rule on, as the referee:"
    yield f"  curl -X PUT {address}/rulings/{new_id()} \\"
    yield "    -H 'Authorization: Bearer …' -H 'Content-Type: application/json' \\"
    yield f"    -H 'If-Match: \"v{case.version}\"' \\"
    yield f'    -d \'{{"verdict":"confirmed","reasons":"Your reasons.","pin":"{PIN}"}}\''
