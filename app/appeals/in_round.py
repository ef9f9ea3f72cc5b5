"""Where do teams run in the round of a heat, which cases are about them there, and which window for
an appeal is theirs?
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, bindparam, select

from app.appeals.about_not_held import lanes_before
from app.appeals.tables import decisions
from app.ids import (
    CaseId,
    HeatId,
    MeetId,
    RulingId,
    TeamId,
)
from app.meets.tables import heats, lanes
from app.reports.queries import cases_of_teams
from app.results.appealable import IS_TOLD_SINCE
from app.results.one_round import in_one_round
from app.results.tables import announcements, tellings, windows
from app.rules.windows import Remedy
from app.rulings.queries import ruling_out
from app.store.rows import AnyRow

_here = heats.alias("here")


_APPEAL_WINDOWS = select(windows).where(windows.c.remedy == Remedy.APPEAL.value)


_BY_ADVICE = _APPEAL_WINDOWS.where(windows.c.decision_id == bindparam("decision"))


_BY_AMENDED = (
    _APPEAL_WINDOWS.join(tellings, tellings.c.announcement_id == windows.c.announcement_id)
    .join(announcements, announcements.c.id == tellings.c.announcement_id)
    .join(decisions, decisions.c.id == tellings.c.decision_id)
    .where(
        IS_TOLD_SINCE,
        windows.c.heat_id.in_(bindparam("heats", expanding=True)),
        windows.c.decision_id.is_(None),
        tellings.c.decision_id == bindparam("decision"),
    )
    .order_by(windows.c.closes_at, windows.c.id)
)


_IN_ROUND = (
    select(lanes.c.lane, lanes.c.heat_id)
    .join(heats, heats.c.id == lanes.c.heat_id)
    .join(_here, in_one_round(heats, _here))
    .where(_here.c.id == bindparam("heat"), lanes.c.team_id == bindparam("team"))
)


_HEATS_OF_TEAMS = (
    select(heats.c.id)
    .select_from(heats)
    .join(_here, in_one_round(heats, _here))
    .where(
        _here.c.id == bindparam("heat"),
        select(lanes.c.heat_id)
        .where(
            lanes.c.heat_id == heats.c.id, lanes.c.team_id.in_(bindparam("teams", expanding=True))
        )
        .correlate(heats)
        .exists(),
    )
    .order_by(heats.c.position)
)


def window_for_appeal(conn: Connection, decided: AnyRow, team: TeamId) -> AnyRow | None:
    """The window for a team's appeal that the referee's decision opened, None while none has.

    By the advice where nothing is amended, else by the first announcement since that tells of it
    (World Athletics TR8.7), in the heat that was protested or in which the team itself runs: the
    one that closes last, for it may be moved by either. What another decision opens is for whom
    that one concerns.
    """
    if not decided.carried_out:
        return conn.execute(_BY_ADVICE, {"decision": decided.id}).first()
    own = conn.execute(_IN_ROUND, {"heat": decided.heat_id, "team": team})
    asked = {"heats": [decided.heat_id, *(row.heat_id for row in own)], "decision": decided.id}
    found = conn.execute(_BY_AMENDED, asked).all()
    return found[-1] if found else None


def lane_in_round(
    conn: Connection, meet_id: MeetId, heat_id: HeatId, team: TeamId
) -> tuple[bool, int | None]:
    """Whether a team is in the round of this heat (World Athletics TR8.3), and its lane in it.

    A re-run is of the round that it repeats, also where it was called off; of a heat that is not
    held are those who were drawn in it until that was said.
    """
    rows = conn.execute(_IN_ROUND, {"heat": heat_id, "team": team}).all()
    here = next((row.lane for row in rows if row.heat_id == heat_id), None)
    if here is None:
        here = (lanes_before(conn, meet_id, heat_id) or {}).get(team)
    return bool(rows) or here is not None, here


def other_heats_of(conn: Connection, heat_id: HeatId, moved: Iterable[TeamId]) -> list[HeatId]:
    """The other heats of a heat's round in which some of these teams run, in their order."""
    asked = {"heat": heat_id, "teams": list(moved)}
    found = conn.execute(_HEATS_OF_TEAMS, asked).scalars()
    return [heat for heat in found if heat != heat_id]


def cases_about(
    conn: Connection, meet_id: MeetId, protest: AnyRow, further: Iterable[str] = ()
) -> list[CaseId]:
    """The cases that a protest is about: its ruling's, and those of its teams in this heat; with
    those of `further` teams, in whichever heats of this round they ran.
    """
    named = (
        [ruling_out(conn, meet_id, RulingId(protest.ruling_id)).case] if protest.ruling_id else []
    )
    heat_id = HeatId(protest.heat_id)
    others = [TeamId(team) for team in further]
    of_teams = cases_of_teams(conn, heat_id, [protest.team_id, protest.against_id, *others])
    elsewhere = conn.execute(_HEATS_OF_TEAMS, {"heat": heat_id, "teams": others}).scalars()
    for heat_there in elsewhere.all():
        of_teams += cases_of_teams(conn, HeatId(heat_there), others)
    return list(dict.fromkeys([*named, *of_teams]))
