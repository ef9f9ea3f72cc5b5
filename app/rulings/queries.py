"""Reading rulings and disqualifications."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, bindparam, func, literal_column, or_, select

from app.access.names import WHO, name_then
from app.access.pen import signed_with
from app.access.tables import officials
from app.appeals.tables import appeals, decisions, protests
from app.clock import in_zone
from app.ids import CaseId, DecisionId, HeatId, MeetId, OfficialId, ReportId, RulingId, TeamId
from app.meets.queries import heat, meet_facts
from app.meets.tables import events, heats, lanes, teams
from app.refusals import NotFound
from app.reports.tables import cases, reports
from app.reports.wire import GoneOn
from app.rounds.tables import re_runs
from app.rules.finding import Consequence, title_of
from app.rules.observation import Infringement
from app.rulings.effect import effect_in_words
from app.rulings.shaken import shaken_of_team
from app.rulings.states import DisqualificationState
from app.rulings.tables import disqualifications, rulings
from app.rulings.wire import (
    DisqualificationOut,
    RulingOut,
    StandingRulingOut,
    StandingRulingsOut,
    Verdict,
)
from app.store.rows import AnyRow

_RULING = (
    select(
        rulings,
        *WHO,
        cases.c.number.label("case_number"),
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number.label("heat_number"),
        teams.c.name.label("team_name"),
        disqualifications.c.id.label("disqualification"),
    )
    .join(officials, officials.c.id == rulings.c.official_id)
    .join(cases, cases.c.id == rulings.c.case_id)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(teams, teams.c.id == rulings.c.team_id)
    .outerjoin(disqualifications, disqualifications.c.by_ruling == rulings.c.id)
    .where(rulings.c.meet_id == bindparam("meet"), rulings.c.id == bindparam("ruling"))
)
_STANDING = (
    select(
        rulings,
        cases.c.number.label("case_number"),
        *WHO,
        teams.c.name.label("team_name"),
    )
    .join(cases, cases.c.id == rulings.c.case_id)
    .join(officials, officials.c.id == rulings.c.official_id)
    .outerjoin(teams, teams.c.id == rulings.c.team_id)
    .where(rulings.c.heat_id == bindparam("heat"), rulings.c.replaced_by.is_(None))
    .order_by(rulings.c.lane.is_(None), rulings.c.lane, cases.c.number)
)
_IN_WORDS = (
    select(
        rulings.c.meet_id,
        rulings.c.official_id,
        rulings.c.ruled_at,
        rulings.c.verdict,
        rulings.c.effect,
        rulings.c.rule,
        *WHO,
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number,
    )
    .join(officials, officials.c.id == rulings.c.official_id)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .where(rulings.c.meet_id == bindparam("meet"), rulings.c.id == bindparam("ruling"))
)
_FORM = select(
    rulings.c.form_facts.label("facts"), rulings.c.statement_digest, rulings.c.replaced_by
).where(rulings.c.meet_id == bindparam("meet"), rulings.c.id == bindparam("ruling"))
_OF_CASE = (
    select(rulings.c.id)
    .where(rulings.c.meet_id == bindparam("meet"), rulings.c.case_id == bindparam("case"))
    # The one that stands comes last, whatever the clocks said.
    .order_by(rulings.c.replaced_by.is_(None), rulings.c.ruled_at, rulings.c.id)
)
_STATEMENTS_OF_CASE = (
    select(rulings.c.id, rulings.c.statement)
    .where(rulings.c.meet_id == bindparam("meet"), rulings.c.case_id == bindparam("case"))
    .order_by(rulings.c.replaced_by.is_(None), rulings.c.ruled_at, rulings.c.id)
)
_AUTHORS = select(reports.c.official_id).where(
    reports.c.case_id.in_(bindparam("cases", expanding=True))
)
_WROTE = select(reports.c.official_id).where(reports.c.id.in_(bindparam("reports", expanding=True)))
OF_MEET = rulings.c.heat_id.in_(select(heats.c.id).where(heats.c.meet_id == bindparam("meet")))
"""All rulings of a meet, by its heats: an index of rulings by meet would be taken for the docket's
questions too, instead of the narrow ones.
"""
_JOINED = select(cases.c.id).where(cases.c.joined_to.in_(bindparam("cases", expanding=True)))
_CASES_OF_REPORTS = (
    select(reports.c.id, reports.c.case_id)
    .where(reports.c.id.in_(bindparam("reports", expanding=True)))
    .order_by(reports.c.id)
)
_DISQUALIFICATIONS = (
    select(
        disqualifications,
        teams.c.name.label("team_name"),
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number.label("heat_number"),
    )
    .join(teams, teams.c.id == disqualifications.c.team_id)
    .join(heats, heats.c.id == disqualifications.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .where(disqualifications.c.meet_id == bindparam("meet"))
    .order_by(disqualifications.c.since, disqualifications.c.id)
)
_OF_HEAT = _DISQUALIFICATIONS.where(disqualifications.c.heat_id == bindparam("heat"))
_OF_RULING = _DISQUALIFICATIONS.where(disqualifications.c.by_ruling == bindparam("ruling"))
_IN_FORCE = (
    select(disqualifications, rulings.c.rests_on)
    .outerjoin(rulings, rulings.c.id == disqualifications.c.by_ruling)
    .where(
        disqualifications.c.heat_id.in_(bindparam("heats", expanding=True)),
        disqualifications.c.state == DisqualificationState.IN_FORCE.value,
    )
    .order_by(disqualifications.c.lane, disqualifications.c.since, disqualifications.c.id)
)
_ran_first = lanes.alias("ran_first")
_IN_FORCE_IN_RE_RUNS = (
    select(
        disqualifications,
        rulings.c.rests_on,
        _ran_first.c.heat_id.label("ran_first_in"),
    )
    .select_from(disqualifications)
    .join(re_runs, re_runs.c.run_heat_id == disqualifications.c.heat_id)
    .join(
        heats,
        and_(heats.c.event_id == re_runs.c.event_id, heats.c.round_key == re_runs.c.round_key),
    )
    .join(
        _ran_first,
        and_(
            _ran_first.c.heat_id == heats.c.id,
            _ran_first.c.team_id == disqualifications.c.team_id,
        ),
    )
    .outerjoin(rulings, rulings.c.id == disqualifications.c.by_ruling)
    .where(
        heats.c.id.in_(bindparam("heats", expanding=True)),
        re_runs.c.state == literal_column("'in force'"),
        disqualifications.c.state == DisqualificationState.IN_FORCE.value,
    )
    .order_by(_ran_first.c.lane, disqualifications.c.since, disqualifications.c.id)
)
_DECIDED_ON = (
    select(
        decisions.c.id,
        decisions.c.instance,
        decisions.c.decided_at,
        disqualifications.c.state,
        disqualifications.c.rule,
        teams.c.name.label("team_name"),
        protests.c.number.label("protest_number"),
        appeals.c.number.label("appeal_number"),
    )
    .select_from(disqualifications)
    .join(
        decisions,
        or_(
            decisions.c.id == disqualifications.c.set_aside_by,
            decisions.c.id == disqualifications.c.by_decision,
        ),
    )
    .join(teams, teams.c.id == disqualifications.c.team_id)
    .join(protests, protests.c.id == decisions.c.protest_id)
    .outerjoin(appeals, appeals.c.id == decisions.c.appeal_id)
    .where(disqualifications.c.by_ruling == bindparam("ruling"))
    .order_by(decisions.c.seq.desc())
    .limit(1)
)
_WHERE_NOTED = (
    select(rulings.c.id, heats.c.round, heats.c.number)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(rulings.c.id.in_(bindparam("rulings", expanding=True)))
)
_NOTED = (
    select(rulings.c.heat_id, rulings.c.team_id, rulings.c.rule)
    .where(
        rulings.c.heat_id.in_(bindparam("heats", expanding=True)),
        rulings.c.effect == Consequence.NOTED.value,
        rulings.c.replaced_by.is_(None),
        rulings.c.team_id.is_not(None),
    )
    .order_by(rulings.c.ruled_at, rulings.c.id)
)


_COUNT_IN_HEAT = (
    select(func.count()).select_from(rulings).where(rulings.c.heat_id == bindparam("heat"))
)
_LAST_IN_HEATS = (
    select(rulings.c.heat_id, func.max(rulings.c.ruled_at).label("ruled_at"))
    .where(rulings.c.heat_id.in_(bindparam("heats", expanding=True)))
    .group_by(rulings.c.heat_id)
)
# A dismissal of a case that was not ruled on before shows nowhere on a result.
_LAST_IN_HEAT = select(func.max(rulings.c.ruled_at)).where(
    rulings.c.heat_id == bindparam("heat"),
    or_(rulings.c.effect != Consequence.NONE.value, rulings.c.reconsiders.is_not(None)),
)
_LAST_IN_HEAT_UNTIL = _LAST_IN_HEAT.where(
    rulings.c.ruled_at <= bindparam("until", type_=rulings.c.ruled_at.type)
)


def count_rulings_in_heat(conn: Connection, heat_id: HeatId) -> int:
    """How many rulings there have been in a heat, replaced ones included."""
    return conn.execute(_COUNT_IN_HEAT, {"heat": heat_id}).scalar_one()


def last_ruled_at(
    conn: Connection, heat_id: HeatId, until: datetime | None = None
) -> datetime | None:
    """When a ruling changed this heat's result last, None before the first; `until` leaves out
    what came after an instant.
    """
    statement = _LAST_IN_HEAT if until is None else _LAST_IN_HEAT_UNTIL
    values = {"heat": heat_id} if until is None else {"heat": heat_id, "until": until}
    found: datetime | None = conn.execute(statement, values).scalar_one()
    return found


def last_ruled_in(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, datetime]:
    """When each of the heats was ruled on last, whatever the ruling did; none for the others."""
    rows = conn.execute(_LAST_IN_HEATS, {"heats": list(heat_ids)})
    return {row.heat_id: row.ruled_at for row in rows}


def ruling_out(conn: Connection, meet_id: MeetId, ruling_id: RulingId) -> RulingOut:
    """One ruling; NotFound for an id that is not of this meet."""
    row = conn.execute(_RULING, {"meet": meet_id, "ruling": ruling_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such ruling at this meet.")
    infringement = Infringement(row.infringement) if row.infringement else None
    shaken = shaken_of_team(conn, row.team_id)
    decided = decided_on(conn, ruling_id)
    return RulingOut(
        id=row.id,
        case=row.case_id,
        case_number=row.case_number,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        team=row.team_id,
        team_name=row.team_name,
        lane=row.lane,
        official=row.official_id,
        official_name=name_then(conn, row, row.ruled_at),
        verdict=Verdict(row.verdict),
        infringement=infringement,
        infringement_title=title_of(infringement) if infringement else None,
        rule=row.rule,
        effect=effect_in_words(Consequence(row.effect), row.rule),
        edition=row.edition,
        separate=row.separate if infringement is Infringement.LANE_INFRINGEMENT else None,
        noted_before=row.noted_before,
        rests_on=row.rests_on,
        is_shaken=row.id in shaken,
        shakes=[other for other in shaken if other != row.id],
        reasons=row.reasons,
        statement_digest=row.statement_digest,
        signed_with=signed_with(conn, meet_id, "ruling", row.id),
        ruled_at=row.ruled_at,
        reconsiders=row.reconsiders,
        replaced_by=row.replaced_by,
        disqualification=row.disqualification,
        decided_by=decided.decision if decided is not None else None,
    )


def rulings_in_heat(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> StandingRulingsOut:
    """The rulings that no later one has replaced, also those that dismissed a case; NotFound for a
    heat that is not of this meet.
    """
    here, zone = heat(conn, meet_id, heat_id), meet_facts(conn, meet_id).time_zone
    return StandingRulingsOut(
        heat=here.id,
        event_name=here.event_name,
        round=here.round,
        heat_number=here.number,
        rulings=[_standing(conn, row, zone) for row in conn.execute(_STANDING, {"heat": heat_id})],
    )


def _standing(conn: Connection, row: AnyRow, zone: str) -> StandingRulingOut:
    decided = decided_on(conn, RulingId(row.id))
    return StandingRulingOut(
        id=row.id,
        case=row.case_id,
        case_number=row.case_number,
        lane=row.lane,
        team=row.team_id,
        team_name=row.team_name,
        verdict=Verdict(row.verdict),
        infringement_title=title_of(Infringement(row.infringement)) if row.infringement else None,
        rule=row.rule,
        effect=effect_in_words(Consequence(row.effect), row.rule),
        since=decided.words(zone) if decided else None,
        official=row.official_id,
        official_name=name_then(conn, row, row.ruled_at),
        ruled_at=row.ruled_at,
        ruled_at_local=in_zone(row.ruled_at, zone),
    )


def ruling_in_words(conn: Connection, meet_id: MeetId, ruling_id: RulingId, zone: str) -> str:
    """A ruling as people name it on paper: when, by whom, in which heat, and what it was."""
    row = conn.execute(_IN_WORDS, {"meet": meet_id, "ruling": ruling_id}).one()
    effect = effect_in_words(Consequence(row.effect), row.rule)
    by = name_then(conn, row, row.ruled_at)
    return (
        f"the ruling of {in_zone(row.ruled_at, zone)} by {by} in {row.event_name}, "
        f"{row.round}, heat {row.number} ({row.verdict}, {effect})"
    )


class DecidedOn(NamedTuple):
    """The last decision on a protest or an appeal that moved a ruling's disqualification."""

    decision: DecisionId
    by_jury: bool
    at: datetime
    which: str
    what: str

    def words(self, zone: str) -> str:
        """What became of the disqualification, by whom and when."""
        return f"The disqualification of {self.which} was {self.what}, {in_zone(self.at, zone)}."


def decided_on(conn: Connection, ruling_id: RulingId) -> DecidedOn | None:
    """What was decided about a ruling's disqualification last, None where nothing was."""
    row = conn.execute(_DECIDED_ON, {"ruling": ruling_id}).one_or_none()
    if row is None:
        return None
    by_jury = row.appeal_number is not None
    whose = (
        f"the jury on appeal {row.appeal_number}"
        if by_jury
        else f"the referee on protest {row.protest_number}"
    )
    moved = "set aside" if row.state == DisqualificationState.SET_ASIDE else "put in force again"
    which = f"{row.team_name} (DQ {row.rule})"
    return DecidedOn(row.id, by_jury, row.decided_at, which, f"{moved} by the decision of {whose}")


class StoredForm(NamedTuple):
    """What is stored of a ruling's form, and the two columns that go with it."""

    facts: dict[str, Any]
    statement_digest: str
    replaced_by: RulingId | None


def stored_form(conn: Connection, meet_id: MeetId, ruling_id: RulingId) -> StoredForm:
    """The facts of a ruling's form; NotFound for an id that is not of this meet."""
    row = conn.execute(_FORM, {"meet": meet_id, "ruling": ruling_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such ruling at this meet.")
    return StoredForm(*row)


def rulings_of_case(conn: Connection, meet_id: MeetId, case_id: CaseId) -> list[RulingId]:
    """A case's rulings in order; the last one stands."""
    return list(conn.execute(_OF_CASE, {"meet": meet_id, "case": case_id}).scalars())


def authors_in(conn: Connection, meet_id: MeetId, case_id: CaseId) -> frozenset[OfficialId]:
    """Who wrote a report in this case, also one that has gone on since it was ruled on, or in one
    that was joined to it.
    """
    found: set[OfficialId] = set()
    todo = [case_id]
    while todo:
        found.update(conn.execute(_AUTHORS, {"cases": todo}).scalars())
        todo = list(conn.execute(_JOINED, {"cases": todo}).scalars())
    ruled_on = [one.report for one in reports_ruled_on(conn, meet_id, case_id)]
    found.update(conn.execute(_WROTE, {"reports": ruled_on}).scalars())
    return frozenset(found)


class LayThere(NamedTuple):
    """A report as the first ruling that names it found it: later ones find no more of it."""

    report: ReportId
    ruling: RulingId
    state: str
    version: int


def reports_ruled_on(conn: Connection, meet_id: MeetId, case_id: CaseId) -> list[LayThere]:
    """The reports that lay in a case when it was ruled on, each once."""
    found: dict[ReportId, LayThere] = {}
    for row in conn.execute(_STATEMENTS_OF_CASE, {"meet": meet_id, "case": case_id}):
        for one in row.statement["reports"]:
            lay = LayThere(one["id"], row.id, one["state"], one["version"])
            found.setdefault(lay.report, lay)
    return list(found.values())


def gone_since(conn: Connection, case_id: CaseId, ruled_on: Iterable[LayThere]) -> list[GoneOn]:
    """Those of the reports that a case was ruled on which have gone to another since."""
    named = [one.report for one in ruled_on]
    return [
        GoneOn(report=row.id, case=row.case_id)
        for row in conn.execute(_CASES_OF_REPORTS, {"reports": sorted(named)})
        if row.case_id != case_id
    ]


def disqualifications_of(conn: Connection, meet_id: MeetId) -> list[DisqualificationOut]:
    """All disqualifications of a meet, also those set aside."""
    rows = conn.execute(_DISQUALIFICATIONS, {"meet": meet_id})
    return [_disqualification_out(row) for row in rows]


def disqualifications_in_heat(
    conn: Connection, meet_id: MeetId, heat_id: HeatId
) -> list[DisqualificationOut]:
    """All disqualifications of a heat, also those set aside."""
    rows = conn.execute(_OF_HEAT, {"meet": meet_id, "heat": heat_id})
    return [_disqualification_out(row) for row in rows]


def disqualifications_of_ruling(
    conn: Connection, meet_id: MeetId, ruling_id: RulingId
) -> list[DisqualificationOut]:
    """What a ruling put on the result: one disqualification, or none."""
    rows = conn.execute(_OF_RULING, {"meet": meet_id, "ruling": ruling_id})
    return [_disqualification_out(row) for row in rows]


@dataclass(frozen=True, slots=True)
class InForce:
    """A disqualification that counts; `after` says in which heats the lane infringements were
    noted that made it one. `in_re_run`: the team ran again, and it was there.
    """

    team: TeamId
    infringement: Infringement
    rule: str
    take_over: int | None
    after: tuple[str, ...] = ()
    in_re_run: bool = False


def in_force_in(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, list[InForce]]:
    """The disqualifications that count, by heat, in the order of lanes and of ruling; after those
    of a heat those of its teams in a re-run, which is of the same round.
    """
    asked = {"heats": list(heat_ids)}
    rows = [(row.heat_id, row, False) for row in conn.execute(_IN_FORCE, asked)]
    rows += [(row.ran_first_in, row, True) for row in conn.execute(_IN_FORCE_IN_RE_RUNS, asked)]
    noted = _where_noted(conn, {ruling for _, row, _ in rows for ruling in row.rests_on or ()})
    found: dict[HeatId, list[InForce]] = {}
    for heat_id, row, in_re_run in rows:
        after = tuple(dict.fromkeys(noted[ruling] for ruling in row.rests_on or ()))
        kind = Infringement(row.infringement)
        one = InForce(row.team_id, kind, row.rule, row.take_over, after, in_re_run)
        found.setdefault(heat_id, []).append(one)
    return found


def _where_noted(conn: Connection, noted: Iterable[RulingId]) -> Mapping[RulingId, str]:
    """In which round and heat rulings were made; asked only where there are any."""
    asked = sorted(noted)
    rows = conn.execute(_WHERE_NOTED, {"rulings": asked}).all() if asked else []
    return {row.id: f"{row.round}, heat {row.number}" for row in rows}


def noted_in(
    conn: Connection, heat_ids: Iterable[HeatId]
) -> Mapping[HeatId, Mapping[TeamId, Sequence[str]]]:
    """The teams whose lane infringement was noted without disqualification, by heat, each with the
    rules it was noted by.
    """
    found: dict[HeatId, dict[TeamId, list[str]]] = {}
    for row in conn.execute(_NOTED, {"heats": list(heat_ids)}):
        found.setdefault(row.heat_id, {}).setdefault(row.team_id, []).append(row.rule)
    return found


def _disqualification_out(row: AnyRow) -> DisqualificationOut:
    return DisqualificationOut(
        id=row.id,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        team=row.team_id,
        team_name=row.team_name,
        lane=row.lane,
        take_over=row.take_over,
        infringement=Infringement(row.infringement),
        rule=row.rule,
        state=DisqualificationState(row.state),
        since=row.since,
        by_ruling=row.by_ruling,
        by_decision=row.by_decision,
        set_aside_by=row.set_aside_by,
        version=row.version,
    )
