"""Confirming intent: the PIN asked again for what is signed, and the statement that is signed.

1. Count the try (so that many at once do not slip through together).
2. Look at the PIN, in a thread: the hash is slow on purpose.
3. Wrong: write it into the record and refuse. Right: clear the count.
4. The act itself runs with the digest of the statement it signs: the SHA-256 of its RFC 8785 form.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256

from starlette.concurrency import run_in_threadpool

from app.access.actions import accept_pin, count_pin_try, note_wrong_pin
from app.access.queries import Caller, official_row
from app.access.secrets import pin_matches
from app.record.canonical import canonical
from app.refusals import PinRefused
from app.store.action import Actor
from app.store.store import Store


async def confirm_pin(store: Store, caller: Caller, pin: str) -> None:
    """Returns for the right PIN; PinRefused for a wrong one, TooManyTries after several."""
    actor = Actor(caller.official_id, caller.roles)
    await store.act(caller.meet_id, actor, count_pin_try(caller.tries_key))
    person = await store.read(lambda conn: official_row(conn, caller.meet_id, caller.official_id))
    stored = person.pin_hash
    if stored is None or not await run_in_threadpool(pin_matches, stored, pin):
        await store.act(caller.meet_id, actor, note_wrong_pin(caller.tries_key))
        raise PinRefused("This PIN is not right. Nothing was signed; try again.")
    await store.act(caller.meet_id, actor, accept_pin(caller.tries_key))


def statement_digest(statement: Mapping[str, object]) -> str:
    """The SHA-256 of a statement's RFC 8785 form, in hex: what a signature is over."""
    return sha256(canonical(dict(statement))).hexdigest()
