"""Taking in protests and appeals: who for, about what, by whom, when.

Late or from outside is kept and marked, never refused: whether it is heard is for the referee or
the jury. Refused is only what the rule book itself refuses, with its rule, and what cannot be a
protest: against a team that did not run, about a ruling that no longer stands, or about a heat of
which it had been said before that it is not held.
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any

from sqlalchemy import Table, insert, select

from app.access.queries import Caller
from app.appeals.about_not_held import insist_handed_in_before, is_decided_since, lanes_before
from app.appeals.bench import bench_for
from app.appeals.carrying import shown_for
from app.appeals.decision_queries import decision_row, decisions_on, is_the_jurys, referees_decision
from app.appeals.deposits import asked_by
from app.appeals.handing_in import taken_at
from app.appeals.in_round import window_for_appeal
from app.appeals.jury_wire import AppealIn, AppealOut
from app.appeals.paying import paid
from app.appeals.protest_windows import window_for_protest
from app.appeals.queries import (
    JUDGEMENT,
    appeal_row,
    kind_measured,
    next_appeal_number,
    next_protest_number,
    protest_kinds,
    protest_row,
)
from app.appeals.showing import appeal_shown, protest_shown
from app.appeals.standing import is_turned_away
from app.appeals.states import AppealState, ProtestState
from app.appeals.tables import appeals, protests
from app.appeals.wire import DecisionOut, Instance, ProtestIn, ProtestOut
from app.clock import rfc3339
from app.ids import AppealId, DecisionId, HeatId, ProtestId, RulingId, TeamId, WindowId
from app.meets.queries import MeetFacts, heat, is_not_held, meet_facts, team_row
from app.meets.rehearsing import insist_no_rehearsal
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.record.kinds import Kind
from app.refusals import IdTaken, Malformed, NotFound, NotProtestable, Refusal, StateConflict
from app.roles import Role
from app.rounds.queries import re_run_of_heat
from app.rulings.queries import ruling_out
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow


def lodge_protest(
    protest_id: ProtestId, sent: ProtestIn, caller: Caller
) -> Action[Put[ProtestOut]]:
    """Take in a protest; the same again is the same."""

    def act(unit: Unit) -> Done[Put[ProtestOut]]:
        row = None
        if not _is_known(unit, protests, protest_id, sent):
            row = _protest_row(unit, sent, caller)
            _store_protest(unit, protest_id, row, sent, caller)
        out = protest_shown(unit.conn, unit.meet_id, protest_id, unit.now)
        if row is None:
            return Done(Put(out, created=False), None)
        body = {**row, "lodged_at": rfc3339(row["lodged_at"]), "marks": list(out.marks)}
        return Done(Put(out, created=True), Deed(Kind.PROTEST_LODGED, protest_id, body))

    return act


def _is_known(unit: Unit, table: Table, ident: str, sent: ProtestIn | AppealIn) -> bool:
    """Whether just this was lodged before; IdTaken where the id is something else's."""
    known = unit.conn.execute(select(table).where(table.c.id == ident)).one_or_none()
    if known is None:
        return False
    if known.meet_id != unit.meet_id or known.content != sent.model_dump(mode="json"):
        raise IdTaken("a protest" if table is protests else "an appeal", ident)
    return True


def _protest_row(unit: Unit, sent: ProtestIn, caller: Caller) -> dict[str, Any]:
    """What is stored of a protest and stands in the record; refused where it cannot be lodged."""
    meet = meet_facts(unit.conn, unit.meet_id)
    facts = heat(unit.conn, unit.meet_id, HeatId(sent.heat))
    insist_no_rehearsal(unit.conn, facts.id)
    _insist_it_was_held(unit, sent, facts)
    _insist_on_subject(unit, sent, facts)
    ground = _ground(meet, sent, caller)
    at = taken_at(unit, sent.lodged_at, earliest=earliest_protest(unit, sent.ruling, facts))
    window = window_for_protest(unit.conn, facts.id, kind_measured(meet, ground), at)
    return {
        "number": next_protest_number(unit.conn, unit.meet_id),
        "heat_id": facts.id,
        "team_id": sent.team,
        "about": sent.about.value,
        "ruling_id": sent.ruling,
        "against_id": sent.against,
        "ground": ground,
        "window_id": _ident(window),
        "lodged_by": sent.lodged_by,
        "capacity": sent.capacity.value,
        "lodged_at": at,
        "words": sent.words,
        "allowed_because": sent.allowed_because,
    }


def _store_protest(
    unit: Unit, protest_id: ProtestId, row: dict[str, Any], sent: ProtestIn, caller: Caller
) -> None:
    unit.conn.execute(
        insert(protests).values(
            id=protest_id,
            meet_id=unit.meet_id,
            entered_at=unit.now,
            official_id=caller.official_id,
            state=ProtestState.LODGED.value,
            content=sent.model_dump(mode="json"),
            version=1,
            **row,
        )
    )


def earliest_protest(unit: Unit, ruling: str | None, facts: HeatOut) -> datetime | None:
    """Nobody protests before what it is about: the ruling, or the start of the heat."""
    if ruling is not None:
        return ruling_out(unit.conn, unit.meet_id, RulingId(ruling)).ruled_at
    return facts.started_at


def _insist_on_subject(unit: Unit, sent: ProtestIn, facts: HeatOut) -> None:
    team = team_row(unit.conn, unit.meet_id, TeamId(sent.team))
    if team.event_id != facts.event:
        raise Malformed(
            f"{team.name} is not entered in {facts.event_name}: look at the team and the heat.",
            field="/team",
        )
    if sent.against is not None and not _runs_in(unit, TeamId(sent.against), facts):
        raise Malformed("The team that it is against does not run in this heat.", field="/against")
    if sent.ruling is None:
        return
    ruling = ruling_out(unit.conn, unit.meet_id, RulingId(sent.ruling))
    if ruling.heat != facts.id:
        raise _of_another_heat(unit, HeatId(ruling.heat), facts)
    if ruling.replaced_by is not None:
        raise StateConflict(
            "This ruling was reconsidered and no longer stands. Name the one that does: "
            f"{ruling.replaced_by}.",
            field="/ruling",
        )


def _runs_in(unit: Unit, team: TeamId, facts: HeatOut) -> bool:
    """Whether a team runs in a heat, or was to run in one that is not held."""
    left = lanes_before(unit.conn, unit.meet_id, HeatId(facts.id)) or ()
    return team in left or any(lane.team == team for lane in facts.lanes)


def _insist_it_was_held(unit: Unit, sent: ProtestIn, facts: HeatOut) -> None:
    """A heat that is not held is protested until that was said; what it came to be so by is of the
    round, and protested in a heat that is held.
    """
    if facts.state is not HeatState.NOT_HELD:
        return
    again = "" if sent.ruling is None else " The head official can look at the ruling again."
    instead = (
        "Name a heat of the round that is held: what is decided on one moves all. A start list "
        "that draws this one again makes it a heat as before." + again
    )
    insist_handed_in_before(unit, HeatId(facts.id), sent.lodged_at, "/heat", instead)


def _of_another_heat(unit: Unit, heat_id: HeatId, named: HeatOut) -> Malformed:
    """In which heat a ruling is protested. One in a re-run shows on the result of the heat that it
    repeats too, and is of the re-run all the same: there it was announced, and is set aside.
    """
    ruled = heat(unit.conn, unit.meet_id, heat_id)
    re_run = re_run_of_heat(unit.conn, heat_id)
    where = f"{ruled.round}, heat {ruled.number}"
    said = f"This ruling is about another heat, {where}."
    if re_run is not None and re_run.heat_id == named.id:
        said = (
            f"This ruling was made in the re-run of this heat, {where}. It counts here too, and "
            "what is decided there moves both results."
        )
    return Malformed(f"{said} Name it in “heat”: {heat_id}.", field="/ruling", heat=heat_id)


def _ground(meet: MeetFacts, sent: ProtestIn, caller: Caller) -> str:
    """The kind of protest in the edition's words; a judgement call may not be protestable."""
    kinds = protest_kinds(meet)
    ground = sent.ground or (kinds[0] if len(kinds) == 1 else None)
    if ground is None:
        raise Malformed(
            f"Say on what ground, in “ground”: {'; '.join(kinds)}; or “{JUDGEMENT}”.",
            field="/ground",
        )
    if ground not in {*kinds, JUDGEMENT}:
        raise Malformed(
            f"This edition knows no such ground. Choose one of: {'; '.join(kinds)}; or "
            f"“{JUDGEMENT}”.",
            field="/ground",
        )
    is_barred = ground == JUDGEMENT and not meet.book.protestable_judgement
    if sent.allowed_because is not None and not is_barred:
        raise Malformed(
            "This protest needs nobody's leave: leave “allowed_because” out.",
            field="/allowed_because",
        )
    if is_barred:
        _insist_on_leave(meet, sent, caller)
    return ground


def _insist_on_leave(meet: MeetFacts, sent: ProtestIn, caller: Caller) -> None:
    """A judgement call is protested by the referee's leave only, where the edition bars it.

    NFHS 3-5-4 does not let it be protested; only the referee's own word, which is recorded, does.
    """
    if sent.allowed_because is None:
        raise NotProtestable(
            "A judgement call on a violation cannot be protested under this edition "
            f"({meet.book.sources.get('protests.judgement_protestable', 'its rule on protests')}). "
            "Protest against a misapplication of the rules, if that is meant; only the referee can "
            "let it through, with “allowed_because”.",
            field="/ground",
        )
    if not caller.holds(Role.REFEREE):
        raise NotProtestable(
            "Only the referee can let a judgement call be protested: let the referee take it in.",
            field="/allowed_because",
        )


def _ident(window: AnyRow | None) -> WindowId | None:
    return None if window is None else WindowId(window.id)


def lodge_appeal(appeal_id: AppealId, sent: AppealIn, caller: Caller) -> Action[Put[AppealOut]]:
    """Take in an appeal against the referee's decision on a protest; the same again is the same."""

    def act(unit: Unit) -> Done[Put[AppealOut]]:
        row = None
        if not _is_known(unit, appeals, appeal_id, sent):
            row = _appeal_row(unit, appeal_id, sent)
            store_appeal(unit, appeal_id, caller, row, sent.model_dump(mode="json"))
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        if row is None:
            return Done(Put(out, created=False), None)
        told = {"number": out.number, "marks": list(out.marks)}
        body = {**row, "lodged_at": rfc3339(row["lodged_at"]), **told}
        return Done(Put(out, created=True), Deed(Kind.APPEAL_LODGED, appeal_id, body))

    return act


def _appeal_row(unit: Unit, appeal_id: AppealId, sent: AppealIn) -> dict[str, Any]:
    """What is stored of an appeal and stands in the record; refused where it cannot be lodged."""
    meet, protest = _appealable(unit, sent)
    decision = referees_decision(unit.conn, unit.meet_id, ProtestId(protest.id))
    assert decision is not None
    _insist_first(unit, sent)
    _insist_time_may_run(unit, decision, sent)
    _insist_on_sense(unit, meet, HeatId(protest.heat_id), sent)
    at, asked = taken_at(unit, sent.lodged_at, earliest=decision.decided_at), asked_by(meet)
    paid_in = paid(unit, appeal_id, asked, sent.deposit, "/deposit") if sent.deposit else None
    return {
        "heat_id": protest.heat_id,
        "protest_id": protest.id,
        "team_id": sent.team,
        "window_id": _ident(window_for_appeal(unit.conn, decision, TeamId(sent.team))),
        "lodged_by": sent.lodged_by,
        "lodged_at": at,
        "words": sent.words,
        "sought": [order.model_dump(mode="json") for order in sent.sought],
        "asked": asdict(asked) if asked is not None else {},
        "deposit": paid_in,
    }


def _appealable(unit: Unit, sent: AppealIn) -> tuple[MeetFacts, AnyRow]:
    """The meet, and the protest whose decision a team of its event appeals against."""
    protest = _protest_appealed(unit, ProtestId(sent.protest))
    team = team_row(unit.conn, unit.meet_id, TeamId(sent.team))
    if team.event_id != protest.event_id:
        raise Malformed(f"{team.name} is not entered in this event.", field="/team")
    return meet_facts(unit.conn, unit.meet_id), protest


def _insist_time_may_run(unit: Unit, decision: AnyRow, sent: AppealIn) -> None:
    """Once a heat is not held, no appeal is handed in against what was decided on it before: an end
    that is set to its time was awaited, and where none is set that is the end.
    """
    heat_id = HeatId(decision.heat_id)
    if not is_not_held(unit.conn, heat_id) or is_decided_since(unit.conn, decision):
        return
    instead = "Protest in a heat of the round that is held."
    insist_handed_in_before(unit, heat_id, sent.lodged_at, "/protest", instead)


def _insist_on_sense(unit: Unit, meet: MeetFacts, heat_id: HeatId, sent: AppealIn) -> None:
    """What is asked for must be something that could be ordered now."""
    try:
        bench = bench_for(unit.conn, meet, heat_id, Instance.JURY)
        shown_for(bench, sent.sought)
    except Refusal as refusal:
        raise Malformed(
            f"What is sought cannot be ordered: {refusal.detail} Leave “sought” out where that is "
            "to be seen.",
            field="/sought",
        ) from refusal


def store_appeal(
    unit: Unit, appeal_id: AppealId, caller: Caller, row: dict[str, Any], content: dict[str, Any]
) -> None:
    """Store an appeal, or what the referee refers, under the meet's next number."""
    unit.conn.execute(
        insert(appeals)
        .values(
            id=appeal_id,
            meet_id=unit.meet_id,
            number=next_appeal_number(unit.conn, unit.meet_id),
            is_referred=0,
            entered_at=unit.now,
            official_id=caller.official_id,
            sitting=1,
            state=AppealState.LODGED.value,
            content=content,
            version=1,
        )
        .values(**row)
    )


def _protest_appealed(unit: Unit, protest_id: ProtestId) -> Any:
    """The protest; an appeal lies against the referee's decision only (World Athletics TR8.7)."""
    try:
        row = protest_row(unit.conn, unit.meet_id, protest_id)
    except NotFound:
        _refuse_against_jury(unit, AppealId(protest_id))
        raise
    match ProtestState(row.state):
        case ProtestState.LODGED:
            raise StateConflict(
                "The referee has not decided this protest yet; an appeal is against that decision."
            )
        case ProtestState.WITHDRAWN:
            raise StateConflict("This protest was withdrawn: there is no decision to appeal.")
        case ProtestState.REFERRED:
            raise StateConflict("The referee has passed this protest on: the jury has it already.")
        case _:
            pass
    decision = referees_decision(unit.conn, unit.meet_id, protest_id)
    if decision is not None and decision.verdict == "referred":
        raise _final(unit)
    if any(one.instance is Instance.JURY for one in _decided(unit, protest_id)):
        raise _final(unit)
    if decision is not None and decision.settled_by is not None:
        raise _undone_by_jury(unit, DecisionId(decision.settled_by))
    return row


def _decided(unit: Unit, protest_id: ProtestId) -> list[DecisionOut]:
    return decisions_on(unit.conn, meet_facts(unit.conn, unit.meet_id), protest_id)


def _refuse_against_jury(unit: Unit, appeal_id: AppealId) -> None:
    """Whoever names an appeal, or a decision of the jury, wants what no rule gives."""
    if is_the_jurys(unit.conn, unit.meet_id, appeal_id):
        raise _final(unit)
    try:
        appeal_row(unit.conn, unit.meet_id, appeal_id)
    except NotFound:
        return
    raise _final(unit)


def _undone_by_jury(unit: Unit, by: DecisionId) -> NotProtestable:
    """What the jury has undone on another protest, it has decided on."""
    jurys = decision_row(unit.conn, unit.meet_id, by)
    number = appeal_row(unit.conn, unit.meet_id, AppealId(jurys.appeal_id)).number
    book = meet_facts(unit.conn, unit.meet_id).book
    return NotProtestable(
        f"The jury has undone the decision on this protest, on appeal {number}. A decision of the "
        f"jury is final: there is no appeal against it ({book.jury_final_by}). With new conclusive "
        "evidence the jury can reopen that appeal.",
        field="/protest",
        appeal=number,
    )


def _final(unit: Unit) -> NotProtestable:
    book = meet_facts(unit.conn, unit.meet_id).book
    return NotProtestable(
        f"A decision of the jury is final: there is no appeal against it ({book.jury_final_by}). "
        "With new conclusive evidence the jury can reopen its decision.",
        field="/protest",
    )


def _insist_first(unit: Unit, sent: AppealIn) -> None:
    """One appeal a team against one decision; a second would only stand beside it."""
    found = unit.conn.execute(
        select(appeals.c.number, appeals.c.state, appeals.c.admitted).where(
            appeals.c.protest_id == sent.protest,
            appeals.c.team_id == sent.team,
            appeals.c.state != AppealState.WITHDRAWN.value,
        )
    ).first()
    if found is None:
        return
    if is_turned_away(found):
        raise StateConflict(
            f"Appeal {found.number} of this team was turned away unheard. The chair of its panel "
            "can still admit it; no second one stands beside it."
        )
    if found.state in {AppealState.UPHELD, AppealState.REJECTED}:
        raise _final(unit)
    raise StateConflict(f"This team has appealed already: appeal {found.number}.")
