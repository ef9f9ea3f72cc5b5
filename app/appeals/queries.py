"""Reading protests, appeals and votes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from sqlalchemy import Connection, bindparam, func, select

from app.access.names import WHO, name_then
from app.access.tables import officials
from app.appeals.decision_queries import decision_out, referees_decision
from app.appeals.in_round import lane_in_round
from app.appeals.once_more import may_be_decided_again
from app.appeals.protest_windows import window_for_protest
from app.appeals.states import PROTEST_TABLE, ProtestState
from app.appeals.tables import appeals, protests, votes
from app.appeals.timeliness import timeliness
from app.appeals.wire import (
    Mark,
    ProtestOut,
    ProtestsOut,
    Timeliness,
)
from app.clock import in_zone
from app.ids import (
    AppealId,
    HeatId,
    MeetId,
    OfficialId,
    ProtestId,
    TeamId,
)
from app.meets.queries import MeetFacts, meet_facts
from app.meets.tables import events, heats, teams
from app.refusals import NotFound
from app.reports.docket import docket
from app.reports.wire import AwaitedProtest, DocketOut
from app.rules.windows import Remedy
from app.rulings.shaken import to_reconsider
from app.rulings.tables import rulings
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.surveys.queries import NOTHING_FOUND, found_in

PAGE = 50
JUDGEMENT = "judgement"

_against = teams.alias("against")
_WHERE_ABOUT = (
    teams.c.name.label("team_name"),
    teams.c.affiliation,
    *WHO,
    heats.c.event_id,
    heats.c.round,
    heats.c.round_key,
    heats.c.number.label("heat_number"),
    events.c.name.label("event_name"),
)
"""For whom, about which heat, and who took it in."""
_PANELS = select(appeals.c.panel).where(
    appeals.c.meet_id == bindparam("meet"), appeals.c.panel.is_not(None)
)
PROTEST_COLUMNS = (
    select(
        protests,
        _against.c.name.label("against_name"),
        *_WHERE_ABOUT,
    )
    .select_from(protests)
    .join(teams, teams.c.id == protests.c.team_id)
    .join(officials, officials.c.id == protests.c.official_id)
    .join(heats, heats.c.id == protests.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(_against, _against.c.id == protests.c.against_id)
    .where(protests.c.meet_id == bindparam("meet"))
)
_PROTEST = PROTEST_COLUMNS.where(protests.c.id == bindparam("protest"))
_PROTESTS = (
    PROTEST_COLUMNS.where(protests.c.number < bindparam("before"))
    .order_by(protests.c.number.desc())
    .limit(PAGE + 1)
)
APPEAL_COLUMNS = (
    select(
        appeals,
        protests.c.number.label("protest_number"),
        protests.c.team_id.label("protesting"),
        protests.c.against_id.label("protested"),
        rulings.c.team_id.label("ruled_on"),
        *_WHERE_ABOUT,
    )
    .select_from(appeals)
    .join(protests, protests.c.id == appeals.c.protest_id)
    .outerjoin(rulings, rulings.c.id == protests.c.ruling_id)
    .join(teams, teams.c.id == appeals.c.team_id)
    .join(officials, officials.c.id == appeals.c.official_id)
    .join(heats, heats.c.id == appeals.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .where(appeals.c.meet_id == bindparam("meet"))
)
_APPEAL = APPEAL_COLUMNS.where(appeals.c.id == bindparam("appeal"))
_APPEALS = (
    APPEAL_COLUMNS.where(appeals.c.number < bindparam("before"))
    .order_by(appeals.c.number.desc())
    .limit(PAGE + 1)
)
_APPEALS_ON = APPEAL_COLUMNS.where(appeals.c.protest_id == bindparam("protest")).order_by(
    appeals.c.number
)
_APPEALS_OF = (
    select(appeals.c.id)
    .where(appeals.c.protest_id == bindparam("protest"))
    .order_by(appeals.c.number)
)
_VOTED = select(votes.c.appeal_id, votes.c.sitting, votes.c.official_id).where(
    votes.c.appeal_id.in_(bindparam("appeals", expanding=True))
)
_VOTES = select(votes).where(
    votes.c.appeal_id == bindparam("appeal"), votes.c.sitting == bindparam("sitting")
)
_AWAITED = Prepared(
    PROTEST_COLUMNS.where(protests.c.state == ProtestState.LODGED.value)
    .order_by(protests.c.lodged_at, protests.c.number)
    .limit(PAGE)
)
_IN_HEAT = PROTEST_COLUMNS.where(protests.c.heat_id == bindparam("heat")).order_by(
    protests.c.number
)
_LAST_PROTEST = select(func.max(protests.c.number)).where(protests.c.meet_id == bindparam("meet"))
_LAST_APPEAL = select(func.max(appeals.c.number)).where(appeals.c.meet_id == bindparam("meet"))


def is_secretary(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> bool:
    """Whether a panel of this meet has the official as its secretary."""
    panels = conn.execute(_PANELS, {"meet": meet_id}).scalars()
    return any(panel and panel.get("secretary_official") == official_id for panel in panels)


def protest_kinds(meet: MeetFacts) -> list[str]:
    """The kinds of protest that the edition knows, in its order."""
    of_protests = (one.kind for one in meet.book.windows if one.remedy is Remedy.PROTEST)
    return list(dict.fromkeys(of_protests))


def kind_measured(meet: MeetFacts, ground: str) -> str:
    """The kind of window that measures a ground; a judgement call has none of its own."""
    return protest_kinds(meet)[0] if ground == JUDGEMENT else ground


def protest_row(conn: Connection, meet_id: MeetId, protest_id: ProtestId) -> AnyRow:
    """A protest's row; NotFound for an id that is not of this meet."""
    row = conn.execute(_PROTEST, {"meet": meet_id, "protest": protest_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such protest at this meet.")
    return row


def appeal_row(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> AnyRow:
    """An appeal's row; NotFound for an id that is not of this meet."""
    row = conn.execute(_APPEAL, {"meet": meet_id, "appeal": appeal_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such appeal at this meet.")
    return row


def appeals_on(conn: Connection, meet_id: MeetId, protest_id: ProtestId) -> Sequence[AnyRow]:
    """The rows of all appeals on a protest, in order."""
    return conn.execute(_APPEALS_ON, {"meet": meet_id, "protest": protest_id}).all()


def awaited_protests(conn: Connection, meet_id: MeetId) -> list[AwaitedProtest]:
    """The protests that await the referee, oldest first, fifty at most."""
    return [
        AwaitedProtest(
            protest=row.id,
            number=row.number,
            heat=row.heat_id,
            event_name=row.event_name,
            round=row.round,
            heat_number=row.heat_number,
            team_name=row.team_name,
            about=row.about,
            lodged_at=row.lodged_at,
        )
        for row in _AWAITED.all(conn, {"meet": meet_id})
    ]


def docket_of(conn: Connection, meet_id: MeetId, after: str | None = None) -> DocketOut:
    """What awaits the head official; protests and rulings to look at again on its first page."""
    if after is not None:
        return _with_zone_flags(conn, meet_id, docket(conn, meet_id, after))
    waiting = awaited_protests(conn, meet_id)
    first = docket(conn, meet_id, None, to_reconsider(conn, meet_id), waiting)
    return _with_zone_flags(conn, meet_id, first)


def _with_zone_flags(conn: Connection, meet_id: MeetId, page: DocketOut) -> DocketOut:
    """The docket with what the survey found of the zones of its heats."""
    found = found_in(conn, meet_id, [one.heat for one in page.cases])
    if not found:
        return page
    cases = [
        one.model_copy(update={"zone_flags": found.get(one.heat, NOTHING_FOUND).flags})
        for one in page.cases
    ]
    return page.model_copy(update={"cases": cases})


def next_protest_number(conn: Connection, meet_id: MeetId) -> int:
    """Protests are counted through the meet, so that one can be said over a radio."""
    return (conn.execute(_LAST_PROTEST, {"meet": meet_id}).scalar() or 0) + 1


def next_appeal_number(conn: Connection, meet_id: MeetId) -> int:
    """Appeals are counted through the meet."""
    return (conn.execute(_LAST_APPEAL, {"meet": meet_id}).scalar() or 0) + 1


def votes_of(conn: Connection, appeal_id: AppealId, sitting: int) -> list[AnyRow]:
    """The votes of one sitting."""
    return list(conn.execute(_VOTES, {"appeal": appeal_id, "sitting": sitting}))


def voted_on(
    conn: Connection, appeal_ids: Iterable[AppealId]
) -> Mapping[tuple[str, int], set[OfficialId]]:
    """By appeal and sitting who has voted; those without a vote are left out."""
    found: dict[tuple[str, int], set[OfficialId]] = {}
    for row in conn.execute(_VOTED, {"appeals": list(appeal_ids)}):
        found.setdefault((row.appeal_id, row.sitting), set()).add(row.official_id)
    return found


def protest_out(conn: Connection, meet_id: MeetId, protest_id: ProtestId) -> ProtestOut:
    """One protest; NotFound for an id that is not of this meet."""
    row = protest_row(conn, meet_id, protest_id)
    return _protest_out(conn, meet_facts(conn, meet_id), row)


def protests_page(conn: Connection, meet_id: MeetId, before: int | None) -> ProtestsOut:
    """Protests, the one that was lodged last first, fifty a page."""
    meet = meet_facts(conn, meet_id)
    values = {"meet": meet_id, "before": 2**31 - 1 if before is None else before}
    rows = conn.execute(_PROTESTS, values).all()
    return ProtestsOut(
        protests=[_protest_out(conn, meet, row) for row in rows[:PAGE]],
        next=rows[PAGE - 1].number if len(rows) > PAGE else None,
    )


def protests_in_heat(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> list[ProtestOut]:
    """All protests about a heat, in order, those that were taken back too."""
    meet = meet_facts(conn, meet_id)
    rows = conn.execute(_IN_HEAT, {"meet": meet_id, "heat": heat_id})
    return [_protest_out(conn, meet, row) for row in rows.all()]


def measured(conn: Connection, row: AnyRow, zone: str) -> Timeliness:
    """Whether a protest came in time, by the announcements as they are timed now."""
    kind = row.ground
    if kind == JUDGEMENT:
        kind = kind_measured(meet_facts(conn, MeetId(row.meet_id)), kind)
    about = HeatId(row.heat_id)
    window = window_for_protest(conn, about, kind, row.lodged_at)
    return timeliness(conn, window, about, row.lodged_at, zone)


def marks_of(timely: Timeliness, *, took_part: bool) -> list[Mark]:
    """What is odd about it."""
    late = [] if timely.in_time else [Mark.LATE]
    return late + ([] if took_part else [Mark.OUTSIDE])


def _possible(
    conn: Connection, row: AnyRow, decided: AnyRow | None, timely: Timeliness
) -> list[str]:
    """What people can do with a protest now, by the table and by what it is."""
    is_rejected = row.state == ProtestState.REJECTED
    if is_rejected and not may_be_decided_again(conn, row, decided, timely):
        return []
    return [act.value for act in PROTEST_TABLE.possible(ProtestState(row.state))]


def _protest_out(conn: Connection, meet: MeetFacts, row: AnyRow) -> ProtestOut:
    timely = measured(conn, row, meet.time_zone)
    took_part, lane = lane_in_round(conn, meet.id, HeatId(row.heat_id), TeamId(row.team_id))
    decided = referees_decision(conn, meet.id, ProtestId(row.id))
    state = ProtestState(row.state)
    return ProtestOut(
        id=row.id,
        number=row.number,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        team=row.team_id,
        team_name=row.team_name,
        affiliation=row.affiliation,
        lane=lane,
        about=row.about,
        ruling=row.ruling_id,
        against=row.against_id,
        against_name=row.against_name,
        ground=row.ground,
        lodged_by=row.lodged_by,
        capacity=row.capacity,
        lodged_at=row.lodged_at,
        lodged_at_local=in_zone(row.lodged_at, meet.time_zone),
        entered_at=row.entered_at,
        taken_by=row.official_id,
        taken_by_name=name_then(conn, row, row.entered_at),
        words=row.words,
        allowed_because=row.allowed_because,
        took_part=took_part,
        timeliness=timely,
        marks=marks_of(timely, took_part=took_part),
        state=state,
        possible=_possible(conn, row, decided, timely),
        withdrawn=row.withdrawn,
        decision=decision_out(conn, decided, meet.time_zone) if decided else None,
        appeals=list(conn.execute(_APPEALS_OF, {"protest": row.id}).scalars()),
        version=row.version,
    )


def appeal_rows(conn: Connection, meet_id: MeetId, before: int | None) -> Sequence[AnyRow]:
    """Appeals, the one that was lodged last first, one more than a page."""
    values = {"meet": meet_id, "before": 2**31 - 1 if before is None else before}
    return conn.execute(_APPEALS, values).all()
