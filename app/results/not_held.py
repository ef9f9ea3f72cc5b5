"""A heat that nobody runs: it is taken out of the draw, and its round waits for it no more.

A round that was drawn into more heats than it has teams for is drawn anew (common practice), and
the start list of fewer heats leaves the rest as they were drawn before. That one of them is not
held is said by whoever draws, with reasons; a start list that draws it again makes it a heat as
before.
"""

from __future__ import annotations

from collections.abc import Iterator

from app.appeals.left_to_appeal import left_to_appeal
from app.ids import HeatId
from app.meets.actions import empty_heat, set_heat_state
from app.meets.lanes_given import LaneGiven, lanes_given
from app.meets.queries import heat, lanes_of, meet_facts
from app.meets.rehearsing import insist_no_rehearsal
from app.meets.states import HEAT_TABLE, HeatAct, HeatState
from app.meets.wire import HeatOut, NotHeldIn
from app.record.kinds import Kind
from app.refusals import Malformed, NeedsWord, Stale, StateConflict
from app.results.found_in import FoundIn, decisions_carried_out, found_in
from app.results.pending import Remedies, remedies_in
from app.store.action import Action, Deed, Done, Unit

WAYS_OUT = {
    HeatState.NOT_HELD: "A start list that draws it again makes it a heat as before.",
    HeatState.RUNNING: "If it was started by mistake, hold back the heat first.",
    HeatState.JUDGED: "If it was started by mistake, hold back the heat first.",
}


def declare_not_held(heat_id: HeatId, sent: NotHeldIn, version: int) -> Action[HeatOut]:
    """Nobody runs in this heat; the record keeps the lanes it had.

    StateConflict, with what there is of the heat, where it was run, only a decision may end it, or
    something about it is lodged or can be; NeedsWord where what there is may be a mistake.
    """

    def act(unit: Unit) -> Done[HeatOut]:
        known = heat(unit.conn, unit.meet_id, heat_id)
        insist_no_rehearsal(unit.conn, heat_id)
        step = HEAT_TABLE.step(known.state, HeatAct.DECLARE_NOT_HELD, WAYS_OUT.get(known.state, ""))
        if known.version != version:
            raise Stale("This heat was changed meanwhile. Read it again, then decide.")
        found = found_in(unit.conn, heat_id)
        _insist_nobody_ran(unit, known, found)
        _insist_on_word(known, found, sent.despite)
        empty_heat(unit, heat_id)
        set_heat_state(unit, heat_id, step.becomes)
        lanes = [lane.model_dump(mode="json") for lane in known.lanes]
        body = {**sent.model_dump(mode="json"), "run": known.run, "lanes": lanes}
        out = heat(unit.conn, unit.meet_id, heat_id)
        return Done(out, Deed(Kind.HEAT_NOT_HELD, heat_id, body))

    return act


def _insist_nobody_ran(unit: Unit, known: HeatOut, found: FoundIn) -> None:
    heat_id = HeatId(known.id)
    whys = [*_decided(unit, known, found), *_contested(unit, heat_id), *_noted(found)]
    if whys:
        raise StateConflict(f"This heat stays in the draw. {' '.join(whys)} Nothing was changed.")


def _decided(unit: Unit, known: HeatOut, found: FoundIn) -> Iterator[str]:
    """What only a decision on a protest or an appeal takes back."""
    if found.is_re_run:
        yield "It is a re-run that a decision ordered, and only a decision calls it off."
    if found.is_repeated:
        yield "A decision has teams of it run again."
    if _runs_again_by_order(unit, known):
        yield "A decision has it run again, and only a decision takes that back."
    for one in lanes_given(unit.conn, unit.meet_id):
        if _stands_in(unit, one) == {known.id}:
            yield (
                f"{one.name} has a lane of it by {one.decision}. List that team in another heat of "
                "the round first, or have the decision undone."
            )


def _stands_in(unit: Unit, given: LaneGiven) -> set[HeatId]:
    """In which heats of the round a team is drawn that has a lane by a decision."""
    drawn = lanes_of(unit.conn, given.heats)
    return {one for one, here in drawn.items() if any(lane.team == given.team for lane in here)}


def _contested(unit: Unit, heat_id: HeatId) -> Iterator[str]:
    """What is lodged about it, or can still be: once it is not held, nobody could be told by an
    announcement, so nothing more is taken in about it.
    """
    awaited = remedies_in(unit.conn, [heat_id]).get(heat_id, Remedies()).awaited
    yield from awaited
    if awaited:
        yield (
            "Have it decided and told, and let the time for an appeal run out; or let the team "
            "take back what it lodged."
        )
    meet = meet_facts(unit.conn, unit.meet_id)
    yield from left_to_appeal(unit.conn, meet, heat_id, unit.now)


def _runs_again_by_order(unit: Unit, known: HeatOut) -> bool:
    """Whether the whole heat was to be run again, and was not since."""
    carried_out = decisions_carried_out(unit.conn, HeatId(known.id))
    ordered = [kept for kept in carried_out if kept["did"] in {"whole heat again", "given back"}]
    last = ordered[-1] if ordered else {"did": "nothing"}
    return last["did"] == "whole heat again" and last["run"] == known.run


def _noted(found: FoundIn) -> Iterator[str]:
    """What tells that somebody saw it run, in words with what to do about it."""
    if found.announced:
        yield "Its result was announced."
    if found.open_cases:
        yield "A case of it is open. Have it ruled on first."
    elif found.standing_reports:
        yield "What an umpire reported of it stands."
    if found.confirmed or found.disqualified:
        yield "A team is disqualified or noted in it. Have that set aside first."


def _insist_on_word(known: HeatOut, found: FoundIn, despite: str | None) -> None:
    """A start, a flag or a list can be one of another heat, by mistake, and stays for good."""
    whys = list(_by_mistake(known, found))
    if whys and despite is None:
        raise NeedsWord(
            f"Somebody may have run this heat: {', '.join(whys)}. If that was none of its own, say "
            "why in “despite”; it stands in the record.",
            field="/despite",
        )
    if despite is not None and not whys:
        raise Malformed(
            "Nobody started this heat, and nothing was shown or noted of it. Leave “despite” out.",
            field="/despite",
        )


def _by_mistake(known: HeatOut, found: FoundIn) -> Iterator[str]:
    if known.run:
        yield "it was started and held back"
    if found.flags:
        yield "a flag was shown in it"
    if found.finish_list:
        yield "a finish list was loaded for it"
