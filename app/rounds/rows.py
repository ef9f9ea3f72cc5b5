"""Reading the rows that a round's standing is worked out from.

All that a round is made of is read with a fixed number of statements, whatever its size; and so is
all that several rounds are made of, however many they are.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Connection,
    FromClause,
    Select,
    and_,
    bindparam,
    func,
    or_,
    select,
)

from app.appeals.tables import decisions
from app.ids import HeatId, MeetId, RoundId
from app.meets.queries import PRESENT_RUN, meet_row
from app.meets.tables import events, heats, lanes, teams
from app.refusals import NotFound
from app.results.tables import announcements, results
from app.rounds.queries import RoundKey
from app.rounds.tables import advancements, lots, re_runs, rounds
from app.rulings.tables import disqualifications
from app.store.prepared import Prepared

_ROUNDS_SENT = rounds.c.id.in_(bindparam("rounds", expanding=True))


class _Of(NamedTuple):
    """The round that a statement is about: the one whose keys are sent, or each of several."""

    event: ColumnElement[str]
    round: ColumnElement[str]
    next: ColumnElement[str]

    def ran(self) -> ColumnElement[bool]:
        """Its heats, and those of its re-runs."""
        again = select(re_runs.c.run_heat_id).where(self.re_run())
        of_round = or_(heats.c.round_key == self.round, heats.c.id.in_(again))
        return and_(heats.c.event_id == self.event, of_round)

    def ran_or_next(self) -> ColumnElement[bool]:
        goes_on = and_(heats.c.event_id == self.event, heats.c.round_key == self.next)
        return or_(self.ran(), goes_on)

    def re_run(self) -> ColumnElement[bool]:
        return self._its_own(re_runs)

    def advanced(self) -> ColumnElement[bool]:
        return self._its_own(advancements)

    def lots_drawn(self) -> ColumnElement[bool]:
        return self._its_own(lots)

    def _its_own(self, table: FromClause) -> ColumnElement[bool]:
        return and_(table.c.event_id == self.event, table.c.round_key == self.round)


_SENT = _Of(bindparam("event"), bindparam("round"), bindparam("next"))
_EACH = _Of(rounds.c.event_id, rounds.c.round_key, rounds.c.next_key)


class _Rows:
    """Rows of one round, or of each of several in one statement."""

    def __init__(
        self, columns: Select[*tuple[Any, ...]], where: Callable[[_Of], ColumnElement[bool]]
    ) -> None:
        self._of_one = Prepared(columns.where(where(_SENT)))
        self._of_each = columns.add_columns(rounds.c.id.label("of_round")).where(
            where(_EACH), _ROUNDS_SENT
        )

    def of_one(self, conn: Connection, values: Mapping[str, str]) -> list[Any]:
        """By the keys of its event, its own and the next round's name."""
        return self._of_one.all(conn, values)

    def of_each(self, conn: Connection, ids: Sequence[RoundId]) -> Mapping[RoundId, list[Any]]:
        found: dict[RoundId, list[Any]] = {one: [] for one in ids}
        for row in conn.execute(self._of_each, {"rounds": list(ids)}):
            found[row.of_round].append(row)
        return found


_SETTING = Prepared(
    select(rounds).where(
        rounds.c.event_id == bindparam("event"), rounds.c.round_key == bindparam("round")
    )
)
_SETTINGS = select(rounds).where(_ROUNDS_SENT)
_EVENT = Prepared(
    select(events).where(events.c.meet_id == bindparam("meet"), events.c.id == bindparam("event"))
)
_EVENTS_OF = select(events).where(events.c.id.in_(bindparam("events", expanding=True)))
_of_heat = announcements.alias("of_heat")
_NUMBER_ANNOUNCED = (
    select(func.max(_of_heat.c.number)).where(_of_heat.c.heat_id == heats.c.id).scalar_subquery()
)
_HEATS = _Rows(
    select(
        heats.c.id,
        heats.c.round,
        heats.c.round_key,
        heats.c.number,
        heats.c.state,
        PRESENT_RUN.label("present_run"),
        _NUMBER_ANNOUNCED.label("announced"),
    ).order_by(heats.c.number, heats.c.id),
    _Of.ran_or_next,
)
_LANES = _Rows(
    select(
        lanes.c.heat_id,
        lanes.c.lane,
        lanes.c.team_id,
        teams.c.name,
        teams.c.affiliation,
    )
    .join(heats, heats.c.id == lanes.c.heat_id)
    .join(teams, teams.c.id == lanes.c.team_id)
    .order_by(lanes.c.heat_id, lanes.c.lane),
    _Of.ran_or_next,
)
_LIST_COLUMNS = select(results.c.heat_id, results.c.run, results.c.rows)
_LISTS = _Rows(_LIST_COLUMNS.join(heats, heats.c.id == results.c.heat_id), _Of.ran)
_LIST_OF = Prepared(_LIST_COLUMNS.where(results.c.heat_id == bindparam("heat")))
_given = decisions.alias("given")
_taken = decisions.alias("taken")
_OUT = _Rows(
    select(
        disqualifications.c.id,
        disqualifications.c.heat_id,
        disqualifications.c.team_id,
        disqualifications.c.state,
        teams.c.name,
        teams.c.affiliation,
        _taken.c.seq.label("taken"),
    )
    .join(heats, heats.c.id == disqualifications.c.heat_id)
    .join(teams, teams.c.id == disqualifications.c.team_id)
    .outerjoin(_taken, _taken.c.id == disqualifications.c.set_aside_by),
    _Of.ran,
)
_ANNOUNCED = _Rows(
    select(
        announcements.c.heat_id,
        announcements.c.snapshot,
        announcements.c.entered_at,
        announcements.c.decisions_seen,
    )
    .join(heats, heats.c.id == announcements.c.heat_id)
    .where(announcements.c.number == _NUMBER_ANNOUNCED),
    _Of.ran,
)
_DECIDED = (_given.c.seq.label("given"), _taken.c.seq.label("taken"))
_RE_RUNS = _Rows(
    select(re_runs, *_DECIDED)
    .outerjoin(_given, _given.c.id == re_runs.c.by_decision)
    .outerjoin(_taken, _taken.c.id == re_runs.c.set_aside_by)
    .order_by(re_runs.c.since, re_runs.c.id),
    _Of.re_run,
)
_ADVANCED = _Rows(
    select(
        advancements.c.team_id,
        advancements.c.letter,
        advancements.c.state,
        teams.c.name,
        teams.c.affiliation,
        *_DECIDED,
    )
    .join(teams, teams.c.id == advancements.c.team_id)
    .outerjoin(_given, _given.c.id == advancements.c.by_decision)
    .outerjoin(_taken, _taken.c.id == advancements.c.set_aside_by)
    .order_by(advancements.c.since, advancements.c.id),
    _Of.advanced,
)
_LOTS = _Rows(
    select(lots).order_by(lots.c.entered_at, lots.c.id),
    _Of.lots_drawn,
)
_TOLD_IN_ROUND = (
    select(func.max(announcements.c.decisions_seen))
    .join(heats, heats.c.id == announcements.c.heat_id)
    .where(_SENT.ran())
)
_CALLING_OFF = (
    select(re_runs.c.event_id, re_runs.c.round_key, _taken.c.seq)
    .join(_taken, _taken.c.id == re_runs.c.set_aside_by)
    .where(re_runs.c.run_heat_id == bindparam("heat"))
)


@dataclass(frozen=True, slots=True)
class RoundRows:
    """What is stored of a round, row by row; `setting` is None where nobody set it.

    Re-runs, advancements and disqualifications are in it also where that was ended, the first two
    with the numbers of the decisions that have `given` and `taken` them, the last with the one that
    has `taken` it, if it was a decision.
    """

    setting: Any | None
    event: Any
    heats: list[Any]
    lanes: list[Any]
    lists: list[Any]
    disqualified: list[Any]
    announced: list[Any]
    re_runs: list[Any]
    advanced: list[Any]
    lots: list[Any]
    track_lanes: int


def round_rows(
    conn: Connection,
    meet_id: MeetId,
    which: RoundKey,
    announced_beside: Collection[HeatId] | None = None,
) -> RoundRows:
    """All that is stored of a round: its finish lists, or those of the heats that are named and
    the announcements that stand. NotFound for an event that is not of this meet.
    """
    values = {"event": which.event, "round": which.key}
    setting = _SETTING.first(conn, values)
    event = _EVENT.first(conn, {"meet": meet_id, "event": which.event})
    if event is None:
        raise NotFound("There is no such event at this meet.")
    values["next"] = (setting.next_key or "") if setting is not None else ""
    return RoundRows(
        setting=setting,
        event=event,
        heats=_HEATS.of_one(conn, values),
        lanes=_LANES.of_one(conn, values),
        lists=_LISTS.of_one(conn, values)
        if announced_beside is None
        else [row for heat in announced_beside for row in _LIST_OF.all(conn, {"heat": heat})],
        disqualified=_OUT.of_one(conn, values),
        announced=[] if announced_beside is None else _ANNOUNCED.of_one(conn, values),
        re_runs=_RE_RUNS.of_one(conn, values),
        advanced=_ADVANCED.of_one(conn, values),
        lots=_LOTS.of_one(conn, values),
        track_lanes=meet_row(conn, meet_id).facts["track"]["lanes"],
    )


def rows_as_announced(
    conn: Connection, meet_id: MeetId, ids: Sequence[RoundId]
) -> Mapping[RoundId, RoundRows]:
    """What is stored of several rounds of this meet that are set, without their finish lists."""
    if not ids:
        return {}
    settings = {row.id: row for row in conn.execute(_SETTINGS, {"rounds": list(ids)})}
    asked = {"events": [row.event_id for row in settings.values()]}
    of_event = {row.id: row for row in conn.execute(_EVENTS_OF, asked)}
    parts = {
        "heats": _HEATS.of_each(conn, ids),
        "lanes": _LANES.of_each(conn, ids),
        "disqualified": _OUT.of_each(conn, ids),
        "announced": _ANNOUNCED.of_each(conn, ids),
        "re_runs": _RE_RUNS.of_each(conn, ids),
        "advanced": _ADVANCED.of_each(conn, ids),
        "lots": _LOTS.of_each(conn, ids),
    }
    track_lanes = meet_row(conn, meet_id).facts["track"]["lanes"]
    return {
        one: RoundRows(
            setting=settings[one],
            event=of_event[settings[one].event_id],
            lists=[],
            track_lanes=track_lanes,
            **{name: rows[one] for name, rows in parts.items()},
        )
        for one in ids
    }


def calling_off_is_told(conn: Connection, run_heat: HeatId) -> bool:
    """Whether an announcement in the round came after the decision that called a re-run off."""
    row = conn.execute(_CALLING_OFF, {"heat": run_heat}).one_or_none()
    if row is None:
        return False
    told = conn.execute(_TOLD_IN_ROUND, {"event": row.event_id, "round": row.round_key}).scalar()
    return bool((told or 0) >= row.seq)
