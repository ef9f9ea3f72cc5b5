"""Officials who have joined: named, given a personal link and joined, by the service's own acts.

Not over HTTP, where `tests/access` does each of it: that took 21 requests a meet, and a third of
what a test cost. What many do at the same time, the service stores together.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field

from app.access.actions import issue_link, name_official
from app.access.joining import join_with
from app.access.wire import JoinIn, OfficialIn
from app.ids import LinkId, MeetId, OfficialId, new_id
from app.roles import Role
from app.store.action import Actor
from app.store.store import Store

PIN = "480213"


@dataclass(frozen=True, slots=True)
class Newcomer:
    """Somebody who is to be an official."""

    name: str
    roles: Sequence[str]
    affiliation: str = ""
    id: str = field(default_factory=new_id)


async def welcome(
    store: Store, meet: MeetId, organiser: Actor, newcomers: Sequence[Newcomer]
) -> list[str]:
    """All are named and join; gives the tokens of their sessions."""
    await asyncio.gather(*(_name(store, meet, organiser, one) for one in newcomers))
    return await asyncio.gather(*(join(store, meet, organiser, one.id) for one in newcomers))


async def _name(store: Store, meet: MeetId, organiser: Actor, one: Newcomer) -> None:
    roles = [Role(role) for role in one.roles]
    sent = OfficialIn(name=one.name, affiliation=one.affiliation, roles=roles)
    await store.act(meet, organiser, name_official(OfficialId(one.id), sent))


async def join(store: Store, meet: MeetId, issuer: Actor, official: str) -> str:
    """A personal link is issued and used; gives the token of the session."""
    issued = await store.act(meet, issuer, issue_link(OfficialId(official), LinkId(new_id())))
    token = issued.thing.token
    assert token is not None
    joined = await join_with(store, JoinIn(token=token, session=new_id(), pin=PIN))
    return joined.token
