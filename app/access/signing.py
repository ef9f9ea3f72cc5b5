"""Signing on a request: the PIN asked again, or a passkey's signature, and the act that follows.

1. Where it is only looked at, nothing is asked: the action shows its statement.
2. A PIN: take the turn of this person on this device, and insist that no wait runs; look at it, in
   a thread, since the hash is slow on purpose; settle the try: wrong is counted and written into
   the record, right clears the count. Where wrong ones have meanwhile set off a wait, either is
   refused alike.
3. A passkey: its signature of its challenge is verified. Whether the challenge is the statement's
   digest, the action itself knows.
4. The act runs with the pen that came of it.
"""

from __future__ import annotations

from datetime import datetime
from typing import TypeVar

from fastapi import Request, Response
from sqlalchemy import Connection

from app.access.actions import accept_pin, refuse_pin
from app.access.guard import Admitted
from app.access.pen import Pen, Shown
from app.access.pin_threads import is_right
from app.access.queries import Caller, official_row
from app.access.sign_wire import ShownOut, Signable
from app.access.tries import insist_no_wait, turn_of
from app.answers import answer
from app.ids import MeetId
from app.record.canonical import canonical, digest_of
from app.refusals import Malformed, PinRefused
from app.store.action import Action, Actor
from app.store.store import Store

Result = TypeVar("Result")

ONE_WAY = (
    "Sign this with your PIN (“pin”) or with a passkey (“device_signature”), with one of them. To "
    "see first what you would sign, ask with check=true."
)


async def take_pen(here: Admitted, sent: Signable, *, check: bool) -> Pen:
    """The pen that this request signs with; PinRefused, TooManyTries or SignatureRefused for a
    wrong one, Malformed for none or two.
    """
    caller = here.caller
    if check:
        return Pen(caller, is_check=True)
    if (sent.pin is None) == (sent.device_signature is None):
        raise Malformed(ONE_WAY, field="/pin")
    if sent.pin is not None:
        await confirm_pin(here.store, caller, sent.pin)
        return Pen(caller, sent.shown_at, sent.statement_sha256)
    if sent.shown_at is None:
        raise Malformed(
            "A passkey signs what was shown: send the “shown_at” of that statement with it.",
            field="/shown_at",
        )
    assert sent.device_signature is not None
    # With the library of passkeys: 60 ms of a start and 6 MB, and most sign with a PIN.
    from app.access.passkeys import party_of, prove  # noqa: PLC0415

    proof = await prove(here, party_of(here.services.settings), sent.device_signature)
    return Pen(caller, sent.shown_at, sent.statement_sha256, proof)


async def act_signed(here: Admitted, meet_id: MeetId, pen: Pen, action: Action[Result]) -> Result:
    """Run a signed act; Shown where it is only looked at."""
    return await here.store.act(meet_id, here.actor, pen.bound(action))


async def answer_shown(_request: Request, shown: Exception) -> Response:
    """The answer to whoever looked at what they would sign."""
    assert isinstance(shown, Shown)
    statement = shown.statement
    return answer(
        ShownOut(
            statement=statement,
            canonical=canonical(statement).decode(),
            sha256=digest_of(statement),
            shown_at=statement["shown_at"],
        )
    )


async def confirm_pin(store: Store, caller: Caller, pin: str) -> None:
    """Returns for the right PIN; PinRefused for a wrong one, TooManyTries after several."""
    key = caller.tries_key
    async with turn_of(key):
        stored = await store.read(lambda conn: _stored_pin(conn, caller, store.clock.now()))
        is_good = stored is not None and await is_right(stored, pin)
        settle = accept_pin(key) if is_good else refuse_pin(key)
        await store.act(caller.meet_id, Actor(caller.official_id, caller.roles), settle)
    if not is_good:
        raise PinRefused("This PIN is not right. Nothing was signed; try again.")


def _stored_pin(conn: Connection, caller: Caller, now: datetime) -> str | None:
    """What is stored of the caller's PIN; TooManyTries while a wait runs."""
    insist_no_wait(conn, caller.tries_key, now)
    stored: str | None = official_row(conn, caller.meet_id, caller.official_id).pin_hash
    return stored
