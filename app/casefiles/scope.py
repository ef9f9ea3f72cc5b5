"""What belongs to a case file, and so what does not?

- A case's file: the case, the protests about its rulings, and their appeals.
- A protest's: the protest, what it is about (the case of its ruling; for another team's conduct the
  cases about that team in the heat), and its appeals.
- An appeal's: that of its protest.
- A report that a case was ruled on, and that has gone to a further case since: what the record had
  of it when the case was ruled on.

Nothing of any other case is in it: no report on another team, and no yellow flag that raised none
of these reports. White ones are, of the posts that watched this lane where it was reported. A start
and an announcement tell of all teams: of these it has the bare entry. What its entries and papers
name belongs to them: a flag the case that it opened, a ruling or a decision the teams that it
moves, a ruling that counts earlier lane infringements of the team the rulings that noted them, by
their ids and in words.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from sqlalchemy import Connection

from app.appeals.queries import appeal_row, protest_row
from app.appeals.wire import About
from app.casefiles.around import Around, around_heat
from app.casefiles.beside import naming_in, needed_beside
from app.casefiles.posts import watched
from app.casefiles.queries import (
    appeals_of,
    case_of_ruling,
    decisions_about,
    entries_with,
    flags_of,
    papers_about,
    pictures_of_reports,
    protests_about,
    reports_in,
    rulings_in,
)
from app.exporting.queries import Recorded
from app.ids import AppealId, CaseId, DecisionId, HeatId, MeetId, ProtestId, RulingId, TeamId
from app.meets.rehearsing import insist_no_rehearsal
from app.reports.queries import case_row, cases_of_teams
from app.rulings.as_ruled import GoneReport, gone_from


class Of(StrEnum):
    """What a file is about."""

    CASE = "case"
    PROTEST = "protest"
    APPEAL = "appeal"


@dataclass(frozen=True, slots=True)
class Asked:
    """Which file somebody asks for."""

    meet: MeetId
    of: Of
    ident: str


@dataclass(frozen=True, slots=True)
class Scope:
    """What belongs to a file. `name` is what it is called over a radio: "case 3". Beside the
    `entries` about it stand those `naming` who acts in it, and what was `needed` to check them.
    """

    asked: Asked
    name: str
    heat: HeatId
    team: TeamId | None
    cases: tuple[CaseId, ...]
    protests: tuple[ProtestId, ...]
    rulings: tuple[RulingId, ...] = ()
    appeals: tuple[AppealId, ...] = ()
    decisions: tuple[DecisionId, ...] = ()
    entries: tuple[Recorded, ...] = ()
    around: tuple[Around, ...] = ()
    naming: tuple[Recorded, ...] = ()
    needed: tuple[Recorded, ...] = ()

    @property
    def meet(self) -> MeetId:
        """The meet."""
        return self.asked.meet

    @property
    def seqs(self) -> frozenset[int]:
        """The numbers of its entries in the record."""
        return frozenset(one.seq for one in (*self.entries, *self.naming))

    @property
    def all_of_it(self) -> tuple[Recorded, ...]:
        """Every entry that its part of the record holds, first to last."""
        bare = (one.entry for one in self.around)
        held = (*self.entries, *self.naming, *self.needed, *bare)
        return tuple(sorted(held, key=lambda one: one.seq))


def scope_of(conn: Connection, asked: Asked) -> Scope:
    """What belongs to the file; NotFound for an id that is not of this meet."""
    found = _SCOPES[asked.of](conn, asked)
    ruled = rulings_in(conn, found.cases)
    protests = found.protests or (
        protests_about(conn, asked.meet, ruled) if asked.of is Of.CASE else ()
    )
    entries = tuple(_entries(conn, asked.meet, found.cases, ruled, protests))
    around = around_heat(conn, asked.meet, found.heat, found.cases)
    naming = naming_in(conn, asked.meet, entries, [one.entry for one in around])
    return replace(
        found,
        protests=protests,
        rulings=ruled,
        appeals=appeals_of(conn, protests),
        decisions=decisions_about(conn, protests),
        entries=entries,
        around=around,
        naming=naming,
        needed=needed_beside(conn, asked.meet, (*entries, *naming)),
    )


def insist_known(conn: Connection, asked: Asked) -> None:
    """NotFound for an id that is not of this meet, StateConflict for a case of a rehearsal."""
    _SCOPES[asked.of](conn, asked)


def _of_case(conn: Connection, asked: Asked) -> Scope:
    row = case_row(conn, asked.meet, CaseId(asked.ident))
    insist_no_rehearsal(conn, HeatId(row.heat_id))
    return Scope(asked, f"case {row.number}", row.heat_id, row.team_id, (CaseId(row.id),), ())


def _of_protest(conn: Connection, asked: Asked) -> Scope:
    return _about_protest(conn, asked, ProtestId(asked.ident), "")


def _of_appeal(conn: Connection, asked: Asked) -> Scope:
    row = appeal_row(conn, asked.meet, AppealId(asked.ident))
    return _about_protest(conn, asked, ProtestId(row.protest_id), f"appeal {row.number}")


_SCOPES = {Of.CASE: _of_case, Of.PROTEST: _of_protest, Of.APPEAL: _of_appeal}


def _about_protest(conn: Connection, asked: Asked, protest_id: ProtestId, name: str) -> Scope:
    row = protest_row(conn, asked.meet, protest_id)
    cases: tuple[CaseId, ...] = ()
    if row.about == About.RULING:
        cases = (case_of_ruling(conn, row.ruling_id),)
    elif row.about == About.CONDUCT:
        cases = tuple(cases_of_teams(conn, HeatId(row.heat_id), [row.against_id]))
    called = name or f"protest {row.number}"
    return Scope(asked, called, row.heat_id, row.team_id, cases, (protest_id,))


def _entries(
    conn: Connection,
    meet: MeetId,
    cases: Collection[CaseId],
    ruled: Iterable[RulingId],
    protests: Iterable[ProtestId],
) -> list[Recorded]:
    """The entries about all of it, and about the papers that tell of it, first to last."""
    written = reports_in(conn, cases)
    told = (
        *written,
        *ruled,
        *protests,
        *appeals_of(conn, protests),
        *decisions_about(conn, protests),
    )
    white = (one for case in cases for one in watched(conn, meet, case).white)
    beside = (*white, *_beside_reports(conn, written))
    found = entries_with(conn, meet, (*told, *beside, *papers_about(conn, meet, told)))
    for case in cases:
        for gone in gone_from(conn, meet, case):
            found += _until_ruled(conn, meet, gone)
    return sorted({one.seq: one for one in found}.values(), key=lambda one: one.seq)


def _until_ruled(conn: Connection, meet: MeetId, gone: GoneReport) -> list[Recorded]:
    """The entries about a report that has gone to another case, up to the ruling."""
    report = (gone.report,)
    about = (*report, *_beside_reports(conn, report), *papers_about(conn, meet, report))
    return [one for one in entries_with(conn, meet, about) if one.seq < gone.ruled]


def _beside_reports(conn: Connection, written: Collection[str]) -> tuple[str, ...]:
    """The flags that these reports follow, and their pictures."""
    return (*flags_of(conn, written), *pictures_of_reports(conn, written))
