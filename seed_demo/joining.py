"""How the invented officials join and sign: a personal link, one PIN for all, asked before signing.

A PIN that everybody knows is good for a demonstration only.
"""

from __future__ import annotations

import asyncio

from app.access.actions import issue_link
from app.access.joining import join_with
from app.access.signing import confirm_pin
from app.access.wire import JoinIn
from app.ids import LinkId, new_id
from app.store.action import Actor
from seed_demo.stage import Person, Stage

PIN = "480213"


def join_meet(stage: Stage, person: Person, issuer: Actor) -> None:
    """An official gets a personal link, joins with it and chooses the PIN."""
    sent = JoinIn(token=new_token(stage, person, issuer), session=person.session_id, pin=PIN)
    asyncio.run(join_with(stage.store, sent))


def new_token(stage: Stage, person: Person, issuer: Actor) -> str:
    """The token of a fresh personal link."""
    action = issue_link(person.id, LinkId(new_id()))
    link = stage.store.act_now(stage.meet_id, issuer, action).thing
    if link.token is None:
        raise ValueError(f"The personal link of {person.name} was issued before.")
    return link.token


def sign(stage: Stage, by: str) -> str:
    """Give the PIN, as a request that signs has to, and have it confirmed; returns it."""
    asyncio.run(confirm_pin(stage.store, stage.caller(by), PIN))
    return PIN
