"""A second signature on a decision of the jury: its secretary's, beside the chair's.

The secretary has no vote: what is signed is that this is the decision, by the digest of what the
chair has signed. It is given once, and while the decision stands.
"""

from __future__ import annotations

from app.access.pen import Pen, in_words
from app.access.queries import official_row, signature_row, signatures_on
from app.appeals.decision_queries import decision_row
from app.appeals.queries import appeal_row
from app.appeals.signed import BESIDE
from app.appeals.wire import SignatureOut
from app.ids import AppealId, DecisionId, SignatureId
from app.meets.queries import meet_facts
from app.record.kinds import Kind
from app.refusals import IdTaken, NotYours, StateConflict
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow


def sign_decision(
    decision_id: DecisionId, signature_id: SignatureId, pen: Pen
) -> Action[Put[SignatureOut]]:
    """Sign the jury's decision as its secretary, with this pen."""

    def act(unit: Unit) -> Done[Put[SignatureOut]]:
        decided = decision_row(unit.conn, unit.meet_id, decision_id)
        known = signature_row(unit.conn, signature_id)
        if known is not None:
            _insist_same(known, unit, decision_id, pen)
            return Done(Put(_signature_out(unit, decision_id), created=False), None)
        pen.insist_may_sign(unit)
        _insist_may_sign(unit, decided, pen)
        said = {
            "as": "secretary",
            "decision": decision_id,
            "decision_sha256": decided.statement_digest,
        }
        signed = pen.sign(unit, BESIDE, decision_id, said, signature_id)
        body = {"signature_id": signature_id, **signed.body}
        out = _signature_out(unit, decision_id)
        return Done(Put(out, created=True), Deed(Kind.DECISION_SIGNED, decision_id, body))

    return act


def _insist_same(known: AnyRow, unit: Unit, decision_id: DecisionId, pen: Pen) -> None:
    told = (known.meet_id, known.act, known.subject, known.official_id)
    if told != (unit.meet_id, BESIDE, decision_id, pen.caller.official_id):
        raise IdTaken("a signature", known.id)


def _insist_may_sign(unit: Unit, decided: AnyRow, pen: Pen) -> None:
    """The secretary of the panel that decided, once, and only what stands."""
    if decided.appeal_id is None:
        raise StateConflict("The referee alone signs this decision: only the jury has a secretary.")
    panel = appeal_row(unit.conn, unit.meet_id, AppealId(decided.appeal_id)).panel or {}
    if panel.get("secretary_official") != pen.caller.official_id:
        raise NotYours(
            "The secretary of this appeal's panel signs here, where it names one who is an "
            "official of the meet (“secretary_official”)."
        )
    if decided.replaced_by is not None:
        raise StateConflict("This decision no longer stands: sign the one that replaced it.")
    if signatures_on(unit.conn, unit.meet_id, BESIDE, [decided.id]):
        raise StateConflict("This decision has its secretary's signature already.")


def _signature_out(unit: Unit, decision_id: DecisionId) -> SignatureOut:
    row = signatures_on(unit.conn, unit.meet_id, BESIDE, [decision_id])[0]
    return SignatureOut(
        id=row.id,
        decision=decision_id,
        official=row.official_id,
        official_name=official_row(unit.conn, unit.meet_id, row.official_id).name,
        how=in_words(row, meet_facts(unit.conn, unit.meet_id).time_zone),
        statement_sha256=row.statement_sha256,
        signed_at=row.signed_at,
    )
