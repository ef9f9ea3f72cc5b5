"""Confirming intent: the PIN asked again for what is signed, and the statement that is signed.

1. Take the turn of this person on this device, and insist that no wait runs.
2. Look at the PIN, in a thread: the hash is slow on purpose.
3. Settle the try: wrong is counted and written into the record, right clears the count. Where
   wrong ones have meanwhile set off a wait, either is refused alike.
4. The act itself runs with the digest of the statement it signs: the SHA-256 of its RFC 8785 form.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from hashlib import sha256

from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from app.access.actions import accept_pin, refuse_pin
from app.access.queries import Caller, official_row
from app.access.secrets import pin_matches
from app.access.tries import insist_no_wait, turn_of
from app.record.canonical import canonical
from app.refusals import PinRefused, RoleMissing
from app.store.action import Actor, Unit
from app.store.store import Store


async def confirm_pin(store: Store, caller: Caller, pin: str) -> None:
    """Returns for the right PIN; PinRefused for a wrong one, TooManyTries after several."""
    key = caller.tries_key
    async with turn_of(key):
        stored = await store.read(lambda conn: _stored_pin(conn, caller, store.clock.now()))
        is_right = stored is not None and await run_in_threadpool(pin_matches, stored, pin)
        settle = accept_pin(key) if is_right else refuse_pin(key)
        await store.act(caller.meet_id, Actor(caller.official_id, caller.roles), settle)
    if not is_right:
        raise PinRefused("This PIN is not right. Nothing was signed; try again.")


def _stored_pin(conn: Connection, caller: Caller, now: datetime) -> str | None:
    """What is stored of the caller's PIN; TooManyTries while a wait runs."""
    insist_no_wait(conn, caller.tries_key, now)
    stored: str | None = official_row(conn, caller.meet_id, caller.official_id).pin_hash
    return stored


def insist_may_sign(unit: Unit, caller: Caller) -> None:
    """Within the act itself: whoever gave the PIN may still do what it is for.

    Looking at a PIN takes its time, in which roles are taken away and links issued anew.
    """
    known = official_row(unit.conn, caller.meet_id, caller.official_id)
    if not known.active or known.pin_hash is None or not caller.roles <= set(known.roles):
        raise RoleMissing(
            "Your roles or your PIN were changed while this was on its way. Nothing was signed."
        )


def statement_digest(statement: Mapping[str, object]) -> str:
    """The SHA-256 of a statement's RFC 8785 form, in hex: what a signature is over."""
    return sha256(canonical(dict(statement))).hexdigest()
