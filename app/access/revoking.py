"""Devices' keys are revoked from a time on.

What a key has signed before stays good; what it signed from then on is listed, not undone. A
session that ends takes its keys along.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, bindparam, func, select, update

from app.access.queries import key_out, key_row
from app.access.sign_wire import KeyOut, RevokeIn
from app.access.tables import device_keys, sessions, signatures
from app.clock import rfc3339
from app.ids import KeyId, OfficialId
from app.record.kinds import Kind
from app.record.queries import is_closed
from app.refusals import Malformed, NotFound
from app.store.action import Action, Deed, Done, Unit

SHORTEST = timedelta(microseconds=1)
"""What parts two instants that are stored."""
_LAST_SIGNED = select(func.max(signatures.c.signed_at)).where(
    signatures.c.key_id == bindparam("key")
)
NOT_KEPT = "not kept, since the meet was erased"


def revoke_key(official: OfficialId, key_id: KeyId, sent: RevokeIn) -> Action[KeyOut]:
    """From then on the key signs nothing. Said again, it can only come to be earlier."""

    def act(unit: Unit) -> Done[KeyOut]:
        row = key_row(unit.conn, unit.meet_id, key_id)
        if row is None or row.official_id != official:
            raise NotFound("There is no such key of this official at this meet.")
        if sent.revoked_from is not None and sent.revoked_from > unit.now:
            raise Malformed(
                "A key is revoked from now on, or from an earlier time.", field="/revoked_from"
            )
        start = sent.revoked_from or _from_now_on(unit, key_id)
        if row.revoked_from is not None and row.revoked_from <= start:
            return Done(key_out(unit.conn, unit.meet_id, key_id), None)
        values = {"revoked_from": start, "revoked_at": unit.now}
        unit.conn.execute(update(device_keys).where(device_keys.c.id == key_id).values(**values))
        out = key_out(unit.conn, unit.meet_id, key_id)
        reason = NOT_KEPT if is_closed(unit.conn, unit.meet_id) else sent.reason
        body = {**_revoked(key_id, official, start), "reason": reason}
        return Done(out, Deed(Kind.KEY_REVOKED, key_id, body))

    return act


def _from_now_on(unit: Unit, key_id: str) -> datetime:
    """Now; where the clock was set back since the key has signed last, right after that: unasked a
    revoking reaches nothing that was signed before.
    """
    last = unit.conn.execute(_LAST_SIGNED, {"key": key_id}).scalar_one()
    return unit.now if last is None or last < unit.now else last + SHORTEST


def _revoked(key_id: str, official: str, start: datetime) -> dict[str, Any]:
    return {"key": key_id, "official": official, "revoked_from": rfc3339(start)}


def revoke_keys_of(unit: Unit, which: ColumnElement[bool]) -> Mapping[str, Sequence[Any]]:
    """Revoke, from now on, the keys that were registered in these sessions; returns what the record
    keeps of it, nothing where there were none.
    """
    of_sessions = device_keys.c.session_id.in_(select(sessions.c.id).where(which))
    theirs = of_sessions & device_keys.c.revoked_from.is_(None)
    found = unit.conn.execute(
        select(device_keys.c.id, device_keys.c.official_id).where(theirs).order_by(device_keys.c.id)
    ).all()
    if not found:
        return {}
    since = {one.id: _from_now_on(unit, one.id) for one in found}
    for key, start in since.items():
        values = {"revoked_from": start, "revoked_at": unit.now}
        unit.conn.execute(update(device_keys).where(device_keys.c.id == key).values(**values))
    return {"keys_revoked": [_revoked(one.id, one.official_id, since[one.id]) for one in found]}
