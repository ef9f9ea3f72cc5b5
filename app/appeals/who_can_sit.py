"""Who can be named for the panel of one appeal, and who not and why.

Whoever had a part in the matter, or has withdrawn from it, is not named at all (`had_a_part.py`).
One whose affiliation the consequence touches can be named and is asked to withdraw at once, so that
is said beforehand.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Literal

from sqlalchemy import Connection

from app.access.queries import officials_of
from app.access.wire import OfficialOut
from app.appeals.had_a_part import had_a_part, had_judged
from app.appeals.jury_wire import CandidateOut, CandidatesOut
from app.appeals.queries import appeal_row
from app.appeals.standing import touched_by
from app.ids import AppealId, MeetId, OfficialId
from app.meets.queries import meet_facts
from app.roles import Role
from app.store.rows import AnyRow

CanSit = Literal["yes", "asked to withdraw", "no"]
MAY_WRITE_MINUTES = frozenset({Role.JURY, Role.RESULTS, Role.REFEREE, Role.ORGANISER})


def candidates(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> CandidatesOut:
    """The meet's jury and those who can write the minutes; NotFound for an id of another meet."""
    row, meet = appeal_row(conn, meet_id, appeal_id), meet_facts(conn, meet_id)
    concerned = touched_by(conn, meet, row)
    barred = barred_from(conn, meet_id, row, concerned.named)
    judged = had_judged(conn, meet_id, row, concerned.named)
    active = [one for one in officials_of(conn, meet_id) if one.active]

    def of_jury(person: OfficialOut) -> CandidateOut:
        part = barred.get(person.id)
        if part is None and concerned.touches(person.affiliation):
            touched = f"The consequence touches a team of {person.affiliation}."
            return _candidate(person, "asked to withdraw", touched)
        return _candidate(person, "no" if part else "yes", _said(person, part))

    return CandidatesOut(
        size=row.panel["size"] if row.panel is not None else meet.terms.jury.size,
        jurors=[of_jury(one) for one in active if Role.JURY in one.roles],
        secretaries=list(_secretaries(active, judged)),
    )


def _secretaries(
    active: Iterable[OfficialOut], judged: Mapping[OfficialId, str]
) -> Iterator[CandidateOut]:
    for one in active:
        if not MAY_WRITE_MINUTES.isdisjoint(one.roles):
            part = judged.get(one.id)
            yield _candidate(one, "no" if part else "yes", _said(one, part))


def _said(person: OfficialOut, part: str | None) -> str:
    return f"{person.name} {part}." if part else ""


def _candidate(person: OfficialOut, can_sit: CanSit, because: str) -> CandidateOut:
    return CandidateOut(
        official=person.id,
        name=person.name,
        affiliation=person.affiliation,
        can_sit=can_sit,
        because=because,
    )


def barred_from(
    conn: Connection, meet_id: MeetId, row: AnyRow, named: Iterable[str]
) -> Mapping[OfficialId, str]:
    """Who has had a part in what is appealed, or has withdrawn from it."""
    found = dict(had_a_part(conn, meet_id, row, named))
    for gone in row.panel["withdrawn"] if row.panel is not None else []:
        found[OfficialId(gone["official"])] = "has withdrawn from this appeal"
    return found
