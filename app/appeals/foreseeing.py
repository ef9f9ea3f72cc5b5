"""What would a ruling move? Both answers are shown to the head official before one is signed.

Assumed is what the rule book makes of the reports: that a confirmed case disqualifies, save where
its lane infringement would only be noted.
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from app.appeals.bench import Bench, bench_for
from app.appeals.wire import Instance, RulingConsequencesOut
from app.ids import CaseId, HeatId, MeetId, RulingId, TeamId
from app.meets.queries import meet_facts
from app.meets.states import HeatState
from app.refusals import StateConflict
from app.reports.queries import case_row, noted_against
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.rounds.consequences import consequences_of_each
from app.rules.finding import Consequence, Outcome, consequence_of
from app.rules.observation import Infringement
from app.rules.orders import Disqualify, Order, SetAside
from app.rules.qualifying import Disqualified
from app.rulings.as_ruled import reports_in
from app.rulings.final_word import refused_for_the_jury, refused_to_reconsider
from app.rulings.queries import disqualifications_of_ruling, rulings_of_case
from app.rulings.states import DisqualificationState
from app.store.rows import AnyRow

NEW = "the ruling that is considered"


def ruling_consequences(
    conn: Connection, meet_id: MeetId, case_id: CaseId
) -> RulingConsequencesOut:
    """The difference for each verdict; a case without a team moves nothing yet."""
    case = case_row(conn, meet_id, case_id)
    if case.team_id is None:
        raise StateConflict(
            "This case has no team yet, so nobody can say what a ruling would move: ask the umpire "
            "for the lane."
        )
    meet = meet_facts(conn, meet_id)
    bench = bench_for(conn, meet, HeatId(case.heat_id), Instance.REFEREE)
    stands = rulings_of_case(conn, meet_id, case_id)[-1:]
    settled = _settled_by_decision(conn, meet_id, stands)
    only_noted, barred = _would_only_be_noted(conn, meet_id, case), _barred_by_jury(conn, case)
    lifted = _lifted(conn, meet_id, bench, stands)
    out = Disqualify(bench.heat.id, Disqualified(case.team_id, NEW), again=True)
    confirmed = lifted if only_noted or barred else [*lifted, out]
    # What is ruled in a re-run that was called off, or in a heat that is not held, moves nobody.
    counts = not bench.is_called_off and bench.heat.state is not HeatState.NOT_HELD
    choices = [confirmed, lifted] if counts and not settled else [[], []]
    if_confirmed, if_dismissed = consequences_of_each(bench.at_hand, choices)
    return RulingConsequencesOut(
        case=case_id,
        if_confirmed=if_confirmed,
        if_dismissed=if_dismissed,
        note=settled or barred or _note(only_noted=only_noted),
    )


def _settled_by_decision(conn: Connection, meet_id: MeetId, stands: Sequence[RulingId]) -> str:
    """Why neither verdict can take the place of the ruling that stands, empty where both can."""
    refused = [refused_to_reconsider(conn, meet_id, ruling) for ruling in stands]
    return "".join(one.detail for one in refused if one is not None)


def _lifted(
    conn: Connection, meet_id: MeetId, bench: Bench, stands: Sequence[RulingId]
) -> list[Order]:
    """What either verdict takes from the result first: the disqualification that stands."""
    return [
        SetAside(bench.heat.id, Disqualified(one.team, one.id))
        for ruling in stands
        for one in disqualifications_of_ruling(conn, meet_id, ruling)
        if one.state is DisqualificationState.IN_FORCE
    ]


def _note(*, only_noted: bool) -> str:
    if only_noted:
        return "Confirmed, the lane infringement would be noted (L) and move nobody."
    return "Confirmed, the team would be disqualified."


def _barred_by_jury(conn: Connection, case: AnyRow) -> str:
    """Why nothing that is reported can be confirmed, empty where something can."""
    reports = _that_stand(reports_in(conn, MeetId(case.meet_id), CaseId(case.id)))
    told = dict.fromkeys(one.finding.infringement for one in reports if one.finding is not None)
    refused = [refused_for_the_jury(conn, case, infringement, reports) for infringement in told]
    said = [one.detail for one in refused if one is not None]
    return said[0] if said and len(said) == len(refused) else ""


def _that_stand(reports: Sequence[ReportOut]) -> list[ReportOut]:
    return [one for one in reports if one.state is not ReportState.WITHDRAWN]


def _would_only_be_noted(conn: Connection, meet_id: MeetId, case: AnyRow) -> bool:
    """Whether every report that stands tells of lane infringements that the edition tolerates."""
    meet = meet_facts(conn, meet_id)
    found = [
        report.finding
        for report in _that_stand(reports_in(conn, MeetId(case.meet_id), CaseId(case.id)))
        if report.finding is not None
    ]
    told = {one.infringement for one in found if one.outcome is not Outcome.NO_INFRINGEMENT}
    if told != {Infringement.LANE_INFRINGEMENT}:
        return False
    if any(one.consequence is Consequence.DISQUALIFICATION for one in found):
        return False
    noted = noted_against(
        conn,
        meet_id,
        TeamId(case.team_id),
        HeatId(case.heat_id),
    )
    reached = consequence_of(Infringement.LANE_INFRINGEMENT, meet.book, noted.count)
    return reached is Consequence.NOTED
