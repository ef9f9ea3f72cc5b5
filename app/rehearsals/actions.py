"""Making a rehearsal, and ending it.

In between it is started, held back, called and reported on as any heat is. It stands in the record
under kinds of its own, its calls and reports as usual: what was done is never hidden.
"""

from __future__ import annotations

from app.ids import HeatId
from app.meets.queries import heat, is_heat, meet_facts
from app.meets.rehearsing import add_rehearsal, end_rehearsal_heat, rehearsals_going_on
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.record.kinds import Kind
from app.refusals import IdTaken, Malformed, NotFound, StateConflict
from app.rehearsals.wire import RehearsalIn
from app.reports.grouping import close_without_ruling
from app.store.action import Action, Deed, Done, Put, Unit

MOST_AT_ONCE = 10


def make_rehearsal(rehearsal: HeatId, sent: RehearsalIn) -> Action[Put[HeatOut]]:
    """A rehearsal of a relay in these lanes. The same again is the same."""

    def act(unit: Unit) -> Done[Put[HeatOut]]:
        in_lanes = _lanes(unit, sent)
        if is_heat(unit.conn, rehearsal):
            return Done(Put(_the_same(unit, rehearsal, sent, in_lanes), created=False), None)
        if rehearsals_going_on(unit.conn, unit.meet_id) >= MOST_AT_ONCE:
            raise StateConflict(
                f"{MOST_AT_ONCE} rehearsals go on at this meet. End one of them first, at "
                "…/rehearsals/{id}/end. Nothing was stored."
            )
        add_rehearsal(unit, rehearsal, sent.relay, in_lanes)
        out = heat(unit.conn, unit.meet_id, rehearsal)
        body = {"relay": sent.relay.value, "lanes": in_lanes}
        return Done(Put(out, created=True), Deed(Kind.REHEARSAL_MADE, rehearsal, body))

    return act


def _lanes(unit: Unit, sent: RehearsalIn) -> list[int]:
    track = meet_facts(unit.conn, unit.meet_id).track.lanes
    asked = sorted(set(sent.lanes or range(1, track + 1)))
    if asked[-1] > sent.relay.places(track):
        raise Malformed(
            f"There is no lane {asked[-1]}: this meet's track has {track}. Leave “lanes” out to "
            "take all of them.",
            field="/lanes",
        )
    return asked


def _the_same(unit: Unit, rehearsal: HeatId, sent: RehearsalIn, in_lanes: list[int]) -> HeatOut:
    """What is there under this id; IdTaken where it is anything but this rehearsal."""
    try:
        known = heat(unit.conn, unit.meet_id, rehearsal)
    except NotFound as elsewhere:
        raise IdTaken("a heat of another meet", rehearsal) from elsewhere
    there = [lane.lane for lane in known.lanes]
    # All lanes of the track are those that it had when this was made.
    same = known.relay is sent.relay and (sent.lanes is None or there == in_lanes)
    if not known.rehearsal or not same:
        raise IdTaken("a rehearsal" if known.rehearsal else "a heat", rehearsal)
    return known


def end_rehearsal(rehearsal: HeatId) -> Action[HeatOut]:
    """It is over: its open cases are closed without a ruling. Saying so twice is harmless."""

    def act(unit: Unit) -> Done[HeatOut]:
        known = heat(unit.conn, unit.meet_id, rehearsal)
        if not known.rehearsal:
            raise StateConflict(
                "This is a heat of the programme and no rehearsal, so it does not end so. One that "
                "is not held is declared at …/heats/{id}/not-held. Nothing was changed."
            )
        if known.state is HeatState.ENDED:
            return Done(known, None)
        end_rehearsal_heat(unit, known)
        closed = close_without_ruling(unit, rehearsal)
        out = heat(unit.conn, unit.meet_id, rehearsal)
        body = {"cases": closed, "state": known.state.value, "run": known.run}
        return Done(out, Deed(Kind.REHEARSAL_ENDED, rehearsal, body))

    return act
