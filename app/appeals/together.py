"""What several appeals stand on, read for all of them at once: a page of them is read often."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from app.access.queries import officials_of
from app.access.wire import OfficialOut
from app.appeals.decision_queries import decisions_of_appeals, standing_of_referee
from app.appeals.queries import voted_on
from app.appeals.to_announce import Untold, untold_in
from app.ids import AppealId, HeatId, MeetId, OfficialId, ProtestId
from app.meets.queries import MeetFacts
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Together:
    """Of each appeal what the jury has decided, what the referee's decision is by its protest, and
    who has voted by its sitting; the officials, and what is still to be announced.
    """

    meet: MeetFacts
    decided: Mapping[AppealId, Sequence[AnyRow]]
    referees: Mapping[ProtestId, AnyRow]
    voted: Mapping[tuple[str, int], set[OfficialId]]
    people: Mapping[OfficialId, OfficialOut]
    untold: Untold


def read_together(conn: Connection, meet: MeetFacts, rows: Sequence[AnyRow]) -> Together:
    """All of it for these appeals; nothing is asked of a panel where none of them has one."""
    appeals = [AppealId(row.id) for row in rows]
    decided = decisions_of_appeals(conn, meet.id, appeals)
    made = [one for several in decided.values() for one in several]
    with_panel = [AppealId(row.id) for row in rows if row.panel is not None]
    return Together(
        meet,
        decided,
        standing_of_referee(conn, meet.id, [ProtestId(row.protest_id) for row in rows]),
        voted_on(conn, with_panel) if with_panel else {},
        _people(conn, meet.id) if with_panel else {},
        untold_in(conn, [HeatId(one.heat_id) for one in made if one.carried_out]),
    )


def _people(conn: Connection, meet_id: MeetId) -> Mapping[OfficialId, OfficialOut]:
    return {one.id: one for one in officials_of(conn, meet_id)}
