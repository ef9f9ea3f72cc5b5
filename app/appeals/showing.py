"""Protests and appeals as they are shown: with whom a decision moved, and what was corrected.

Both are worked out for a whole page at once; what stands in their own rows is read elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from itertools import chain
from typing import TypeVar

from sqlalchemy import Connection

from app.appeals.about_not_held import time_since_not_held, time_without_announcement
from app.appeals.affected import affected_by
from app.appeals.awaiting import possible_at
from app.appeals.decision_queries import (
    decisions_on,
    jurys_decision_out,
    jurys_decisions_on,
    referees_decision,
    referees_decisions_of,
)
from app.appeals.in_round import window_for_appeal
from app.appeals.jury_wire import AppealOut, AppealsOut
from app.appeals.queries import protest_out, protests_in_heat, protests_page
from app.appeals.signed import signed_by
from app.appeals.since_signed import appeal_time, appeals_until
from app.appeals.standing import appeal_out, appeals_page
from app.appeals.states import ProtestState
from app.appeals.to_announce import awaits_announcement, untold_in
from app.appeals.wire import (
    AffectedOut,
    DecisionOut,
    ProtestOut,
    ProtestsOut,
    SignedByOut,
    Verdict,
)
from app.clock import in_zone
from app.ids import AppealId, DecisionId, HeatId, MeetId, ProtestId
from app.meets.queries import MeetFacts, heat, meet_facts
from app.meets.states import HeatState
from app.results.correction_wire import CorrectionOut
from app.results.corrections import corrections_of, measure_corrections
from app.store.rows import AnyRow

Shown = TypeVar("Shown", ProtestOut, AppealOut)


def protest_shown(
    conn: Connection, meet_id: MeetId, protest_id: ProtestId, now: datetime
) -> ProtestOut:
    """One protest, its decision with whom it moved; NotFound for an id not of this meet."""
    out = protest_out(conn, meet_id, protest_id)
    meet = meet_facts(conn, meet_id)
    (shown,) = _with_jurys(conn, meet, _protests(conn, meet, [out], now))
    return _with_what_follows(conn, meet, shown)


def protests_shown(
    conn: Connection, meet_id: MeetId, before: int | None, now: datetime
) -> ProtestsOut:
    """A page of protests, the one that was lodged last first."""
    page = protests_page(conn, meet_id, before)
    meet = meet_facts(conn, meet_id)
    shown = _protests(conn, meet, page.protests, now)
    return page.model_copy(update={"protests": _with_jurys(conn, meet, shown)})


def protests_in_heat_shown(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> list[ProtestOut]:
    """All protests about a heat, in order, with what the jury has decided on them."""
    return _with_jurys(conn, meet_facts(conn, meet_id), protests_in_heat(conn, meet_id, heat_id))


def _with_jurys(conn: Connection, meet: MeetFacts, page: Sequence[ProtestOut]) -> list[ProtestOut]:
    """Protests with what the jury has decided on them, which their state does not tell."""
    made = jurys_decisions_on(conn, meet, [one.id for one in page])
    return [
        one.model_copy(
            update={
                "jury": [
                    jurys_decision_out(meet, row, row.appeal_number) for row in made.get(one.id, ())
                ]
            }
        )
        for one in page
    ]


def _with_what_follows(conn: Connection, meet: MeetFacts, out: ProtestOut) -> ProtestOut:
    """A protest with what is to be done next, and until when an appeal can be lodged."""
    decided = referees_decision(conn, meet.id, out.id) if out.decision is not None else None
    jurys = jurys_decisions_on(conn, meet, [out.id]).get(out.id, [])
    is_settled = bool(jurys) or (decided is not None and decided.settled_by is not None)
    if decided is None or is_settled or decided.verdict == Verdict.REFERRED:
        untold = untold_in(conn, [HeatId(one.heat_id) for one in jurys if one.carried_out])
        awaits = [*_awaited(out), *awaits_announcement(conn, untold, jurys)]
        return out.model_copy(update={"awaits": awaits, "appeals_until": ""})
    window = window_for_appeal(conn, decided, out.team) or time_since_not_held(conn, decided)
    if window is not None:
        time = appeal_time(conn, window, out.heat)
        until = appeals_until(time, meet.time_zone)
        return out.model_copy(update={"awaits": [], "appeals_until": until, "appeal_time": time})
    awaits = list(_time_to_begin(conn, meet, out, decided))
    return out.model_copy(update={"awaits": awaits, "appeals_until": ""})


def _time_to_begin(
    conn: Connection, meet: MeetFacts, out: ProtestOut, decided: AnyRow
) -> Iterator[str]:
    """What the time for an appeal runs from, where no window is open yet; nothing where it has run
    out, since the heat is not held.
    """
    state = heat(conn, meet.id, out.heat).state
    time = time_without_announcement(meet, decided)
    until = None if time is None else time.closes_at
    if decided.advised_at is None and not decided.carried_out:
        yield "The protesters are to be told: the time for an appeal runs from that."
    elif state is HeatState.NOT_HELD:
        return
    elif decided.carried_out:
        yield "The amended result is to be announced: the time for appeals runs from that."
    elif until is None or state is not HeatState.TO_COME:
        yield "The result is to be announced: the time for appeals runs from that."
    else:
        yield (
            "The result is to be announced: the time for appeals runs from that. If the heat is "
            f"not to be held, it runs from the advice, until {in_zone(until, meet.time_zone)}."
        )


def _awaited(out: ProtestOut) -> Iterator[str]:
    if out.state is ProtestState.LODGED:
        yield "The referee is to decide."
    elif out.state is ProtestState.REFERRED:
        yield "The jury is to decide."


def appeal_shown(
    conn: Connection, meet_id: MeetId, appeal_id: AppealId, now: datetime
) -> AppealOut:
    """One appeal, its decision with whom it moved; NotFound for an id not of this meet."""
    out = appeal_out(conn, meet_id, appeal_id)
    (shown,) = _appeals(conn, meet_id, [out], now)
    return shown


def appeals_shown(
    conn: Connection, meet_id: MeetId, before: int | None, now: datetime
) -> AppealsOut:
    """A page of appeals, the one that was lodged last first."""
    page = appeals_page(conn, meet_id, before)
    return page.model_copy(update={"appeals": _appeals(conn, meet_id, page.appeals, now)})


def _appeals(
    conn: Connection, meet_id: MeetId, page: Sequence[AppealOut], now: datetime
) -> list[AppealOut]:
    subjects: dict[str, list[str]] = {one.id: [one.id] for one in page}
    shown = _with(conn, meet_facts(conn, meet_id), page, subjects, now)
    return [one.model_copy(update={"possible": possible_at(one, now)}) for one in shown]


def decisions_shown(
    conn: Connection, meet: MeetFacts, protest_id: ProtestId, now: datetime
) -> list[DecisionOut]:
    """All decisions on a protest and its appeals, in order, each with whom it moved."""
    made = decisions_on(conn, meet, protest_id)
    moved, signed = affected_by(conn, meet, made, now), signed_by(conn, meet.id, made)
    return [_told(one, moved, signed) for one in made]


def _protests(
    conn: Connection, meet: MeetFacts, page: Sequence[ProtestOut], now: datetime
) -> list[ProtestOut]:
    return _with(conn, meet, page, _subjects(conn, meet, [one.id for one in page]), now)


def _with(
    conn: Connection,
    meet: MeetFacts,
    page: Sequence[Shown],
    subjects: Mapping[str, list[str]],
    now: datetime,
) -> list[Shown]:
    """With whom their decisions moved and who signed them, and with what was corrected: `subjects`
    says what a correction of each of them names.
    """
    decided: list[DecisionOut] = [one.decision for one in page if one.decision is not None]
    moved, signed = affected_by(conn, meet, decided, now), signed_by(conn, meet.id, decided)
    corrected = corrections_of(conn, meet, chain.from_iterable(subjects.values()))
    timed = measure_corrections(conn, meet, {one.id: one.timeliness.window for one in page})
    return [
        one.model_copy(
            update={
                "decision": None if one.decision is None else _told(one.decision, moved, signed),
                "corrections": _in_order(corrected, subjects[one.id]),
                "timeliness": one.timeliness.model_copy(
                    update={"time_corrections": timed.get(one.id, [])}
                ),
            }
        )
        for one in page
    ]


def _subjects(conn: Connection, meet: MeetFacts, idents: Sequence[str]) -> Mapping[str, list[str]]:
    """What a correction of each of these protests names; one of an advice is kept by its decision,
    also where that was replaced since.
    """
    made = referees_decisions_of(conn, meet, idents)
    return {ident: [ident, *made.get(ident, ())] for ident in idents}


def _in_order(
    corrected: Mapping[str, list[CorrectionOut]], subjects: Iterable[str]
) -> list[CorrectionOut]:
    found = chain.from_iterable(corrected.get(one, ()) for one in subjects)
    return sorted(found, key=lambda each: each.corrected_at)


def _told(
    decision: DecisionOut,
    moved: Mapping[DecisionId, list[AffectedOut]],
    signed: Mapping[DecisionId, list[SignedByOut]],
) -> DecisionOut:
    update = {"affected": moved.get(decision.id, []), "signatures": signed[decision.id]}
    return decision.model_copy(update=update)
