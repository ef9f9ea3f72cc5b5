"""The jury's dossier: all that was reported, found, ruled, announced and decided, in one document.

What it can move in other heats of the round is told with their announcements, results and windows.
Read at once, so that it is of one moment; pictures stand with their reports.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from app.appeals.either_way import either_way
from app.appeals.in_round import cases_about, other_heats_of
from app.appeals.jury_wire import DossierOut
from app.appeals.queries import appeal_row, protest_row
from app.appeals.showing import appeal_shown, decisions_shown, protest_shown
from app.ids import AppealId, HeatId, MeetId, ProtestId, TeamId
from app.meets.queries import meet_facts
from app.refusals import NotFound
from app.reports.heard import heat_posts
from app.reports.queries import cases_of_teams
from app.results.announcements import announcements_of_heat
from app.results.queries import result
from app.results.windows import windows_of_heat
from app.results.wire import ResultOut
from app.rounds.wire import ConsequencesOut
from app.rulings.as_ruled import case_told
from app.rulings.queries import (
    disqualifications_in_heat,
    ruling_out,
    rulings_of_case,
)


def dossier(conn: Connection, meet_id: MeetId, appeal_id: AppealId, now: datetime) -> DossierOut:
    """Everything about one appeal; NotFound for an id that is not of this meet."""
    row = appeal_row(conn, meet_id, appeal_id)
    meet = meet_facts(conn, meet_id)
    protest = protest_row(conn, meet_id, ProtestId(row.protest_id))
    heat_id = HeatId(row.heat_id)
    appellants = cases_of_teams(conn, heat_id, [row.team_id])
    cases = list(dict.fromkeys([*cases_about(conn, meet_id, protest), *appellants]))
    made = decisions_shown(conn, meet, ProtestId(protest.id), now)
    foreseen = either_way(conn, meet, row)
    shown = [one.consequences for one in made]
    others = other_heats_of(conn, heat_id, _moved(*shown, foreseen.granted, foreseen.rejected))
    heats = (heat_id, *others)
    of_cases = {case: rulings_of_case(conn, meet_id, case) for case in cases}
    return DossierOut(
        appeal=appeal_shown(conn, meet_id, appeal_id, now),
        protest=protest_shown(conn, meet_id, ProtestId(protest.id), now),
        decisions=made,
        posts=[heat_posts(conn, meet_id, one) for one in heats],
        cases=[case_told(conn, meet_id, case) for case in cases],
        rulings=[ruling_out(conn, meet_id, ruling) for case in cases for ruling in of_cases[case]],
        disqualifications=disqualifications_in_heat(conn, meet_id, heat_id),
        announcements=[told for one in heats for told in announcements_of_heat(conn, meet_id, one)],
        result_now=_result(conn, meet_id, heat_id),
        other_results_now=[
            known for one in others if (known := _result(conn, meet_id, one)) is not None
        ],
        if_granted=foreseen.granted,
        if_rejected=foreseen.rejected,
        note=foreseen.note,
        windows=[window for one in heats for window in windows_of_heat(conn, meet_id, one, now)],
    )


def _moved(*shown: ConsequencesOut | None) -> set[TeamId]:
    """Whom the decisions on the protest have moved, and whom the next one would move."""
    return {TeamId(move.team) for one in shown if one is not None for move in one.moves}


def _result(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> ResultOut | None:
    try:
        return result(conn, meet_id, heat_id)
    except NotFound:
        return None
