"""How an official registers a device's key, with the PIN."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from pydantic_core import to_json
from sqlalchemy import insert, select

from app.access.guard import Admitted
from app.access.key_kinds import PASSKEY, NewKey, insist_on_room
from app.access.pen import Pen
from app.access.phone_keys import read_public_key
from app.access.queries import Caller, count_live_keys, key_out, key_row
from app.access.sign_wire import KeyIn, KeyOut
from app.access.tables import device_keys
from app.ids import KeyId
from app.record.kinds import Kind
from app.refusals import IdTaken, Malformed, StateConflict
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow


def said(sent: KeyIn) -> str:
    """The SHA-256 of what was sent: two sendings of one key have the same."""
    return sha256(to_json(sent.model_dump(mode="json", exclude={"pin"}))).hexdigest()


async def read_key(here: Admitted, key_id: KeyId, sent: KeyIn) -> NewKey | None:
    """The key that a device has made; None for one that is known, which was looked at before."""
    known = await here.store.read(lambda conn: key_row(conn, here.caller.meet_id, key_id))
    if known is not None:
        return None
    _insist_of_one_kind(sent)
    if sent.kind != PASSKEY:
        return read_public_key(sent)
    from app.access.passkeys import read_attestation  # noqa: PLC0415  (see `signing.py`)

    return await read_attestation(here, sent)


def _insist_of_one_kind(sent: KeyIn) -> None:
    attested = sent.attestation_object is not None and sent.client_data_json is not None
    if sent.kind == PASSKEY and (not attested or sent.public_key is not None):
        raise Malformed(
            "A passkey comes with “attestation_object” and “client_data_json”, and without "
            "“public_key”.",
            field="/attestation_object",
        )
    bare = sent.attestation_object is None and sent.client_data_json is None
    if sent.kind != PASSKEY and (not bare or sent.public_key is None):
        raise Malformed("A phone key comes with its “public_key” alone.", field="/public_key")


def register_key(
    key_id: KeyId, sent: KeyIn, made: NewKey | None, caller: Caller
) -> Action[Put[KeyOut]]:
    """Keep a device's key for its official. The PIN was confirmed before."""
    content = said(sent)

    def act(unit: Unit) -> Done[Put[KeyOut]]:
        known = unit.conn.execute(
            select(device_keys).where(device_keys.c.id == key_id)
        ).one_or_none()
        if known is not None or made is None:
            _insist_same(known, unit, caller, content, key_id)
            return Done(Put(key_out(unit.conn, unit.meet_id, key_id), created=False), None)
        Pen(caller).insist_may_sign(unit)
        _insist_new(unit, made)
        insist_on_room(count_live_keys(unit.conn, unit.meet_id, caller.official_id))
        unit.conn.execute(
            insert(device_keys).values(
                id=key_id,
                meet_id=unit.meet_id,
                official_id=caller.official_id,
                session_id=caller.session_id,
                kind=made.kind,
                public_key=made.public_key,
                credential=made.credential,
                sign_count=made.sign_count,
                device=sent.device,
                registered_at=unit.now,
                content=content,
            )
        )
        out = key_out(unit.conn, unit.meet_id, key_id)
        body = _registered(key_id, made, caller, sent.device)
        return Done(Put(out, created=True), Deed(Kind.KEY_REGISTERED, key_id, body))

    return act


def _registered(key_id: KeyId, made: NewKey, caller: Caller, device: str) -> dict[str, Any]:
    return {
        "key": key_id,
        "kind": made.kind,
        "official": caller.official_id,
        "public_key": made.public_key,
        "credential": made.credential or None,
        "rp_id": made.rp_id,
        "origin": made.origin,
        "device": device,
    }


def _insist_same(
    known: AnyRow | None, unit: Unit, caller: Caller, content: str, key_id: KeyId
) -> None:
    if known is None or (known.meet_id, known.official_id, known.content) != (
        unit.meet_id,
        caller.official_id,
        content,
    ):
        raise IdTaken("a key", key_id)


def _insist_new(unit: Unit, made: NewKey) -> None:
    """One key speaks for one official."""
    same = select(device_keys.c.id).where(
        device_keys.c.meet_id == unit.meet_id, device_keys.c.public_key == made.public_key
    )
    if unit.conn.execute(same).first() is not None:
        raise StateConflict(
            "This key is registered at this meet already. Use it under the id that it has, or make "
            "a new one."
        )
