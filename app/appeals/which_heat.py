"""Which heat's announcement is meant, where something about one heat is measured by another's?

The number of an announcement is one of its heat: where that is not the heat that a protest or an
appeal is about, the heat is said with it.
"""

from __future__ import annotations

from sqlalchemy import Connection

from app.appeals.about_not_held import Counted
from app.ids import HeatId, MeetId
from app.meets.queries import heat
from app.rounds.queries import re_run_of_heat
from app.store.rows import AnyRow


def heat_called(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> str:
    """A heat as others of its round call it: "heat 2"; a re-run by its own round's name."""
    found = heat(conn, meet_id, heat_id)
    of = f" of the {found.round}" if re_run_of_heat(conn, heat_id) is not None else ""
    return f"heat {found.number}{of}"


def opened_by(conn: Connection, window: AnyRow | Counted, about: HeatId) -> str:
    """What opened the window that measures something about this heat: "announcement 2", or
    "announcement 2 of heat 2" where that was another heat's.
    """
    if isinstance(window, Counted) or window.heat_id == about:
        return str(window.opened_by)
    return f"{window.opened_by} of {heat_called(conn, MeetId(window.meet_id), window.heat_id)}"
