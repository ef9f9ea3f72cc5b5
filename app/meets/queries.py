"""Reading meets, heats and lanes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import (
    ColumnElement,
    Connection,
    FromClause,
    bindparam,
    case,
    exists,
    false,
    func,
    literal_column,
    or_,
    select,
)

from app.cursors import before_place, cursor, split_cursor
from app.ids import EventId, HeatId, MeetId, TeamId
from app.meets.states import NOT_TO_RUN, HeatState, present_run
from app.meets.tables import events, heats, lanes, meets, run_lanes, teams
from app.meets.track import track_note
from app.meets.wire import (
    HeatOut,
    HeatsOut,
    LaneOut,
    MeetLine,
    MeetOut,
    MeetsOut,
    TermsIn,
    TrackIn,
)
from app.refusals import NotFound
from app.reports.tables import cases
from app.rounds.tables import re_runs
from app.rules.book import Book, book_on
from app.rules.relay import Relay
from app.rules.windows import MeetTerms
from app.store.prepared import Prepared
from app.store.rows import AnyRow

HEATS_A_PAGE = 100
SHOWN_BEFORE = 21
MEETS_A_PAGE = 50
MOST_HEATS = 10_000  # far more than any programme has

_MEET = Prepared(select(meets).where(meets.c.id == bindparam("meet")))
_MEETS = (
    select(meets.c.id, meets.c.name, meets.c.facts, meets.c.made_at)
    .order_by(meets.c.made_at.desc(), meets.c.id.desc())
    .limit(MEETS_A_PAGE + 1)
)
_MEETS_BEFORE = _MEETS.where(before_place(meets.c.made_at, meets.c.id))
_HEAT_COLUMNS = select(
    heats.c.id,
    heats.c.meet_id,
    heats.c.event_id,
    heats.c.round,
    heats.c.number,
    heats.c.scheduled,
    heats.c.position,
    heats.c.state,
    heats.c.started_at,
    heats.c.run,
    heats.c.rehearsal,
    heats.c.version,
    events.c.name.label("event_name"),
    events.c.relay,
).join(events, events.c.id == heats.c.event_id)
_HEAT = Prepared(
    _HEAT_COLUMNS.where(heats.c.meet_id == bindparam("meet"), heats.c.id == bindparam("heat"))
)
_HEATS_IN = _HEAT_COLUMNS.where(
    heats.c.meet_id == bindparam("meet"), heats.c.id.in_(bindparam("heats", expanding=True))
)
_STATE = select(heats.c.state).where(heats.c.id == bindparam("heat"))
_IS_REHEARSAL = select(heats.c.rehearsal).where(heats.c.id == bindparam("heat"))
_NOT_HELD_IN_MEET = select(heats.c.id).where(
    heats.c.meet_id == bindparam("meet"), heats.c.state == HeatState.NOT_HELD.value
)
_NOT_HELD = select(heats.c.id).where(
    heats.c.id.in_(bindparam("heats", expanding=True)),
    heats.c.state == HeatState.NOT_HELD.value,
)
_HEAT_PAGE = (
    _HEAT_COLUMNS.where(
        heats.c.meet_id == bindparam("meet"),
        heats.c.position > bindparam("after"),
        heats.c.rehearsal == false(),
    )
    .order_by(heats.c.position)
    .limit(HEATS_A_PAGE + 1)
)
_HOW_MANY = select(func.count()).where(
    heats.c.meet_id == bindparam("meet"), heats.c.rehearsal == false()
)
_POSITION = select(heats.c.position).where(
    heats.c.meet_id == bindparam("meet"), heats.c.id == bindparam("heat")
)
_RUNNING = (
    select(heats.c.id)
    .where(
        heats.c.meet_id == bindparam("meet"),
        heats.c.state == HeatState.RUNNING.value,
        heats.c.rehearsal == false(),
    )
    .order_by(heats.c.started_at.desc(), heats.c.id)
    .limit(1)
)
_LANES = (
    select(
        lanes.c.heat_id,
        lanes.c.lane,
        lanes.c.team_id,
        lanes.c.bib,
        lanes.c.legs,
        teams.c.name,
        teams.c.affiliation,
    )
    .join(teams, teams.c.id == lanes.c.team_id)
    .where(lanes.c.heat_id.in_(bindparam("heats", expanding=True)))
    .order_by(lanes.c.heat_id, lanes.c.lane)
)


_TEAM = select(teams).where(teams.c.meet_id == bindparam("meet"), teams.c.id == bindparam("team"))
_TEAMS_OF = select(teams.c.id, teams.c.name, teams.c.affiliation).where(
    teams.c.meet_id == bindparam("meet"), teams.c.id.in_(bindparam("teams", expanding=True))
)
_STATES = select(heats.c.id, heats.c.state).where(
    heats.c.id.in_(bindparam("heats", expanding=True))
)
_NAMES_IN_EVENT = (
    select(teams.c.name)
    .join(heats, heats.c.event_id == teams.c.event_id)
    .where(heats.c.id == bindparam("heat"))
)
_ORDERED = select(re_runs.c.run_heat_id, re_runs.c.teams).where(
    re_runs.c.meet_id == bindparam("meet"), re_runs.c.state == "in force"
)
_CALLED_OFF = select(re_runs.c.run_heat_id).where(
    re_runs.c.meet_id == bindparam("meet"), re_runs.c.state == "called off"
)
IS_NOT_CALLED_OFF = ~exists().where(
    re_runs.c.run_heat_id == heats.c.id, re_runs.c.state == literal_column("'called off'")
)
_RUNNING_AGAIN = (
    select(lanes.c.heat_id, lanes.c.team_id, teams.c.name)
    .join(teams, teams.c.id == lanes.c.team_id)
    .where(lanes.c.heat_id.in_(bindparam("heats", expanding=True)))
)


NOT_HELD = "This heat is not held: nobody is drawn in it."


def present_run_of(heat: FromClause) -> ColumnElement[int]:
    """The same as `states.present_run`, for statements that choose by it."""
    waits = or_(*(heat.c.state == state.value for state in sorted(NOT_TO_RUN)))
    return heat.c.run + case((waits, 1), else_=0)


PRESENT_RUN = present_run_of(heats)
RUNNING_COLUMNS = (
    heats.c.state.label("heat_state"),
    heats.c.run.label("heat_run"),
    heats.c.started_at.label("heat_started_at"),
    heats.c.event_id,
    events.c.relay,
    lanes.c.team_id,
    teams.c.name.label("team_name"),
    meets.c.edition,
    meets.c.lap_m,
)
RUNNING_IN = (
    heats.join(events, events.c.id == heats.c.event_id)
    .join(meets, meets.c.id == heats.c.meet_id)
    .outerjoin(lanes, (lanes.c.heat_id == heats.c.id) & (lanes.c.lane == bindparam("lane")))
    .outerjoin(teams, teams.c.id == lanes.c.team_id)
)
_OF_RUN = Prepared(
    select(run_lanes.c.lane, run_lanes.c.team_id, teams.c.name)
    .join(teams, teams.c.id == run_lanes.c.team_id)
    .where(run_lanes.c.heat_id == bindparam("heat"), run_lanes.c.run == bindparam("run"))
    .order_by(run_lanes.c.lane)
)
_WHO_RUNS = Prepared(
    select(*RUNNING_COLUMNS)
    .select_from(RUNNING_IN)
    .where(heats.c.meet_id == bindparam("meet"), heats.c.id == bindparam("heat"))
)


@dataclass(frozen=True, slots=True)
class MeetFacts:
    """What actions need to know about a meet."""

    id: MeetId
    name: str
    venue: str
    first_day: date
    last_day: date
    time_zone: str
    book: Book
    terms: TermsIn
    track: TrackIn
    ended_at: datetime | None
    version: int

    @property
    def days(self) -> str:
        """The meet's days, as papers write them."""
        first, last = self.first_day.isoformat(), self.last_day.isoformat()
        return first if first == last else f"{first} to {last}"

    def instant(self, written: str, day: date | None = None) -> datetime:
        """When something is, as a programme writes it, by the meet's own clock: on that day, else
        on the first, where it names none.
        """
        zone = ZoneInfo(self.time_zone)
        if "T" not in written:
            return datetime.combine(day or self.first_day, time.fromisoformat(written), zone)
        said = datetime.fromisoformat(written)
        return said.astimezone(zone) if said.tzinfo else said.replace(tzinfo=zone)

    @property
    def window_terms(self) -> MeetTerms:
        terms = self.terms
        return MeetTerms(
            terms.protest_minutes, terms.appeal_minutes, terms.protest_minutes_before_next_round
        )


@dataclass(frozen=True, slots=True)
class Running:
    """Who runs in a lane of a heat, as far as the start list knows."""

    state: HeatState
    run: int
    started_at: datetime | None
    event_id: EventId
    relay: Relay
    team_id: TeamId | None
    team_name: str | None
    book: Book

    @property
    def present_run(self) -> int:
        """The run that counts now."""
        return present_run(self.state, self.run)


def meet_row(conn: Connection, meet_id: MeetId) -> AnyRow:
    """A meet's row; NotFound for an unknown id."""
    row: AnyRow | None = _MEET.first(conn, {"meet": meet_id})
    if row is None:
        raise NotFound("There is no such meet.")
    return row


def meet_name(conn: Connection, meet_id: MeetId) -> str:
    """A meet's name."""
    return str(meet_row(conn, meet_id).name)


def meet_facts(conn: Connection, meet_id: MeetId) -> MeetFacts:
    """A meet with its edition's book."""
    row = meet_row(conn, meet_id)
    return MeetFacts(
        id=meet_id,
        name=row.name,
        venue=row.facts["venue"],
        first_day=date.fromisoformat(row.facts["first_day"]),
        last_day=date.fromisoformat(row.facts["last_day"]),
        time_zone=row.time_zone,
        book=book_on(row.edition, row.lap_m),
        terms=TermsIn.model_validate(row.facts["terms"]),
        track=TrackIn.model_validate(row.facts["track"]),
        ended_at=row.ended_at,
        version=row.version,
    )


def meet(conn: Connection, meet_id: MeetId) -> MeetOut:
    """A meet as anybody may see it."""
    facts = meet_facts(conn, meet_id)
    return MeetOut(
        id=facts.id,
        name=facts.name,
        venue=facts.venue,
        first_day=facts.first_day,
        last_day=facts.last_day,
        time_zone=facts.time_zone,
        edition=facts.book.key,
        edition_title=f"{facts.book.title}, {facts.book.edition}",
        edition_note=edition_note(facts.book, facts.first_day, facts.last_day),
        track=facts.track,
        track_note=track_note(facts.track),
        terms=facts.terms,
        ended_at=facts.ended_at,
        version=facts.version,
    )


def meets_page(conn: Connection, before: str | None) -> MeetsOut:
    """Meets, the one that was set up last first, fifty a page."""
    if before is None:
        rows = conn.execute(_MEETS).all()
    else:
        at, ident = split_cursor(before, "before")
        rows = conn.execute(_MEETS_BEFORE, {"at": at, "place": ident}).all()
    page = rows[:MEETS_A_PAGE]
    return MeetsOut(
        meets=[
            MeetLine(
                id=row.id,
                name=row.name,
                first_day=row.facts["first_day"],
                last_day=row.facts["last_day"],
            )
            for row in page
        ],
        next=cursor(page[-1].made_at, page[-1].id) if len(rows) > MEETS_A_PAGE else None,
    )


def edition_note(book: Book, first_day: date, last_day: date) -> str:
    """A warning where a meet's days lie outside the time its edition was in force, or where the
    edition has no zones for its track.
    """
    if first_day < book.in_force_from:
        return f"This edition took force on {book.in_force_from}, after the meet's first day."
    if book.in_force_until is not None and last_day > book.in_force_until:
        return f"This edition was in force until {book.in_force_until}, before the meet's last day."
    return oval_note(book)


def oval_note(book: Book) -> str:
    """That the edition has no zones at all for the oval of a meet; else empty."""
    if not book.is_for_oval or book.oval_zones:
        return ""
    return (
        "No zones on an oval of 200 m were found for this edition: its others are shown and "
        "judged by. The rule book of the meet and its appointed officials decide."
    )


def heat(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> HeatOut:
    """One heat with its lanes; NotFound for an id that is not of this meet."""
    row: AnyRow | None = _HEAT.first(conn, {"meet": meet_id, "heat": heat_id})
    if row is None:
        raise NotFound("There is no such heat at this meet.")
    return _heat_out(row, lanes_of(conn, [heat_id]).get(heat_id, []))


def heats_in(conn: Connection, meet_id: MeetId, heat_ids: Sequence[HeatId]) -> list[HeatOut]:
    """Heats with their lanes, in the order in which they were named; unknown ones are left out."""
    rows = conn.execute(_HEATS_IN, {"meet": meet_id, "heats": heat_ids})
    by_id = {row.id: row for row in rows}
    by_heat = lanes_of(conn, by_id)
    return [_heat_out(by_id[one], by_heat.get(one, [])) for one in heat_ids if one in by_id]


def heats_page(conn: Connection, meet_id: MeetId, after: int) -> HeatsOut:
    """A page of heats in the order of the programme."""
    meet_row(conn, meet_id)
    rows = conn.execute(_HEAT_PAGE, {"meet": meet_id, "after": after}).all()
    page = rows[:HEATS_A_PAGE]
    by_heat = lanes_of(conn, [row.id for row in page])
    running = conn.execute(_RUNNING, {"meet": meet_id}).scalar()
    return HeatsOut(
        heats=[_heat_out(row, by_heat.get(row.id, [])) for row in page],
        running=running,
        next=page[-1].position if len(rows) > HEATS_A_PAGE else None,
    )


def count_heats(conn: Connection, meet_id: MeetId) -> int:
    """How many heats are on the programme."""
    return conn.execute(_HOW_MANY, {"meet": meet_id}).scalar_one()


def heats_around(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> HeatsOut:
    """A page of heats that begins a little before this one; from the first for an unknown one."""
    where = {"meet": meet_id, "heat": heat_id}
    position = conn.execute(_POSITION, where).scalar() or 0
    return heats_page(conn, meet_id, max(0, position - SHOWN_BEFORE))


def heats_from(
    conn: Connection, which: Iterable[ColumnElement[bool]], values: Mapping[str, Any], most: int
) -> list[HeatOut]:
    """The heats that a statement chooses, with their lanes, the last on the programme first."""
    asked = _HEAT_COLUMNS.where(*which).order_by(heats.c.position.desc()).limit(most)
    rows = conn.execute(asked, values).all()
    by_heat = lanes_of(conn, [row.id for row in rows])
    return [_heat_out(row, by_heat.get(row.id, [])) for row in rows]


def heats_held(conn: Connection, meet_id: MeetId) -> list[HeatOut]:
    """All heats of the programme that were run or are to be, in its order."""
    which = (
        heats.c.meet_id == meet_id,
        heats.c.rehearsal == false(),
        heats.c.state != HeatState.NOT_HELD.value,
        IS_NOT_CALLED_OFF,
    )
    return heats_from(conn, which, {}, MOST_HEATS)[::-1]


def lanes_of(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, list[LaneOut]]:
    """The lanes of heats, by heat, in lane order."""
    found: dict[HeatId, list[LaneOut]] = {}
    for row in conn.execute(_LANES, {"heats": list(heat_ids)}):
        found.setdefault(row.heat_id, []).append(
            LaneOut(
                lane=row.lane,
                team=row.team_id,
                name=row.name,
                affiliation=row.affiliation,
                bib=row.bib,
                legs=row.legs,
            )
        )
    return found


def who_runs(conn: Connection, meet_id: MeetId, heat_id: HeatId, lane: int | None) -> Running:
    """The heat's state and the team in a lane; NotFound for a heat that is not of this meet."""
    row = _WHO_RUNS.first(conn, {"meet": meet_id, "heat": heat_id, "lane": lane})
    if row is None:
        raise NotFound("There is no such heat at this meet.")
    return running_from(row)


def running_from(row: Any) -> Running:
    """Who runs, from a row with RUNNING_COLUMNS."""
    state = HeatState(row.heat_state)
    return Running(
        state,
        row.heat_run,
        row.heat_started_at,
        row.event_id,
        Relay(row.relay),
        row.team_id,
        row.team_name,
        book_on(row.edition, row.lap_m),
    )


def affiliations_of(
    conn: Connection, meet_id: MeetId, team_ids: Iterable[TeamId]
) -> Mapping[TeamId, str]:
    """By team its affiliation, or its own name where it has none."""
    rows = conn.execute(_TEAMS_OF, {"meet": meet_id, "teams": list(team_ids)})
    return {row.id: row.affiliation or row.name for row in rows}


def team_row(conn: Connection, meet_id: MeetId, team_id: TeamId) -> AnyRow:
    """A team of this meet; NotFound for any other id."""
    row = conn.execute(_TEAM, {"meet": meet_id, "team": team_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such team at this meet.")
    return row


class RanIn(NamedTuple):
    """A team in a lane of a run."""

    id: TeamId
    name: str


def names_in_event_of(conn: Connection, heat_id: HeatId) -> list[str]:
    """The names of all teams of a heat's event."""
    return list(conn.execute(_NAMES_IN_EVENT, {"heat": heat_id}).scalars())


def teams_of_run(conn: Connection, heat_id: HeatId, run: int) -> Mapping[int, RanIn]:
    """Who was in which lane when a run began; nothing for one that nobody began on the screen."""
    rows = _OF_RUN.all(conn, {"heat": heat_id, "run": run})
    return {row.lane: RanIn(row.team_id, row.name) for row in rows}


def teams_with_cases(conn: Connection, meet_id: MeetId) -> Mapping[tuple[HeatId, TeamId], str]:
    """The teams that a case is about, by heat, with their names."""
    statement = (
        select(cases.c.heat_id, cases.c.team_id, teams.c.name)
        .join(teams, teams.c.id == cases.c.team_id)
        .where(cases.c.meet_id == meet_id)
        .distinct()
    )
    return {(row.heat_id, row.team_id): row.name for row in conn.execute(statement)}


def teams_to_run_again(conn: Connection, meet_id: MeetId) -> Mapping[tuple[HeatId, TeamId], str]:
    """The teams of the re-runs that are ordered, by the re-run's heat, with their names."""
    ordered = {row.run_heat_id: row.teams for row in conn.execute(_ORDERED, {"meet": meet_id})}
    running = conn.execute(_RUNNING_AGAIN, {"heats": list(ordered)}) if ordered else ()
    return {
        (row.heat_id, row.team_id): row.name
        for row in running
        if row.team_id in ordered[row.heat_id]
    }


def is_heat(conn: Connection, heat_id: HeatId) -> bool:
    """Whether an id names a heat, in whatever meet."""
    return conn.execute(_STATE, {"heat": heat_id}).scalar() is not None


def is_rehearsal(conn: Connection, heat_id: HeatId) -> bool:
    """Whether nothing about this heat counts; not so for an unknown one."""
    return bool(conn.execute(_IS_REHEARSAL, {"heat": heat_id}).scalar())


def is_not_held(conn: Connection, heat_id: HeatId) -> bool:
    """Whether a heat was taken out of the draw; not so for an unknown one."""
    state = conn.execute(_STATE, {"heat": heat_id}).scalar()
    return bool(state == HeatState.NOT_HELD.value)


def states_of(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, HeatState]:
    """The states of several heats; an unknown one is left out."""
    rows = conn.execute(_STATES, {"heats": list(heat_ids)})
    return {row.id: HeatState(row.state) for row in rows}


def heats_not_held(conn: Connection, heat_ids: Iterable[HeatId]) -> frozenset[HeatId]:
    """Those of the heats that were taken out of the draw."""
    return frozenset(conn.execute(_NOT_HELD, {"heats": list(heat_ids)}).scalars())


def not_held_in(conn: Connection, meet_id: MeetId) -> frozenset[HeatId]:
    """The heats of a meet that were taken out of the draw."""
    return frozenset(conn.execute(_NOT_HELD_IN_MEET, {"meet": meet_id}).scalars())


def heats_called_off(conn: Connection, meet_id: MeetId) -> frozenset[HeatId]:
    """The heats of re-runs that a decision has called off: nobody starts them."""
    return frozenset(conn.execute(_CALLED_OFF, {"meet": meet_id}).scalars())


def relays_by_heat(conn: Connection, meet_id: MeetId) -> Mapping[HeatId, Relay]:
    """The relay of each heat of the programme, in its order."""
    statement = (
        select(heats.c.id, events.c.relay)
        .join(events, events.c.id == heats.c.event_id)
        .where(heats.c.meet_id == meet_id, heats.c.rehearsal == false())
        .order_by(heats.c.position)
    )
    return {row.id: Relay(row.relay) for row in conn.execute(statement)}


def programme(conn: Connection, meet_id: MeetId) -> list[HeatOut]:
    """All heats of the programme with their lanes, in its order."""
    return heats_in(conn, meet_id, list(relays_by_heat(conn, meet_id)))


def relays_of(conn: Connection, meet_id: MeetId) -> Mapping[Relay, int]:
    """The relays on the meet's programme, and the highest lane, or place on the line, of each."""
    statement = (
        select(events.c.relay, func.max(lanes.c.lane).label("highest"))
        .join(heats, heats.c.event_id == events.c.id)
        .join(lanes, lanes.c.heat_id == heats.c.id)
        .where(events.c.meet_id == meet_id, heats.c.rehearsal == false())
        .group_by(events.c.relay)
        .order_by(events.c.relay)
    )
    return {Relay(row.relay): row.highest for row in conn.execute(statement)}


def _heat_out(row: AnyRow, heat_lanes: list[LaneOut]) -> HeatOut:
    started: datetime | None = row.started_at
    state = HeatState(row.state)
    return HeatOut(
        id=row.id,
        event=row.event_id,
        event_name=row.event_name,
        relay=Relay(row.relay),
        round=row.round,
        number=row.number,
        scheduled=row.scheduled,
        state=state,
        started_at=started,
        run=row.run,
        rehearsal=row.rehearsal,
        lanes=heat_lanes,
        does_not_count=NOT_HELD if state is HeatState.NOT_HELD else "",
        version=row.version,
    )
