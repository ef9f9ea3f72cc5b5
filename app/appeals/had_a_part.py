"""Who has had a part in what is appealed, and so does not sit on it (common practice).

The matter is that of the protest and the appeal, of what is sought, and of what is ordered at last.
It is looked at again with each vote and with the decision: a report may come after the panel was
named. Nor does whoever typed a time that decides whether the appeal is in time (`typed_by.py`), or
put right what it or its protest is measured by: a late one is admitted by the chair, with a reason,
and by nobody else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection

from app.appeals.decision_queries import decided_about, referees_decisions
from app.appeals.in_round import cases_about
from app.appeals.queries import protest_row
from app.appeals.typed_by import who_typed
from app.ids import MeetId, OfficialId, ProtestId
from app.results.corrections import who_corrected
from app.rulings.queries import authors_in, ruling_out, rulings_of_case
from app.store.rows import AnyRow


def had_a_part(
    conn: Connection, meet_id: MeetId, row: AnyRow, named: Iterable[str]
) -> Mapping[OfficialId, str]:
    """The officials with what they did, ready to follow a name; `named` are the teams that are
    named in what is sought or ordered.
    """
    corrected = who_corrected(conn, meet_id, {row.id, row.protest_id})
    measured = dict.fromkeys(corrected, "put right what this is measured by")
    judged = had_judged(conn, meet_id, row, named)
    return {**measured, **who_typed(conn, meet_id, row), **judged}


def had_judged(
    conn: Connection, meet_id: MeetId, row: AnyRow, named: Iterable[str]
) -> Mapping[OfficialId, str]:
    """Of these the officials who reported, ruled or decided in the matter."""
    protest = protest_row(conn, meet_id, ProtestId(row.protest_id))
    found: dict[OfficialId, str] = {}
    about = set() if protest.ruling_id is None else {protest.ruling_id}
    for case in cases_about(conn, meet_id, protest, {row.team_id, *named}):
        found |= dict.fromkeys(authors_in(conn, meet_id, case), "wrote a report in this matter")
        for ruling in rulings_of_case(conn, meet_id, case):
            about.add(ruling)
            found[ruling_out(conn, meet_id, ruling).official] = "ruled in this matter"
    found |= dict.fromkeys(decided_about(conn, meet_id, about), "decided a protest in this matter")
    for decided in referees_decisions(conn, meet_id, ProtestId(row.protest_id)):
        found[OfficialId(decided.official_id)] = "decided the protest"
    return found
