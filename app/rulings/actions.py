"""Ruling on a case: confirmed or dismissed, with reasons, signed, by somebody who reported nothing.

The effect of a confirmed case follows from the edition: a disqualification with its rule, or, for a
tolerated first lane infringement, the note L. A later ruling on the same case names the one it
replaces; the disqualification of the replaced ruling is then set aside.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, insert, select, update

from app.access.pen import Pen, Signed
from app.access.queries import Caller, official_row
from app.ids import CaseId, DisqualificationId, HeatId, RulingId, new_id
from app.meets.queries import MeetFacts, meet_facts
from app.meets.rehearsing import insist_no_rehearsal
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.refusals import IdTaken, NeedsWord, Stale, StateConflict
from app.reports.grouping import close_case, settle_lane
from app.reports.queries import case_row
from app.reports.states import CASE_TABLE, CaseAct, CaseState, ReportState
from app.reports.wire import ReportOut
from app.rules.finding import Consequence
from app.rulings.as_ruled import reports_in
from app.rulings.asked import is_of_earlier_run, tells_of
from app.rulings.effect import Effect, effect_in_words, effect_of
from app.rulings.final_word import insist_jury_has_not_decided, refused_to_reconsider
from app.rulings.form import Decided, as_stored, facts_as_ruled, form_digest
from app.rulings.queries import (
    ruling_in_words,
    ruling_out,
    rulings_of_case,
)
from app.rulings.states import (
    DISQUALIFICATION_TABLE,
    DisqualificationAct,
    DisqualificationState,
)
from app.rulings.tables import disqualifications, rulings
from app.rulings.who_rules import insist_may_rule, insist_second_person
from app.rulings.wire import RulingIn, RulingOut, Verdict
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow

ON_RECORD = frozenset({ReportState.WRITTEN, ReportState.RULED})
"""The reports that a ruling takes along, and those that an earlier one took."""

_RULING = select(rulings).where(rulings.c.id == bindparam("ruling"))


@dataclass(frozen=True, slots=True)
class Made:
    """A ruling in the making: what is decided on which case, and on what it rests."""

    id: RulingId
    case: AnyRow
    meet: MeetFacts
    sent: RulingIn
    effect: Effect
    reports: list[ReportOut]


def rule_on(
    case_id: CaseId, ruling_id: RulingId, sent: RulingIn, pen: Pen, version: int | None
) -> Action[Put[RulingOut]]:
    """Rule on a case, signed with this pen."""
    caller = pen.caller

    def act(unit: Unit) -> Done[Put[RulingOut]]:
        content = json.dumps(sent.content(), sort_keys=True)
        known = unit.conn.execute(_RULING, {"ruling": ruling_id}).one_or_none()
        if known is not None:
            _insist_same(known, unit, case_id, caller, content)
            return Done(Put(ruling_out(unit.conn, unit.meet_id, ruling_id), created=False), None)
        pen.insist_may_sign(unit)
        case = case_row(unit.conn, unit.meet_id, case_id)  # of this meet, before it is touched
        insist_no_rehearsal(unit.conn, HeatId(case.heat_id))
        settle_lane(unit, case_id)
        case = case_row(unit.conn, unit.meet_id, case_id)
        meet = meet_facts(unit.conn, unit.meet_id)
        insist_may_rule(caller, meet)
        replaced = _step(unit, case, sent, version)
        reports = reports_in(unit.conn, unit.meet_id, case_id)
        insist_second_person(unit.conn, meet, case_id, caller)
        if replaced is not None:
            # First, so that a lane infringement it noted no longer counts against the team.
            _replace(unit, replaced, ruling_id)
        effect = effect_of(unit, case, meet, sent, reports)
        _insist_on_present_run(sent, case.present_run, effect, reports)
        if effect.infringement is not None:
            insist_jury_has_not_decided(unit.conn, case, effect.infringement, reports)
        made = Made(ruling_id, case, meet, sent, effect, reports)
        form = _form(unit, made, caller)
        signed = pen.sign(unit, "ruling", ruling_id, _said(made, form))
        row = {
            "official_id": caller.official_id,
            "content": content,
            "statement": signed.statement,
            "statement_digest": signed.sha256,
            "form_facts": form,
        }
        unit.conn.execute(insert(rulings).values(**_columns(unit, made), **row))
        if effect.consequence is Consequence.DISQUALIFICATION:
            _disqualify(unit, made)
        close_case(unit, case_id)
        out = ruling_out(unit.conn, unit.meet_id, ruling_id)
        return Done(Put(out, created=True), Deed(Kind.RULING, ruling_id, _recorded(signed, form)))

    return act


def _recorded(signed: Signed, form: Mapping[str, Any]) -> dict[str, Any]:
    """What the record keeps of a ruling: what was signed, and the digest of all that its form is
    drawn from.
    """
    return {**signed.body, "facts_sha256": digest_of(form)}


def _insist_same(known: AnyRow, unit: Unit, case_id: CaseId, caller: Caller, content: str) -> None:
    if (known.meet_id, known.case_id, known.official_id, known.content) != (
        unit.meet_id,
        case_id,
        caller.official_id,
        content,
    ):
        raise IdTaken("a ruling", known.id)


def _step(unit: Unit, case: AnyRow, sent: RulingIn, version: int | None) -> RulingId | None:
    """Ask the state table, and find the ruling that this one replaces."""
    earlier = rulings_of_case(unit.conn, unit.meet_id, CaseId(case.id))
    what = CaseAct.RECONSIDER if sent.reconsiders else CaseAct.RULE
    if version is not None and version != case.version:
        raise Stale(_who_was_first(unit, earlier))
    how = (
        f"To reconsider, name the ruling that stands: “reconsiders”: “{earlier[-1]}”."
        if earlier
        else ""
    )
    CASE_TABLE.step(CaseState(case.state), what, how)
    if sent.reconsiders is None:
        return None
    if sent.reconsiders != earlier[-1]:
        raise StateConflict("This is not the ruling that stands on this case. Read it again.")
    refused = refused_to_reconsider(unit.conn, unit.meet_id, RulingId(sent.reconsiders))
    if refused is not None:
        raise refused
    return RulingId(sent.reconsiders)


def _who_was_first(unit: Unit, earlier: list[RulingId]) -> str:
    if not earlier:
        return "Something was added to this case meanwhile. Read it again, then rule."
    last = ruling_out(unit.conn, unit.meet_id, earlier[-1])
    return (
        f"{last.official_name} has ruled on this case meanwhile: {last.verdict}. "
        "Read it again before you decide anything."
    )


def _insist_on_present_run(
    sent: RulingIn, present: int, effect: Effect, reports: list[ReportOut]
) -> None:
    """Nobody is disqualified by oversight for what was seen in a race that is run again."""
    if sent.verdict is Verdict.DISMISSED or sent.earlier_run:
        return
    if is_of_earlier_run(reports, effect.infringement, present):
        raise NeedsWord(
            "All that was reported of this is from a start that was recalled, or from a race that "
            "is run again. Dismiss the case; or, where it is to count all the same, confirm it "
            "with “earlier_run”: true.",
            field="/earlier_run",
        )


def _columns(unit: Unit, made: Made) -> dict[str, Any]:
    """What is stored of a ruling, but for who signed what."""
    case, effect = made.case, made.effect
    return {
        "id": made.id,
        "meet_id": unit.meet_id,
        "case_id": case.id,
        "heat_id": case.heat_id,
        "team_id": case.team_id,
        "lane": case.lane,
        "run": case.present_run,
        "accounts": sum(report.state in ON_RECORD for report in made.reports),
        "verdict": made.sent.verdict.value,
        "infringement": effect.infringement,
        "rule": effect.rule,
        "effect": effect.consequence.value,
        "edition": made.meet.book.key,
        "separate": effect.separate,
        "noted_before": effect.noted_before,
        "rests_on": list(effect.rests_on),
        "reasons": made.sent.reasons,
        "ruled_at": unit.now,
        "reconsiders": made.sent.reconsiders,
    }


def _form(unit: Unit, made: Made, caller: Caller) -> dict[str, Any]:
    """What the ruling's form will tell for ever, as a small document."""
    sent, effect, meet = made.sent, made.effect, made.meet

    def in_words(ruling: str) -> str:
        return ruling_in_words(unit.conn, unit.meet_id, RulingId(ruling), meet.time_zone)

    decided = Decided(
        by=official_row(unit.conn, unit.meet_id, caller.official_id).name,
        at=unit.now,
        verdict=sent.verdict,
        infringement=effect.infringement,
        rule=effect.rule,
        effect=effect_in_words(effect.consequence, effect.rule),
        separate=effect.separate,
        rests_on=[in_words(ruling) for ruling in effect.rests_on],
        replaces=in_words(sent.reconsiders) if sent.reconsiders else "",
        reasons=sent.reasons,
    )
    return as_stored(facts_as_ruled(unit.conn, meet, made.case, made.reports, decided))


def _said(made: Made, form: dict[str, Any]) -> dict[str, Any]:
    """What the head official signs: all that the ruling says and rests on, and its form. Not when
    it is stored, which nobody can be shown before.
    """
    case, sent, effect = made.case, made.sent, made.effect
    return {
        "case": case.id,
        "edition": made.meet.book.key,
        "effect": effect_in_words(effect.consequence, effect.rule),
        "form_sha256": form_digest(form),
        "heat": case.heat_id,
        "infringement": effect.infringement,
        "lane": case.lane,
        "reasons": sent.reasons,
        "reconsiders": sent.reconsiders,
        "reports": [
            {"id": report.id, "state": report.state, "version": report.version}
            for report in made.reports
        ],
        "rests_on": list(effect.rests_on),
        "ruling": made.id,
        "rule": effect.rule,
        "separate": effect.separate,
        "team": case.team_id,
        "verdict": sent.verdict.value,
    }


def _replace(unit: Unit, replaced: RulingId, ruling_id: RulingId) -> None:
    claimed = unit.conn.execute(
        update(rulings)
        .where(rulings.c.id == replaced, rulings.c.replaced_by.is_(None))
        .values(replaced_by=ruling_id)
    )
    if claimed.rowcount != 1:
        raise StateConflict("This ruling was replaced already. Read the case again.")
    known = unit.conn.execute(
        select(disqualifications).where(disqualifications.c.by_ruling == replaced)
    ).one_or_none()
    if known is None or known.state != DisqualificationState.IN_FORCE:
        return
    step = DISQUALIFICATION_TABLE.step(
        DisqualificationState.IN_FORCE, DisqualificationAct.SET_ASIDE
    )
    unit.conn.execute(
        update(disqualifications)
        .where(disqualifications.c.id == known.id)
        .values(
            state=step.becomes.value,
            since=unit.now,
            set_aside_by=ruling_id,
            version=known.version + 1,
        )
    )


def _disqualify(unit: Unit, made: Made) -> None:
    case, effect = made.case, made.effect
    unit.conn.execute(
        insert(disqualifications).values(
            id=DisqualificationId(new_id()),
            meet_id=unit.meet_id,
            heat_id=case.heat_id,
            team_id=case.team_id,
            case_id=case.id,
            lane=case.lane,
            take_over=_take_over_of(made.reports, effect),
            infringement=effect.infringement,
            rule=effect.rule,
            state=DisqualificationState.IN_FORCE.value,
            since=unit.now,
            by_ruling=made.id,
            version=1,
        )
    )


def _take_over_of(reports: list[ReportOut], effect: Effect) -> int | None:
    """Where it happened, which the team asks first; None where the reports name several or none."""
    named = {
        report.take_over
        for report in reports
        if tells_of(report, effect.infringement) and report.state is not ReportState.WITHDRAWN
    }
    return named.pop() if len(named) == 1 else None
