"""Loading start lists: first what would change, then all of it or nothing.

A file holds whole heats. A heat that the meet does not have is added; one that it has and that has
not begun takes the file's lanes, also where it was not to be held; one that has begun may only be
named with the lanes it already has. Heats that the file does not name stay as they are, so that
each round can come in its own file, and the same file a second time changes nothing. Who had a lane
in a heat that it names, and stands nowhere else in that round, is told as left out. A team's
affiliation is the first that the file gives it; where it gives none, what is known stays.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import islice
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, update

from app.ids import EventId, HeatId, MeetId, TeamId, new_id
from app.meets.known import EventKey, Known, Running, TeamFacts, TeamKey, read_known
from app.meets.lanes_given import look_after_lanes_given
from app.meets.queries import (
    meet_facts,
)
from app.meets.states import NOT_TO_RUN, HeatState
from app.meets.tables import events, heats, lanes, teams
from app.meets.who_stands_where import in_two_heats, left_out
from app.meets.wire import StartListsOut
from app.record.kinds import Kind
from app.refusals import FileRefused
from app.sheets.problems import Problem, ProblemList
from app.sheets.start_list import Entry, HeatRows, StartList, read_start_list
from app.sheets.table import SheetRefused
from app.store.action import Action, Deed, Done, Unit
from app.visible import likeness

CHUNK = 500
MOST_TOLD = 50


@dataclass(slots=True)
class Plan:
    """What loading a start list does."""

    new_events: list[dict[str, object]] = field(default_factory=list)
    new_teams: list[dict[str, object]] = field(default_factory=list)
    new_to_event: list[str] = field(default_factory=list)
    changed_teams: list[dict[str, object]] = field(default_factory=list)
    renamed: list[str] = field(default_factory=list)
    lanes_moved: list[str] = field(default_factory=list)
    in_two_heats: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    drawn_again: list[str] = field(default_factory=list)
    new_heats: list[dict[str, object]] = field(default_factory=list)
    changed_heats: list[dict[str, object]] = field(default_factory=list)
    new_lanes: list[dict[str, object]] = field(default_factory=list)
    unchanged: int = 0
    problems: ProblemList = field(default_factory=ProblemList)

    @property
    def changes_something(self) -> bool:
        return bool(self.new_heats or self.changed_heats or self.changed_teams)


class Planner:
    """Works out what loading does, heat by heat. `stated` is what the file says of each team."""

    def __init__(
        self, meet_id: MeetId, known: Known, track_lanes: int, stated: Mapping[TeamKey, TeamFacts]
    ) -> None:
        self.meet_id = meet_id
        self.known = known
        self.track_lanes = track_lanes
        self.stated = stated
        self.plan = Plan()

    def take(self, heat: HeatRows) -> None:
        """One heat of the file."""
        self._refuse_lanes_beside_the_track(heat)
        event_id = self._event(heat)
        if event_id is None:
            return
        event_key = likeness(heat.event)
        stored = self.known.heats.get((event_key, likeness(heat.round), heat.heat))
        if stored is None:
            heat_id = self._add_heat(heat, event_id)
        else:
            heat_id, state, scheduled = stored
            unchanged_lanes = self.known.running.get(heat_id, {}) == _running(heat.entries)
            if unchanged_lanes and heat.scheduled in (None, scheduled):
                self.plan.unchanged += 1
                self._teams(event_id, event_key, heat.entries)
                return
            if state not in NOT_TO_RUN:
                self._refuse_begun(heat, state)
                return
            if heat_id in self.known.called_off:
                self._refuse_called_off(heat)
                return
            self._refuse_to_lose_teams(heat, heat_id, event_key)
            if state is HeatState.NOT_HELD:
                self.plan.drawn_again.append(
                    f"{heat.event}, {heat.round}, heat {heat.heat} was not to be held: this list "
                    "draws it again."
                )
            self.plan.changed_heats.append(
                {"heat": heat_id, "new_scheduled": heat.scheduled or scheduled}
            )
        team_ids = self._teams(event_id, event_key, heat.entries)
        self.plan.new_lanes += [
            {
                "heat_id": heat_id,
                "lane": entry.lane,
                "team_id": team_id,
                "bib": entry.bib,
                "legs": list(entry.legs),
            }
            for entry, team_id in zip(heat.entries, team_ids, strict=True)
        ]

    def _event(self, heat: HeatRows) -> EventId | None:
        key = likeness(heat.event)
        stored = self.known.events.get(key)
        if stored is None:
            event_id = EventId(new_id())
            self.plan.new_events.append(
                {
                    "id": event_id,
                    "meet_id": self.meet_id,
                    "name": heat.event,
                    "name_key": key,
                    "relay": heat.relay.value,
                }
            )
            self.known.events[key] = (event_id, heat.relay.value)
            return event_id
        event_id, relay = stored
        if relay != heat.relay.value:
            self.plan.problems.add(
                heat.entries[0].row,
                "event",
                f"“{heat.event}” is stored as {relay}, the file makes it {heat.relay}. Give the "
                "event another name, or the same relay.",
            )
            return None
        return event_id

    def _teams(
        self, event_id: EventId, event_key: EventKey, entries: Iterable[Entry]
    ) -> list[TeamId]:
        return [self._team(event_id, event_key, entry) for entry in entries]

    def _team(self, event_id: EventId, event_key: EventKey, entry: Entry) -> TeamId:
        key = (event_key, likeness(entry.team))
        facts = self.stated[key]
        stored = self.known.teams.get(key)
        if stored is None:
            team_id = TeamId(new_id())
            if event_key in self.known.raced:
                self.plan.new_to_event.append(f"{entry.team} (row {entry.row})")
            self.plan.new_teams.append(
                {
                    "id": team_id,
                    "meet_id": self.meet_id,
                    "event_id": event_id,
                    "name_key": key[1],
                    **facts._asdict(),
                }
            )
        else:
            team_id, before = stored
            facts = TeamFacts(facts.name, facts.affiliation or before.affiliation)
            if facts.name != before.name:
                self.plan.renamed.append(f"{before.name} → {facts.name}")
            if facts != before:
                self.plan.changed_teams.append(
                    {"team": team_id, "new_name": facts.name, "new_affiliation": facts.affiliation}
                )
        self.known.teams[key] = (team_id, facts)
        return team_id

    def _add_heat(self, heat: HeatRows, event_id: EventId) -> HeatId:
        heat_id = HeatId(new_id())
        self.known.last_position += 1
        self.plan.new_heats.append(
            {
                "id": heat_id,
                "meet_id": self.meet_id,
                "event_id": event_id,
                "round": heat.round,
                "round_key": likeness(heat.round),
                "number": heat.heat,
                "scheduled": heat.scheduled,
                "position": self.known.last_position,
                "state": HeatState.TO_COME.value,
                "started_at": None,
                "run": 0,
                "version": 1,
            }
        )
        return heat_id

    def _refuse_lanes_beside_the_track(self, heat: HeatRows) -> None:
        for entry in heat.entries:
            if entry.lane > heat.relay.places(self.track_lanes):
                self.plan.problems.add(
                    entry.row,
                    "lane",
                    f"There is no lane {entry.lane}: this meet's track has {self.track_lanes}. "
                    "Correct the lane, or the number of lanes among the meet's settings.",
                )

    def _refuse_to_lose_teams(self, heat: HeatRows, heat_id: HeatId, event_key: EventKey) -> None:
        """A team that a case names stays in its heat: its disqualification would find no team. So
        does one that a decision lets run again: only a decision takes that back.
        """
        listed = {likeness(entry.team) for entry in heat.entries}
        for name_key, _bib, _legs in self.known.running.get(heat_id, {}).values():
            team = (heat_id, self.known.teams[event_key, name_key][0])
            why = self._why_it_stays(team) if name_key not in listed else None
            if why is not None:
                where = f"In {heat.event}, {heat.round}, heat {heat.heat}"
                self.plan.problems.add(heat.entries[0].row, "team", f"{where} {why}")

    def _why_it_stays(self, team: tuple[HeatId, TeamId]) -> str | None:
        """Why a team must stand in its heat, and what to do; None where it may leave it."""
        left_out = "and this file leaves that team out. List it, written as before"
        if team in self.known.with_cases:
            name = self.known.with_cases[team]
            return f"there is a case about “{name}”, {left_out}."
        if team in self.known.to_run_again:
            name = self.known.to_run_again[team]
            called_off = "or have the re-run called off by a decision"
            return f"“{name}” runs again by order, {left_out}, {called_off}."
        return None

    def _refuse_begun(self, heat: HeatRows, state: HeatState) -> None:
        self.plan.problems.add(
            heat.entries[0].row,
            "heat",
            f"{heat.event}, {heat.round}, heat {heat.heat} is “{state}”, and the file changes its "
            "lanes. Leave this heat out, or hold it back first if it has not been run.",
        )

    def _refuse_called_off(self, heat: HeatRows) -> None:
        """Who stood there would never run, and would keep those from their lanes whose re-run is
        held after all.
        """
        self.plan.problems.add(
            heat.entries[0].row,
            "heat",
            f"{heat.event}, {heat.round}, heat {heat.heat} is a re-run that a decision has called "
            "off, so nobody runs in it. Leave this heat out, or have that decision undone first.",
        )


def _running(entries: Iterable[Entry]) -> Running:
    return {entry.lane: (likeness(entry.team), entry.bib, tuple(entry.legs)) for entry in entries}


def read_file(content: bytes, columns: Mapping[str, str]) -> tuple[StartList, tuple[Problem, ...]]:
    """The start list in a file and every problem in it, by row and column."""
    try:
        return read_start_list(content, mapping=columns)
    except SheetRefused as refused:
        return StartList((), ()), refused.problems


def check(
    conn: Connection, meet_id: MeetId, start_list: StartList, problems: Sequence[Problem]
) -> StartListsOut:
    """What loading would do, and everything that stands against it; stores nothing."""
    plan = plan_loading(conn, meet_id, start_list)
    return summary(start_list, plan, (*problems, *plan.problems.told()), stored=False)


def plan_loading(conn: Connection, meet_id: MeetId, start_list: StartList) -> Plan:
    """What loading this start list would do now."""
    track = meet_facts(conn, meet_id).track
    known = read_known(conn, meet_id)
    planner = Planner(meet_id, known, track.lanes, _stated_facts(start_list))
    for heat in start_list.heats:
        planner.take(heat)
    looked = look_after_lanes_given(conn, meet_id, known.drawn, start_list.heats)
    for one in looked.problems:
        planner.plan.problems.add(one.row, one.column, one.problem)
    planner.plan.lanes_moved.extend(looked.moved)
    planner.plan.in_two_heats.extend(islice(in_two_heats(known, start_list), MOST_TOLD))
    planner.plan.left_out.extend(islice(left_out(known, start_list), MOST_TOLD))
    return planner.plan


def _stated_facts(start_list: StartList) -> dict[TeamKey, TeamFacts]:
    """How the file first writes each team, and the first affiliation it gives it, if any."""
    stated: dict[TeamKey, TeamFacts] = {}
    for heat in start_list.heats:
        for entry in heat.entries:
            key = (likeness(heat.event), likeness(entry.team))
            name, affiliation = stated.get(key, (entry.team, ""))
            stated[key] = TeamFacts(name, affiliation or entry.affiliation)
    return stated


def summary(
    start_list: StartList, plan: Plan, problems: Sequence[Problem] = (), *, stored: bool
) -> StartListsOut:
    """What a start list holds, and what loading it does."""
    entries = [
        (likeness(heat.event), likeness(entry.team))
        for heat in start_list.heats
        for entry in heat.entries
    ]
    return StartListsOut(
        stored=stored,
        events=len({event for event, _team in entries}),
        heats=len(start_list.heats),
        teams=len(set(entries)),
        lanes=len(entries),
        new_to_event=plan.new_to_event,
        renamed=plan.renamed,
        lanes_moved=plan.lanes_moved,
        in_two_heats=plan.in_two_heats,
        left_out=plan.left_out,
        drawn_again=plan.drawn_again[:MOST_TOLD],
        heats_added=len(plan.new_heats),
        heats_changed=len(plan.changed_heats),
        heats_unchanged=plan.unchanged,
        ignored_columns=list(start_list.ignored_columns),
        problems=list(problems),
    )


def load(start_list: StartList, content: bytes) -> Action[StartListsOut]:
    """Load a start list: all of it, or nothing and FileRefused."""

    def act(unit: Unit) -> Done[StartListsOut]:
        plan = plan_loading(unit.conn, unit.meet_id, start_list)
        if plan.problems:
            raise FileRefused("start list", plan.problems.told())
        out = summary(start_list, plan, stored=True)
        if not plan.changes_something:
            return Done(out, None)
        _store(unit.conn, plan)
        facts: dict[str, Any] = out.model_dump(mode="json", exclude={"stored", "problems"})
        facts["sha256"] = sha256(content).hexdigest()
        return Done(out, Deed(Kind.START_LISTS_LOADED, unit.meet_id, facts))

    return act


def _store(conn: Connection, plan: Plan) -> None:
    _insert(conn, events, plan.new_events)
    _insert(conn, teams, plan.new_teams)
    if plan.changed_teams:
        conn.execute(
            update(teams)
            .where(teams.c.id == bindparam("team"))
            .values(name=bindparam("new_name"), affiliation=bindparam("new_affiliation")),
            plan.changed_teams,
        )
    _insert(conn, heats, plan.new_heats)
    if plan.changed_heats:
        conn.execute(
            update(heats)
            .where(heats.c.id == bindparam("heat"))
            .values(
                scheduled=bindparam("new_scheduled"),
                # As it is, but for one that was not to be held: whoever is drawn in it runs.
                state=HeatState.TO_COME.value,
                version=heats.c.version + 1,
            ),
            plan.changed_heats,
        )
        conn.execute(
            delete(lanes).where(lanes.c.heat_id == bindparam("heat")),
            [{"heat": heat["heat"]} for heat in plan.changed_heats],
        )
    _insert(conn, lanes, plan.new_lanes)


def _insert(conn: Connection, table: Any, rows: list[dict[str, object]]) -> None:
    for start in range(0, len(rows), CHUNK):
        conn.execute(insert(table), rows[start : start + CHUNK])
