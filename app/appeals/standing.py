"""Where an appeal stands: what it awaits, who sits on it, and whom its consequence can touch.

A member whose affiliation has a team that the appeal can move is asked to withdraw, not only one of
the appellant's own (World Athletics CR12, read by its consequence; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Connection

from app.access.names import name_then
from app.access.wire import OfficialOut
from app.appeals.about_not_held import Counted, lanes_before, time_where_not_held
from app.appeals.awaiting import awaited, possible_now
from app.appeals.bench import Bench, bench_for
from app.appeals.decision_queries import (
    decision_out,
    decision_row,
    jurys_decision_out,
    referees_decision,
    standing_decision,
)
from app.appeals.deposits import asked_of, deposit_out
from app.appeals.either_way import if_granted, if_taken_back, sought_by
from app.appeals.had_a_part import had_a_part
from app.appeals.in_round import lane_in_round, window_for_appeal
from app.appeals.jury_wire import AppealOut, AppealsOut, PanelMember, PanelOut
from app.appeals.orders import (
    AdvanceIn,
    CorrectIn,
    DisqualifyIn,
    ExtraLaneIn,
    OrderIn,
    RecallIn,
    RunAgainIn,
)
from app.appeals.queries import PAGE, appeal_row, appeal_rows, marks_of
from app.appeals.states import AppealAct, AppealState
from app.appeals.timeliness import timeliness
from app.appeals.to_announce import awaits_announcement
from app.appeals.together import Together, read_together
from app.appeals.wire import Instance, Mark, Timeliness
from app.clock import in_zone
from app.ids import AppealId, DecisionId, HeatId, MeetId, OfficialId, ProtestId, TeamId
from app.meets.queries import MeetFacts, affiliations_of, meet_facts
from app.roles import Role
from app.rounds.wire import ConsequencesOut
from app.store.rows import AnyRow
from app.visible import likeness

Part = Literal["chair", "member", "substitute"]
Sits = Literal["sits", "asked to withdraw", "withdrawn", "waits"]

REFERRED = "referred by the referee: what was lodged in time or late is the protest"


@dataclass(frozen=True, slots=True)
class Touched:
    """Whom an appeal can move: the teams, and their affiliations as they are written; and which of
    them are `named` in what is sought or would be taken back.
    """

    teams: frozenset[str]
    affiliations: tuple[str, ...]
    named: frozenset[str] = frozenset()

    def touches(self, affiliation: str) -> bool:
        """Whether an official of this affiliation is concerned."""
        return bool(affiliation) and likeness(affiliation) in map(likeness, self.affiliations)


def touched_by(conn: Connection, meet: MeetFacts, row: AnyRow) -> Touched:
    """The teams that an appeal can move or is about; all of the heat where nobody can say how."""
    decided = standing_decision(conn, meet.id, AppealId(row.id))
    if decided is not None and row.state != AppealState.LODGED:
        return _touched_by_decision(conn, meet.id, row, decided)
    bench, parties = bench_for(conn, meet, HeatId(row.heat_id), Instance.JURY), _parties(row)
    if row.reopened is not None:
        earlier = decision_row(conn, meet.id, DecisionId(row.reopened["decision"]))
        parties |= teams_in(decided_moves(earlier))
    wanted = sought_by(conn, meet.id, row)
    either = if_granted(conn, meet, row), if_taken_back(bench, row)
    shown_now = [one for one in either if one is not None]
    named = named_by(wanted).union(*map(_named, shown_now))
    whole = any(isinstance(one, RunAgainIn) and not one.teams for one in wanted)
    of_heat = _of_heat(bench) if whole or not shown_now else set()
    return touched(bench, (of_heat | named | parties).union(*map(teams_in, shown_now)), named)


def _touched_by_decision(
    conn: Connection, meet_id: MeetId, row: AnyRow, decided: AnyRow
) -> Touched:
    """Whom the jury's decision on an appeal has moved, and whom it was about."""
    shown = decided_moves(decided)
    teams = frozenset(teams_in(shown) | _parties(row))
    written = affiliations_of(conn, meet_id, map(TeamId, teams)).values()
    return Touched(teams, tuple(sorted(written)), frozenset(_named(shown)))


def _of_heat(bench: Bench) -> set[str]:
    """All teams of the heat, or who was drawn in it until it was said that it is not held."""
    left = lanes_before(bench.conn, bench.meet_id, HeatId(bench.heat.id)) or {}
    return {str(lane.team) for lane in bench.heat.lanes} | set(left)


def touched_with(
    conn: Connection, meet: MeetFacts, row: AnyRow, bench: Bench, shown: ConsequencesOut
) -> Touched:
    """The teams that an appeal can move, and those that what is ordered moves or names."""
    asked = touched_by(conn, meet, row)
    return touched(bench, teams_in(shown) | asked.teams, asked.named | _named(shown))


def _named(shown: ConsequencesOut) -> set[str]:
    return {one.team for one in shown.named}


def named_by(wanted: Iterable[OrderIn]) -> set[str]:
    """The teams that orders name as they were sent, also where they can no longer be given."""
    found: set[str] = set()
    for order in wanted:
        match order:
            case RunAgainIn():
                found.update(order.teams)
            case DisqualifyIn() | CorrectIn() | AdvanceIn() | RecallIn() | ExtraLaneIn():
                found.add(order.team)
            case _:  # the others name what was done before
                pass
    return found


def decided_moves(decision: AnyRow) -> ConsequencesOut:
    """What a decision was shown to move before it was signed."""
    return ConsequencesOut.model_validate(decision.moves)


def teams_in(shown: ConsequencesOut) -> set[str]:
    """The teams that consequences touch: whom they move, and whom the orders are about."""
    return {one.team for one in shown.concerned}


def touched(bench: Bench, teams: Iterable[str], named: Iterable[str] = ()) -> Touched:
    """These teams with their affiliations; a team without one counts under its own name."""
    known = bench.at_hand.affiliations
    here = frozenset(teams)
    written = {known.get(team) or bench.at_hand.names.get(team, "") for team in here}
    return Touched(here, tuple(sorted(filter(None, written))), frozenset(named))


def _parties(row: AnyRow) -> set[str]:
    """The appellant, the protesters, and whom the protest is about."""
    about = {row.team_id, row.protesting, row.protested, row.ruled_on}
    return {team for team in about if team is not None}


def measured_appeal(conn: Connection, row: AnyRow, zone: str) -> Timeliness:
    """Whether an appeal came in time; it is complete with its deposit (World Athletics TR8.7)."""
    decided = referees_decision(conn, MeetId(row.meet_id), ProtestId(row.protest_id))
    return _measured(conn, row, decided, zone)


def _measured(conn: Connection, row: AnyRow, decided: AnyRow | None, zone: str) -> Timeliness:
    """The same, by the referee's decision that it is about."""
    complete = row.lodged_at
    if row.deposit is not None:
        received = datetime.fromisoformat(row.deposit["received_at"])
        complete = max(complete, received)
    if row.is_referred:
        measured = timeliness(conn, None, HeatId(row.heat_id), complete, zone)
        return measured.model_copy(update={"words": REFERRED})
    window: AnyRow | Counted | None = None
    if decided is not None:
        own = window_for_appeal(conn, decided, TeamId(row.team_id))
        window = own or time_where_not_held(conn, decided)
    return timeliness(conn, window, HeatId(row.heat_id), complete, zone)


def marks_of_appeal(
    conn: Connection, meet: MeetFacts, row: AnyRow, timely: Timeliness
) -> list[Mark]:
    """What is odd about an appeal; nothing about what the referee referred."""
    took_part, _lane = lane_in_round(conn, meet.id, HeatId(row.heat_id), TeamId(row.team_id))
    return _marks(meet, row, timely, took_part=took_part)


def _marks(meet: MeetFacts, row: AnyRow, timely: Timeliness, *, took_part: bool) -> list[Mark]:
    if row.is_referred:
        return []
    missing = asked_of(meet, row) is not None and row.deposit is None
    return marks_of(timely, took_part=took_part) + ([Mark.NO_DEPOSIT] if missing else [])


def state_of(row: AnyRow, marks: Sequence[Mark]) -> AppealState:
    """Where an appeal stands now: an open one is admitted where nothing is odd about it, or where
    the jury said so.
    """
    stored = AppealState(row.state)
    if stored is not AppealState.LODGED:
        return stored
    if row.admitted is not None or row.reopened is not None or not marks:
        return AppealState.ADMITTED
    return AppealState.LATE if Mark.LATE in marks else AppealState.LODGED


def is_turned_away(row: AnyRow) -> bool:
    """Whether the jury would not hear an appeal; it was never decided."""
    admitted: Mapping[str, Any] | None = row.admitted
    return row.state == AppealState.REJECTED and admitted is not None and not admitted["admit"]


def state_now(conn: Connection, meet: MeetFacts, row: AnyRow) -> AppealState:
    """Where an appeal stands now, from its row."""
    timely = measured_appeal(conn, row, meet.time_zone)
    return state_of(row, marks_of_appeal(conn, meet, row, timely))


def _panel_out(conn: Connection, known: Together, row: AnyRow) -> PanelOut | None:
    """The panel of an appeal, with who is asked to withdraw and why."""
    if row.panel is None:
        return None
    panel, concerned, people = row.panel, _concerned(conn, known, row), known.people
    voted = known.voted.get((row.id, row.sitting), set())
    is_open = row.state == AppealState.LODGED
    part_in = had_a_part(conn, known.meet.id, row, concerned.named) if is_open else {}

    def member(official: str, part: Part, state: Sits, because: str = "") -> PanelMember:
        has_voted = official in voted
        return _member(people[OfficialId(official)], part, state, because, has_voted=has_voted)

    def seated(official: str) -> PanelMember:
        part: Part = "chair" if official == panel["chair"] else "member"
        because = _why_asked(people[OfficialId(official)], concerned, part_in)
        return member(official, part, "asked to withdraw" if because else "sits", because)

    seats = [seated(one) for one in panel["members"]]
    seats += [member(one, "substitute", "waits") for one in panel["substitutes"]]
    seats += [
        member(one["official"], "member", "withdrawn", _why_gone(one)) for one in panel["withdrawn"]
    ]
    return PanelOut(
        members=seats,
        secretary=panel["secretary"],
        secretary_official=panel.get("secretary_official"),
        size=panel["size"],
        quorum=panel["quorum"],
        chair_casts=panel["chair_casts"],
        affected=list(concerned.affiliations),
        votes=len(voted & set(panel["members"])),
    )


def _member(
    person: OfficialOut, part: Part, state: Sits, because: str, *, has_voted: bool
) -> PanelMember:
    return PanelMember(
        official=person.id,
        name=person.name,
        affiliation=person.affiliation,
        part=part,
        state=state,
        because=because,
        has_voted=has_voted,
        is_juror=person.active and Role.JURY in person.roles,
    )


def _why_asked(person: OfficialOut, concerned: Touched, part_in: Mapping[OfficialId, str]) -> str:
    """Why a member is asked to withdraw; empty for who sits."""
    if concerned.touches(person.affiliation):
        return f"The consequence touches a team of {person.affiliation}."
    return f"{person.name} {part_in[person.id]}." if person.id in part_in else ""


def _concerned(conn: Connection, known: Together, row: AnyRow) -> Touched:
    decided = known.decided.get(AppealId(row.id))
    if decided and row.state != AppealState.LODGED:
        return _touched_by_decision(conn, known.meet.id, row, decided[-1])
    return touched_by(conn, known.meet, row)


def _why_gone(one: Mapping[str, Any]) -> str:
    asked = "" if one["by"] == one["official"] else "asked to by the chair: "
    return f"{asked}{one['reasons']}"


def appeal_out(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> AppealOut:
    """One appeal; NotFound for an id that is not of this meet."""
    row = appeal_row(conn, meet_id, appeal_id)
    return _appeal_out(conn, read_together(conn, meet_facts(conn, meet_id), [row]), row)


def appeals_page(conn: Connection, meet_id: MeetId, before: int | None) -> AppealsOut:
    """Appeals, the one that was lodged last first, fifty a page."""
    meet = meet_facts(conn, meet_id)
    rows = appeal_rows(conn, meet_id, before)
    known = read_together(conn, meet, rows[:PAGE])
    return AppealsOut(
        appeals=[_appeal_out(conn, known, row) for row in rows[:PAGE]],
        next=rows[PAGE - 1].number if len(rows) > PAGE else None,
    )


def _possible(row: AnyRow, state: AppealState, panel: PanelOut | None) -> list[str]:
    """What people can do with an appeal now, by the table and by what it is."""
    if is_turned_away(row):
        return [AppealAct.ADMIT.value]
    return possible_now(state, panel, stays=bool(row.is_referred) or row.reopened is not None)


def _appeal_out(conn: Connection, known: Together, row: AnyRow) -> AppealOut:
    meet = known.meet
    timely = _measured(conn, row, known.referees.get(row.protest_id), meet.time_zone)
    took_part, lane = lane_in_round(conn, meet.id, HeatId(row.heat_id), TeamId(row.team_id))
    marks = _marks(meet, row, timely, took_part=took_part)
    state = state_of(row, marks)
    decided = known.decided.get(row.id, ())
    stands = (
        decided[-1] if decided and state in {AppealState.UPHELD, AppealState.REJECTED} else None
    )
    deposit, panel = deposit_out(meet, row), _panel_out(conn, known, row)
    made = [] if stands is None else [stands]
    return AppealOut(
        id=row.id,
        number=row.number,
        protest=row.protest_id,
        protest_number=row.protest_number,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        team=row.team_id,
        team_name=row.team_name,
        affiliation=row.affiliation,
        lane=lane,
        is_referred=bool(row.is_referred),
        lodged_by=row.lodged_by,
        lodged_at=row.lodged_at,
        lodged_at_local=in_zone(row.lodged_at, meet.time_zone),
        entered_at=row.entered_at,
        taken_by=row.official_id,
        taken_by_name=name_then(conn, row, row.entered_at),
        words=row.words,
        sought=row.sought,
        timeliness=timely,
        marks=marks,
        state=state,
        possible=_possible(row, state, panel),
        awaits=[
            *awaited(state, marks, deposit, panel),
            *awaits_announcement(conn, known.untold, made),
        ],
        deposit=deposit,
        panel=panel,
        sitting=row.sitting,
        admitted=row.admitted,
        reopened=row.reopened,
        withdrawn=row.withdrawn,
        decision=decision_out(conn, stands, meet.time_zone) if stands is not None else None,
        earlier_decisions=[
            jurys_decision_out(meet, one, row.number) for one in decided if one is not stands
        ],
        version=row.version,
    )
