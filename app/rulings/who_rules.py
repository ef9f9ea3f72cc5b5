"""Who rules on a case, and who never does?

Umpires assist and do not decide (World Athletics CR18 and CR20 in secondary texts): the referee
rules, or the chief umpire where the meet lets that role. Whoever wrote a report in a case leaves it
to somebody else (common practice).
"""

from __future__ import annotations

from sqlalchemy import Connection

from app.access.queries import Caller
from app.access.who_may import CHIEF_RULES
from app.ids import CaseId
from app.meets.queries import MeetFacts
from app.refusals import OwnReport, RoleMissing
from app.roles import Role
from app.rulings.queries import authors_in


def insist_may_rule(caller: Caller, meet: MeetFacts) -> None:
    """RoleMissing for a chief umpire where only the referee rules."""
    if caller.holds(Role.REFEREE) or meet.terms.chief_umpire_rules:
        return
    raise RoleMissing(
        "At this meet only the referee rules. Let the referee rule, or have the organiser set "
        f"{CHIEF_RULES} in the settings of the meet."
    )


def insist_second_person(
    conn: Connection, meet: MeetFacts, case_id: CaseId, caller: Caller
) -> None:
    """OwnReport for whoever reported in this case, also where their report has gone on since."""
    if caller.official_id in authors_in(conn, meet.id, case_id):
        raise OwnReport(
            "You wrote a report in this case, so another official must rule on it: another "
            "referee, or the chief umpire where the meet's terms let them rule."
        )


def why_not(
    conn: Connection, meet: MeetFacts, case_id: CaseId, caller: Caller
) -> RoleMissing | OwnReport | None:
    """Why this head official does not rule on a case, None where they do."""
    try:
        insist_may_rule(caller, meet)
        insist_second_person(conn, meet, case_id, caller)
    except (RoleMissing, OwnReport) as refused:
        return refused
    return None
