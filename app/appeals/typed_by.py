"""Who typed a time that decides whether an appeal is in time?

When it was lodged, when its deposit was received, and from when the time for it runs: when the
amended result was announced, or the protesters were told that nothing is amended. Where no time was
sent the server took its own, which is nobody's word. What was typed with the appeal or with the
announcement stands in what was sent; what came later bears another time than the entry of the
record that was made of it. That entry is there once its act is committed, and this is asked again
with each vote.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import Connection

from app.appeals.decision_queries import referees_decision
from app.appeals.in_round import window_for_appeal
from app.clock import rfc3339
from app.ids import AnnouncementId, MeetId, OfficialId, ProtestId, TeamId
from app.record.kinds import Kind
from app.record.queries import Made, entries_about
from app.results.announcements import announcement_row
from app.results.correction_wire import Mistyped
from app.results.corrections import said_before
from app.store.rows import AnyRow


def who_typed(conn: Connection, meet_id: MeetId, row: AnyRow) -> Mapping[OfficialId, str]:
    """The officials with what they typed, ready to follow a name."""
    found: dict[OfficialId, str] = {}
    told = _who_typed_advice(conn, meet_id, ProtestId(row.protest_id))
    if told is not None:
        found[told] = "typed when the protesters were told"
    announced = _who_typed_announcement(conn, meet_id, row)
    if announced is not None:
        found[announced] = "typed when the result was announced"
    received = _who_typed_deposit(conn, meet_id, row)
    if received is not None:
        found[received] = "typed when the deposit was received"
    if row.content.get("lodged_at") is not None:
        found[OfficialId(row.official_id)] = "typed when this was lodged"
    return found


def _who_typed_announcement(conn: Connection, meet_id: MeetId, row: AnyRow) -> OfficialId | None:
    """Of the announcement that opened the time for this appeal."""
    decided = referees_decision(conn, meet_id, ProtestId(row.protest_id))
    window = None if decided is None else window_for_appeal(conn, decided, TeamId(row.team_id))
    if window is None or window.decision_id is not None:
        return None
    announced = announcement_row(conn, meet_id, AnnouncementId(window.announcement_id))
    if announced.content.get("announced_at") is None:
        return None
    return OfficialId(announced.official_id)


def _who_typed_deposit(conn: Connection, meet_id: MeetId, row: AnyRow) -> OfficialId | None:
    with_appeal = row.content.get("deposit")
    if row.deposit is None:
        return None
    if with_appeal is not None:
        return None if with_appeal["received_at"] is None else OfficialId(row.official_id)
    times = {row.deposit["received_at"], *said_before(conn, Mistyped.DEPOSIT, row.id)}
    made = entries_about(conn, meet_id, Kind.DEPOSIT_RECEIVED, row.id)
    return next((one.by for one in made if rfc3339(one.at) not in times), None)


def _who_typed_advice(
    conn: Connection, meet_id: MeetId, protest_id: ProtestId
) -> OfficialId | None:
    """Of the decision that stands; what was typed with it, the referee typed who decided."""
    decided = referees_decision(conn, meet_id, protest_id)
    if decided is None or decided.advised_at is None or decided.content.get("advised_at"):
        return None
    times = {rfc3339(decided.advised_at), *said_before(conn, Mistyped.ADVICE, decided.id)}
    for one in entries_about(conn, meet_id, Kind.ADVICE_GIVEN, protest_id)[-1:]:
        if _taken_by_server(one, decided.decided_at) not in times:
            return one.by
    return None


def _taken_by_server(advice: Made, decided_at: datetime) -> str:
    """The time that an advice has where none was sent: not before its decision."""
    return rfc3339(max(advice.at, decided_at))
