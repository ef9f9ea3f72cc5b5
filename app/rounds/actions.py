"""Setting rounds, entering lots that were drawn, and what decisions add to a round.

The functions that carry a decision out are called inside the act of deciding and leave no deed of
their own: the decision's names what it did.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from app.access.pen import Pen
from app.ids import DecisionId, EventId, HeatId, LotsId, RoundId, TeamId, new_id
from app.meets.actions import add_re_run_heat, empty_heat, refill_heat
from app.meets.queries import heat, meet_row
from app.meets.rehearsing import insist_no_rehearsal
from app.meets.states import HeatState
from app.meets.wire import HeatOut, LaneOut
from app.record.kinds import Kind
from app.refusals import (
    CHANGE_IT,
    IdTaken,
    Malformed,
    NotFound,
    Stale,
    StateConflict,
)
from app.rounds.queries import (
    Drawn,
    drawn_rounds,
    event_names,
    known_round,
    lots_out,
    re_run_of_heat,
    rehearsal_of,
    round_out,
    rounds_expected,
    rounds_of_re_runs,
)
from app.rounds.rows import calling_off_is_told
from app.rounds.sentences import named
from app.rounds.standing import CALLED_OFF, IN_FORCE, RoundAtHand, round_at_hand, round_key_of
from app.rounds.tables import advancements, lots, re_runs, rounds
from app.rounds.wire import LotsIn, LotsOut, RoundIn, RoundOut
from app.rules.qualifying import Advancement, Letter
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow
from app.visible import likeness

SET_ASIDE = "set aside"


def set_round(round_id: RoundId, sent: RoundIn, version: int | None) -> Action[Put[RoundOut]]:
    """Set who goes on from a round and what it scores; with If-Match, change it."""

    def act(unit: Unit) -> Done[Put[RoundOut]]:
        known = unit.conn.execute(select(rounds).where(rounds.c.id == round_id)).one_or_none()
        values = _columns(unit, sent)
        if known is not None and version is None:
            _insist_same(known, unit, values)
            return Done(Put(round_out(unit.conn, unit.meet_id, round_id), created=False), None)
        if version is None:
            _insist_first(unit, values)
            new = {"id": round_id, "meet_id": unit.meet_id, "version": 1, **values}
            unit.conn.execute(insert(rounds).values(**new))
        else:
            _insist_version(known, unit, version, values)
            changed = {**values, "version": version + 1}
            unit.conn.execute(update(rounds).where(rounds.c.id == round_id).values(**changed))
        out = round_out(unit.conn, unit.meet_id, round_id)
        deed = Deed(Kind.ROUND_SET, round_id, sent.model_dump(mode="json"))
        return Done(Put(out, created=version is None), deed)

    return act


def _columns(unit: Unit, sent: RoundIn) -> dict[str, Any]:
    """What is stored; Malformed where the event or the round is not there, or too many go on."""
    event = _insist_on_event(unit, sent)
    key = likeness(sent.round)
    known = drawn_rounds(unit.conn, [event])[event]
    next_key = None if sent.next_round is None else likeness(sent.next_round)
    _insist_no_re_run(unit, event, known, sent)
    meant = known[key] if key in known else _still_to_be_drawn(unit, event, known, sent)
    if next_key == key:
        raise Malformed("A round does not lead to itself.", field="/next_round")
    _insist_they_fit(sent, max(1, meant.heats))
    return {
        "event_id": event,
        "round": meant.name,
        "round_key": key,
        "by_place": sent.by_place,
        "by_time": sent.by_time,
        "lanes": sent.lanes,
        "next_round": sent.next_round,
        "next_key": next_key,
        "points": sent.points,
    }


def _still_to_be_drawn(
    unit: Unit, event: EventId, known: Mapping[str, Drawn], sent: RoundIn
) -> Drawn:
    """A round that no start list has yet: one to which another leads, so that its name is no slip,
    or that was set before. Malformed for any other name.
    """
    name = rounds_expected(unit.conn, [event])[event].get(likeness(sent.round))
    if name is None:
        raise Malformed(
            f"The start lists have no round “{sent.round}” in this event. They have: "
            f"{', '.join(drawn.name for drawn in known.values())}. Look at the name; a round that "
            "is still to be drawn is set once another one leads to it: set that one first, with "
            f"“{sent.round}” as its “next_round”.",
            field="/round",
        )
    return Drawn(name, 0)


def _insist_no_re_run(
    unit: Unit, event: EventId, known: Mapping[str, Drawn], sent: RoundIn
) -> None:
    """A re-run has no setting of its own, and nobody goes on to one."""
    repeats = rounds_of_re_runs(unit.conn, event)
    for field, name in (("round", sent.round), ("next_round", sent.next_round)):
        key = likeness(name or "")
        if key in repeats and key not in known:
            of = repeats[key]
            way_out = {
                "round": f"what is set for “{of}” counts there too. Set “{of}” instead.",
                "next_round": "nobody goes on to it. Name the round that comes after it.",
            }
            raise Malformed(
                f"“{name}” is a re-run of teams of the round “{of}” and belongs to it: "
                f"{way_out[field]}",
                field=f"/{field}",
            )


def _insist_they_fit(sent: RoundIn, heats: int) -> None:
    if sent.by_place is None or sent.by_time is None or sent.lanes is None:
        return
    promised = Advancement(sent.by_place, sent.by_time, sent.lanes).promised(heats)
    if promised > sent.lanes:
        raise Malformed(
            f"{sent.by_place} by place from each of {heats} heats and {sent.by_time} by time are "
            f"{promised} teams, and the next round has {sent.lanes} lanes. Look at the numbers; "
            "lanes are those of all its heats together.",
            field="/lanes",
        )


def _insist_on_event(unit: Unit, sent: RoundIn) -> EventId:
    rehearsal = rehearsal_of(unit.conn, EventId(sent.event))
    if rehearsal is not None:
        insist_no_rehearsal(unit.conn, rehearsal)
    events = event_names(unit.conn, unit.meet_id)
    if sent.event not in events:
        there = ", ".join(f"{name} ({ident})" for ident, name in events.items())
        raise Malformed(
            f"There is no such event at this meet. There are: {there}."
            if there
            else "This meet has no events yet: load the start lists first.",
            field="/event",
        )
    return EventId(sent.event)


def _insist_same(known: AnyRow, unit: Unit, values: dict[str, Any]) -> None:
    """The round is the same by its key: a start list that came since may write its name unlike."""
    stored = known._mapping  # noqa: SLF001
    said = values.keys() - {"round"}
    if known.meet_id != unit.meet_id or any(stored[name] != values[name] for name in said):
        raise IdTaken("a round", known.id, CHANGE_IT)


def _insist_first(unit: Unit, values: dict[str, Any]) -> None:
    of_round = (rounds.c.event_id == values["event_id"]) & (
        rounds.c.round_key == values["round_key"]
    )
    there = unit.conn.execute(select(rounds.c.id).where(of_round)).scalar()
    if there is not None:
        raise StateConflict(
            f"This round is set already, under the id {there}. Send its ETag in If-Match to "
            "change it there.",
            round=there,
        )


def _insist_version(known: AnyRow | None, unit: Unit, version: int, values: dict[str, Any]) -> None:
    if known is None or known.meet_id != unit.meet_id:
        raise Stale("This round is not set yet: leave If-Match out to set it.")
    if known.version != version:
        raise Stale("This round was changed meanwhile. Read it again, then decide.")
    if (known.event_id, known.round_key) != (values["event_id"], values["round_key"]):
        raise StateConflict(
            "What is set for one round stays with it. Set the other round under an id of its own.",
            field="/round",
        )


def draw_lots(round_id: RoundId, lots_id: LotsId, sent: LotsIn, pen: Pen) -> Action[Put[LotsOut]]:
    """Enter lots that were drawn for a tie at the cut. The PIN was confirmed before."""

    def act(unit: Unit) -> Done[Put[LotsOut]]:
        zone = meet_row(unit.conn, unit.meet_id).time_zone
        which = known_round(unit.conn, unit.meet_id, round_id)
        content = sent.content() | {"round": round_id}
        known = unit.conn.execute(select(lots).where(lots.c.id == lots_id)).one_or_none()
        if known is not None:
            same = known.meet_id == unit.meet_id and known.official_id == pen.caller.official_id
            if not same or known.content != content:
                raise IdTaken("lots", lots_id)
            out = lots_out(unit.conn, unit.meet_id, lots_id, zone)
            return Done(Put(out, created=False), None)
        pen.insist_may_sign(unit)
        at_hand = round_at_hand(unit.conn, unit.meet_id, which.event, which.key)
        places = _insist_tied(at_hand, [TeamId(team) for team in sent.drawn])
        said = {"lots": lots_id, "places": places, "said": content}
        signed = pen.sign(unit, "lots", lots_id, said)
        unit.conn.execute(
            insert(lots).values(
                id=lots_id,
                meet_id=unit.meet_id,
                event_id=which.event,
                round_key=which.key,
                drawn=sent.drawn,
                places=places,
                drawn_by=sent.drawn_by,
                official_id=pen.caller.official_id,
                drawn_at=_drawn_at(unit, sent.drawn_at),
                entered_at=unit.now,
                content=content,
            )
        )
        out = lots_out(unit.conn, unit.meet_id, lots_id, zone)
        deed = Deed(Kind.LOTS_DRAWN, lots_id, out.model_dump(mode="json") | signed.body)
        return Done(Put(out, created=True), deed)

    return act


def _insist_tied(at_hand: RoundAtHand, drawn: Sequence[TeamId]) -> int:
    """How many of the teams go on; refused unless exactly they await lots."""
    if len(set(drawn)) != len(drawn):
        raise Malformed("A team stands twice in this draw: name each once.", field="/drawn")
    if any(set(before) == set(drawn) for before in at_hand.round.lots):
        raise StateConflict(
            "Lots were drawn for these teams before, and are drawn once. A jury's decision can "
            "let a further team go on.",
            field="/drawn",
        )
    draw = at_hand.stand().open_draw
    if draw is None:
        raise StateConflict(
            "No lots are to be drawn in this round as it stands now: no tie at the cut is open."
        )
    if set(draw.teams) != set(drawn):
        raise StateConflict(
            f"Lots are to be drawn between {named(at_hand, draw.teams)}, and no others: name "
            "exactly these teams, in the order in which they were drawn.",
            field="/drawn",
            teams=list(draw.teams),
        )
    return draw.places


def _drawn_at(unit: Unit, given: datetime | None) -> datetime:
    if given is not None and given > unit.now:
        raise Malformed(
            "These lots lie in the future. Leave the time out if they were drawn just now.",
            field="/drawn_at",
        )
    return unit.now if given is None else given


def advance(
    unit: Unit, at_hand: RoundAtHand, team: TeamId, letter: Letter, decision_id: DecisionId
) -> str:
    """A team goes on by the referee's word (qR) or the jury's (qJ); gives the advancement's id.

    StateConflict where it was advanced before.
    """
    if team in at_hand.round.advanced:
        raise StateConflict(f"{at_hand.names[team]} was advanced before.")
    advancement_id = new_id()
    unit.conn.execute(
        insert(advancements).values(
            id=advancement_id,
            meet_id=unit.meet_id,
            event_id=at_hand.event,
            round_key=at_hand.round_key,
            team_id=team,
            letter=letter.value,
            state=IN_FORCE,
            since=unit.now,
            by_decision=decision_id,
        )
    )
    return advancement_id


def recall_advancement(
    unit: Unit, at_hand: RoundAtHand, team: TeamId, decision_id: DecisionId
) -> str:
    """An advancement is taken back; gives its id. StateConflict where the team was not advanced."""
    of_team = (
        (advancements.c.event_id == at_hand.event)
        & (advancements.c.round_key == at_hand.round_key)
        & (advancements.c.team_id == team)
        & (advancements.c.state == IN_FORCE)
    )
    known = unit.conn.execute(select(advancements.c.id).where(of_team)).scalar()
    if known is None:
        name = at_hand.names.get(team, "This team")
        raise StateConflict(f"{name} was not advanced: there is nothing to take back.")
    values = {"state": SET_ASIDE, "set_aside_by": decision_id}
    unit.conn.execute(update(advancements).where(advancements.c.id == known).values(**values))
    return str(known)


def order_re_run(
    unit: Unit,
    of: HeatOut,
    teams: Collection[TeamId],
    letter: Letter,
    decision_id: DecisionId,
    *,
    time_to_beat: int | None = None,
    added_places: int = 0,
) -> tuple[str, HeatId]:
    """Some teams of a heat run again, as a heat of its own; gives the re-run's id and that heat.

    `time_to_beat` in thousandths of a second. StateConflict for a team that is not in the heat,
    and for a heat that is itself a re-run.
    """
    key = round_key_of(unit.conn, of)
    if key is None or re_run_of_heat(unit.conn, of.id) is not None:
        raise StateConflict(
            "This heat is itself a re-run. Order another one from the heat that it repeats."
        )
    here = [lane.team for lane in of.lanes]
    if not teams or not set(teams) <= set(here):
        raise StateConflict("Only teams of this heat can run it again: name one or more of them.")
    run_heat = add_re_run_heat(unit, of, teams)
    re_run_id = new_id()
    unit.conn.execute(
        insert(re_runs).values(
            id=re_run_id,
            meet_id=unit.meet_id,
            event_id=of.event,
            round_key=key,
            heat_id=of.id,
            run_heat_id=run_heat,
            teams=[team for team in here if team in teams],
            letter=letter.value,
            time_to_beat=time_to_beat,
            added_places=added_places,
            state=IN_FORCE,
            since=unit.now,
            by_decision=decision_id,
        )
    )
    return re_run_id, run_heat


def call_off_re_run(unit: Unit, run_heat: HeatId, decision_id: DecisionId) -> list[LaneOut]:
    """A re-run is not held, and its heat stays without lanes; or it was run and does not count.
    Gives the lanes that were lost.

    StateConflict where it was called off before.
    """
    of_meet = (re_runs.c.run_heat_id == run_heat) & (re_runs.c.meet_id == unit.meet_id)
    known = unit.conn.execute(select(re_runs).where(of_meet)).one_or_none()
    if known is None:
        raise NotFound("There is no such re-run at this meet.")
    if known.state != IN_FORCE:
        raise StateConflict("This re-run was called off before.")
    values = {"state": CALLED_OFF, "set_aside_by": decision_id}
    unit.conn.execute(update(re_runs).where(re_runs.c.id == known.id).values(**values))
    again = heat(unit.conn, unit.meet_id, run_heat)
    if again.state is not HeatState.TO_COME or again.run:
        return []
    empty_heat(unit, run_heat)
    return again.lanes


def hold_re_run_after_all(
    unit: Unit, run_heat: HeatId, lanes: Sequence[LaneOut], decision_id: DecisionId
) -> None:
    """A re-run that was called off is held, or counts, after all; `lanes` are those that its heat
    lost. The caller has looked that it was called off.

    Where no announcement has told of the calling off, the re-run stays by the decision that gave
    it: for everybody it was never gone.
    """
    values: dict[str, str | None] = {"state": IN_FORCE, "set_aside_by": None}
    if calling_off_is_told(unit.conn, run_heat):
        values["by_decision"] = decision_id
    unit.conn.execute(update(re_runs).where(re_runs.c.run_heat_id == run_heat).values(**values))
    if lanes:
        refill_heat(unit, run_heat, lanes)
