"""Reading protests, decisions, appeals and votes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from sqlalchemy import Connection, bindparam, func, literal_column, select

from app.access.tables import officials
from app.appeals.about_not_held import lanes_before
from app.appeals.once_more import may_be_decided_again
from app.appeals.protest_windows import window_for_protest
from app.appeals.states import PROTEST_TABLE, ProtestState
from app.appeals.tables import appeals, decisions, protests, votes
from app.appeals.timeliness import timeliness
from app.appeals.wire import (
    DecisionOut,
    Instance,
    JurysDecisionOut,
    Mark,
    ProtestOut,
    ProtestsOut,
    Timeliness,
    Verdict,
)
from app.clock import in_zone
from app.ids import (
    AppealId,
    CaseId,
    DecisionId,
    HeatId,
    MeetId,
    OfficialId,
    ProtestId,
    RulingId,
    TeamId,
)
from app.meets.queries import MeetFacts, meet_facts
from app.meets.tables import events, heats, lanes, teams
from app.refusals import NotFound
from app.reports.queries import cases_of_teams
from app.reports.wire import AwaitedProtest
from app.results.appealable import IS_TOLD_SINCE
from app.results.one_round import in_one_round
from app.results.tables import announcements, tellings, windows
from app.rounds.wire import ConsequencesOut
from app.rules.windows import Remedy
from app.rulings.jurys_word import STANDS_SINCE
from app.rulings.queries import ruling_out
from app.store.prepared import Prepared
from app.store.rows import AnyRow

PAGE = 50
JUDGEMENT = "judgement"

_here = heats.alias("here")
_against = teams.alias("against")
_taker = officials.alias("taker")
_WHERE_ABOUT = (
    teams.c.name.label("team_name"),
    teams.c.affiliation,
    _taker.c.name.label("taken_by_name"),
    heats.c.event_id,
    heats.c.round,
    heats.c.round_key,
    heats.c.number.label("heat_number"),
    events.c.name.label("event_name"),
)
"""For whom, about which heat, and who took it in."""
_PROTEST_COLUMNS = (
    select(
        protests,
        _against.c.name.label("against_name"),
        *_WHERE_ABOUT,
    )
    .select_from(protests)
    .join(teams, teams.c.id == protests.c.team_id)
    .join(_taker, _taker.c.id == protests.c.official_id)
    .join(heats, heats.c.id == protests.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(_against, _against.c.id == protests.c.against_id)
    .where(protests.c.meet_id == bindparam("meet"))
)
_PROTEST = _PROTEST_COLUMNS.where(protests.c.id == bindparam("protest"))
_PROTESTS = (
    _PROTEST_COLUMNS.where(protests.c.number < bindparam("before"))
    .order_by(protests.c.number.desc())
    .limit(PAGE + 1)
)
_APPEAL_COLUMNS = (
    select(
        appeals,
        protests.c.number.label("protest_number"),
        *_WHERE_ABOUT,
    )
    .select_from(appeals)
    .join(protests, protests.c.id == appeals.c.protest_id)
    .join(teams, teams.c.id == appeals.c.team_id)
    .join(_taker, _taker.c.id == appeals.c.official_id)
    .join(heats, heats.c.id == appeals.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .where(appeals.c.meet_id == bindparam("meet"))
)
_APPEAL = _APPEAL_COLUMNS.where(appeals.c.id == bindparam("appeal"))
_APPEALS = (
    _APPEAL_COLUMNS.where(appeals.c.number < bindparam("before"))
    .order_by(appeals.c.number.desc())
    .limit(PAGE + 1)
)
_APPEALS_ON = _APPEAL_COLUMNS.where(appeals.c.protest_id == bindparam("protest")).order_by(
    appeals.c.number
)
_APPEALS_OF = (
    select(appeals.c.id)
    .where(appeals.c.protest_id == bindparam("protest"))
    .order_by(appeals.c.number)
)
_DECISION_COLUMNS = (
    select(decisions, officials.c.name.label("official_name"), STANDS_SINCE.label("stands_since"))
    .join(officials, officials.c.id == decisions.c.official_id)
    .where(decisions.c.meet_id == bindparam("meet"))
)
_DECISION = _DECISION_COLUMNS.where(decisions.c.id == bindparam("decision"))
_REFEREES = _DECISION_COLUMNS.where(
    decisions.c.protest_id == bindparam("protest"), decisions.c.instance == Instance.REFEREE.value
).order_by(decisions.c.seq)
_REFEREES_OF = (
    select(decisions.c.id, decisions.c.protest_id)
    .where(
        decisions.c.meet_id == bindparam("meet"),
        decisions.c.instance == Instance.REFEREE.value,
        decisions.c.protest_id.in_(bindparam("protests", expanding=True)),
    )
    .order_by(decisions.c.seq)
)
_OF_PROTEST = _REFEREES.where(decisions.c.replaced_by.is_(None))
_OF_APPEAL = _DECISION_COLUMNS.where(decisions.c.appeal_id == bindparam("appeal")).order_by(
    decisions.c.sitting
)
_ALL_OF_PROTEST = _DECISION_COLUMNS.where(decisions.c.protest_id == bindparam("protest")).order_by(
    decisions.c.seq
)
_IN_ROUND_OF = (
    select(
        decisions.c.id,
        decisions.c.seq,
        decisions.c.heat_id,
        decisions.c.protest_id,
        decisions.c.instance,
        decisions.c.orders,
        decisions.c.carried_out,
        decisions.c.replaced_by,
        decisions.c.settled_by,
        protests.c.number.label("protest_number"),
        appeals.c.number.label("appeal_number"),
        appeals.c.state.label("appeal_state"),
    )
    .join(protests, protests.c.id == decisions.c.protest_id)
    .outerjoin(appeals, appeals.c.id == decisions.c.appeal_id)
    .join(heats, heats.c.id == decisions.c.heat_id)
    .join(_here, in_one_round(heats, _here))
    .where(_here.c.id == bindparam("heat"))
    .order_by(decisions.c.seq)
)
_DECIDED_ABOUT = (
    select(decisions.c.official_id)
    .join(protests, protests.c.id == decisions.c.protest_id)
    .where(
        decisions.c.meet_id == bindparam("meet"),
        decisions.c.instance == Instance.REFEREE.value,
        protests.c.ruling_id.in_(bindparam("rulings", expanding=True)),
    )
)
_IS_TOLD = (
    select(tellings.c.decision_id)
    .join(announcements, announcements.c.id == tellings.c.announcement_id)
    .where(tellings.c.decision_id == decisions.c.id, announcements.c.heat_id == decisions.c.heat_id)
    .correlate(decisions)
    .exists()
)
_UNTOLD = select(decisions.c.id).where(
    decisions.c.heat_id == bindparam("heat"),
    decisions.c.carried_out != literal_column("'[]'"),
    decisions.c.is_news == 1,
    ~_IS_TOLD,
)
_TOLD_ANYWHERE = select(tellings.c.decision_id).where(
    tellings.c.decision_id.in_(bindparam("decisions", expanding=True))
)
_JURYS_ON = (
    _DECISION_COLUMNS.add_columns(appeals.c.number.label("appeal_number"))
    .join(appeals, appeals.c.id == decisions.c.appeal_id)
    .where(
        decisions.c.protest_id.in_(bindparam("protests", expanding=True)),
        decisions.c.replaced_by.is_(None),
    )
    .order_by(appeals.c.number)
)
_VOTES = select(votes).where(
    votes.c.appeal_id == bindparam("appeal"), votes.c.sitting == bindparam("sitting")
)
_AWAITED = Prepared(
    _PROTEST_COLUMNS.where(protests.c.state == ProtestState.LODGED.value)
    .order_by(protests.c.lodged_at, protests.c.number)
    .limit(PAGE)
)
_LAST_PROTEST = select(func.max(protests.c.number)).where(protests.c.meet_id == bindparam("meet"))
_LAST_APPEAL = select(func.max(appeals.c.number)).where(appeals.c.meet_id == bindparam("meet"))
_LAST_DECISION = select(func.max(decisions.c.seq)).where(decisions.c.meet_id == bindparam("meet"))


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


def protest_kinds(meet: MeetFacts) -> list[str]:
    """The kinds of protest that the edition knows, in its order."""
    of_protests = (one.kind for one in meet.book.windows if one.remedy is Remedy.PROTEST)
    return list(dict.fromkeys(of_protests))


def kind_measured(meet: MeetFacts, ground: str) -> str:
    """The kind of window that measures a ground; a judgement call has none of its own."""
    return protest_kinds(meet)[0] if ground == JUDGEMENT else ground


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


def decision_row(conn: Connection, meet_id: MeetId, decision_id: DecisionId) -> AnyRow:
    """A decision's row; NotFound for an id that is not of this meet."""
    row = conn.execute(_DECISION, {"meet": meet_id, "decision": decision_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such decision at this meet.")
    return row


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


def decided_about(
    conn: Connection, meet_id: MeetId, rulings: Iterable[RulingId]
) -> set[OfficialId]:
    """Who has decided a protest about one of these rulings, as a referee."""
    asked = {"meet": meet_id, "rulings": sorted(rulings)}
    return set(conn.execute(_DECIDED_ABOUT, asked).scalars())


def is_the_jurys(conn: Connection, meet_id: MeetId, ident: str) -> bool:
    """Whether this is a decision of the jury; a ruling's id is none."""
    row = conn.execute(_DECISION, {"meet": meet_id, "decision": ident}).one_or_none()
    return row is not None and row.instance == Instance.JURY.value


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


def next_protest_number(conn: Connection, meet_id: MeetId) -> int:
    """Protests are counted through the meet, so that one can be said over a radio."""
    return (conn.execute(_LAST_PROTEST, {"meet": meet_id}).scalar() or 0) + 1


def next_appeal_number(conn: Connection, meet_id: MeetId) -> int:
    """Appeals are counted through the meet."""
    return (conn.execute(_LAST_APPEAL, {"meet": meet_id}).scalar() or 0) + 1


def next_decision(conn: Connection, meet_id: MeetId) -> int:
    """Decisions are counted through the meet, in the order in which they were made."""
    return (conn.execute(_LAST_DECISION, {"meet": meet_id}).scalar() or 0) + 1


def referees_decision(conn: Connection, meet_id: MeetId, protest_id: ProtestId) -> AnyRow | None:
    """The referee's decision on a protest as it stands, None before it."""
    return conn.execute(_OF_PROTEST, {"meet": meet_id, "protest": protest_id}).one_or_none()


def decisions_in_round(conn: Connection, heat_id: HeatId) -> list[AnyRow]:
    """What was carried out in the round of a heat, by decision, in the order of deciding."""
    return list(conn.execute(_IN_ROUND_OF, {"heat": heat_id}))


def untold_orders(conn: Connection, heat_id: HeatId) -> frozenset[DecisionId]:
    """The decisions about a heat, also replaced ones, that ordered something new which no
    announcement of the heat has told.
    """
    return frozenset(conn.execute(_UNTOLD, {"heat": heat_id}).scalars())


def told_anywhere(conn: Connection, decision_ids: Iterable[DecisionId]) -> frozenset[DecisionId]:
    """Those of the decisions that an announcement of any heat has told."""
    return frozenset(conn.execute(_TOLD_ANYWHERE, {"decisions": list(decision_ids)}).scalars())


def referees_decisions(conn: Connection, meet_id: MeetId, protest_id: ProtestId) -> list[AnyRow]:
    """All that the referee decided on a protest, first to last: more than one where the first was
    replaced.
    """
    return list(conn.execute(_REFEREES, {"meet": meet_id, "protest": protest_id}))


def decisions_of_appeal(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> list[AnyRow]:
    """The jury's decisions on an appeal, one a sitting; the last one stands."""
    return list(conn.execute(_OF_APPEAL, {"meet": meet_id, "appeal": appeal_id}))


def standing_decision(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> AnyRow | None:
    """The jury's decision on an appeal that no later sitting has replaced, None before any."""
    found = decisions_of_appeal(conn, meet_id, appeal_id)
    return found[-1] if found else None


def decisions_on(conn: Connection, meet: MeetFacts, protest_id: ProtestId) -> list[DecisionOut]:
    """All decisions on a protest and its appeals, in order."""
    rows = conn.execute(_ALL_OF_PROTEST, {"meet": meet.id, "protest": protest_id})
    return [decision_out(row, meet.time_zone) for row in rows]


def subjects_of_protest(conn: Connection, meet: MeetFacts, protest_id: ProtestId) -> list[str]:
    """What a correction about a protest names: itself, or a decision whose advice it was."""
    return [protest_id, *referees_decisions_of(conn, meet, [protest_id]).get(protest_id, ())]


def referees_decisions_of(
    conn: Connection, meet: MeetFacts, protest_ids: Iterable[str]
) -> Mapping[str, list[str]]:
    """By protest what the referee decided on it, first to last; those undecided are left out."""
    found: dict[str, list[str]] = {}
    for row in conn.execute(_REFEREES_OF, {"meet": meet.id, "protests": list(protest_ids)}):
        found.setdefault(row.protest_id, []).append(row.id)
    return found


def jurys_decisions_on(
    conn: Connection, meet: MeetFacts, protest_ids: Iterable[str]
) -> Mapping[str, list[AnyRow]]:
    """By protest what the jury has decided on its appeals and stands; none for the others."""
    found: dict[str, list[AnyRow]] = {}
    for row in conn.execute(_JURYS_ON, {"meet": meet.id, "protests": list(protest_ids)}):
        found.setdefault(row.protest_id, []).append(row)
    return found


def jurys_decision_out(meet: MeetFacts, row: AnyRow, appeal_number: int) -> JurysDecisionOut:
    """A decision of the jury in short."""
    return JurysDecisionOut(
        id=row.id,
        appeal=row.appeal_id,
        appeal_number=appeal_number,
        sitting=row.sitting,
        verdict=Verdict(row.verdict),
        decided_at=row.decided_at,
        decided_at_local=in_zone(row.decided_at, meet.time_zone),
        form_path=f"/api/meets/{meet.id}/decisions/{row.id}/form.pdf",
    )


def votes_of(conn: Connection, appeal_id: AppealId, sitting: int) -> list[AnyRow]:
    """The votes of one sitting."""
    return list(conn.execute(_VOTES, {"appeal": appeal_id, "sitting": sitting}))


def decision_out(row: AnyRow, zone: str) -> DecisionOut:
    """A decision as it goes over HTTP."""
    return DecisionOut(
        id=row.id,
        protest=row.protest_id,
        appeal=row.appeal_id,
        heat=row.heat_id,
        instance=Instance(row.instance),
        sitting=row.sitting,
        verdict=Verdict(row.verdict),
        reasons=row.reasons,
        heard_because=row.heard_because,
        done_already=row.content.get("done_already"),
        orders=row.orders,
        ordered=[one["words"] for one in row.carried_out],
        consequences=ConsequencesOut.model_validate(row.moves),
        official=row.official_id,
        official_name=row.official_name,
        decided_at=row.decided_at,
        decided_at_local=in_zone(row.decided_at, zone),
        advised_at=row.advised_at,
        statement_digest=row.statement_digest,
        replaced_by=row.replaced_by,
    )


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
        taken_by_name=row.taken_by_name,
        words=row.words,
        allowed_because=row.allowed_because,
        took_part=took_part,
        timeliness=timely,
        marks=marks_of(timely, took_part=took_part),
        state=state,
        possible=_possible(conn, row, decided, timely),
        withdrawn=row.withdrawn,
        decision=decision_out(decided, meet.time_zone) if decided else None,
        appeals=list(conn.execute(_APPEALS_OF, {"protest": row.id}).scalars()),
        version=row.version,
    )


def appeal_rows(conn: Connection, meet_id: MeetId, before: int | None) -> Sequence[AnyRow]:
    """Appeals, the one that was lodged last first, one more than a page."""
    values = {"meet": meet_id, "before": 2**31 - 1 if before is None else before}
    return conn.execute(_APPEALS, values).all()
