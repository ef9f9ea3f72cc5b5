"""The guard at every route: who is calling, and may they.

The session's token comes as `Authorization: Bearer`, never in a URL. Roles are read with every
request, so taking a role away acts at once. What the guard learnt, and what a route works with,
comes to the route as one thing, `here`: the framework's price for each further dependency shows
in how many phones a server can take.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from app.access.queries import Caller
from app.access.who_may import WHO_MAY, Who
from app.clock import Clock
from app.record.feed import Feed
from app.refusals import NotJoined, RoleMissing
from app.services import Services, services_of
from app.store.action import Actor
from app.store.store import Store

FOUNDER = Actor("founder")


@dataclass(frozen=True, slots=True)
class Admitted:
    """A request that was let through: the services it may reach, and who sent it."""

    services: Services
    sender: Caller | None = None

    @property
    def store(self) -> Store:
        """The store."""
        return self.services.store

    @property
    def clock(self) -> Clock:
        """The clock."""
        return self.services.clock

    @property
    def feed(self) -> Feed:
        """The live feed."""
        return self.services.feed

    @property
    def caller(self) -> Caller:
        """The official who is calling; NotJoined on a route that was reached without a session."""
        if self.sender is None:
            raise NotJoined("This needs an official's session, not the setup key.")
        return self.sender

    @property
    def actor(self) -> Actor:
        """Who acts: the official, or the holder of the setup key."""
        if self.sender is None:
            return FOUNDER
        return Actor(self.sender.official_id, self.sender.roles)


@dataclass(frozen=True, slots=True)
class Knock:
    """What the guard looks at: the route, the meet in its path, and the Authorization header."""

    method: str
    template: str
    meet: str | None
    authorization: str


async def admit(request: Request) -> Admitted:
    """Let the request through to its route, or refuse it."""
    knock = Knock(
        request.method,
        request.scope["route"].path,
        request.path_params.get("meet"),
        request.headers.get("authorization", ""),
    )
    return await admit_knock(services_of(request), knock)


async def admit_knock(services: Services, knock: Knock) -> Admitted:
    """Let whoever knocks through to the route, or refuse them."""
    who = WHO_MAY[knock.method, knock.template]
    if who.public:
        return Admitted(services)
    token = _token_in(knock.authorization)
    if who.founder and is_setup_key(services, token):
        return Admitted(services)
    now = services.clock.now()
    caller = await services.callers.find(services.store, token, now)
    if caller is None:
        raise NotJoined("This session is unknown or has ended. Join again with a personal link.")
    _insist_on_meet(knock, caller)
    _insist_on_role(who, caller)
    return Admitted(services, caller)


def bearer_token(request: Request) -> str:
    """The token of the Authorization header; NotJoined where there is none."""
    return _token_in(request.headers.get("authorization", ""))


def _token_in(authorization: str) -> str:
    scheme, _, token = authorization.partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise NotJoined("Join first: open your personal link, then send the session's token.")
    return token.strip()


def is_setup_key(services: Services, token: str) -> bool:
    """Whether this is the server's setup key, which makes meets."""
    key = services.settings.setup_key.get_secret_value()
    return bool(key) and hmac.compare_digest(key.encode(), token.encode("utf-8", "replace"))


def _insist_on_meet(knock: Knock, caller: Caller) -> None:
    if knock.meet is not None and knock.meet != caller.meet_id:
        raise RoleMissing("Your session belongs to another meet.")


def _insist_on_role(who: Who, caller: Caller) -> None:
    if caller.roles.isdisjoint(who.roles):
        needed = ", ".join(sorted(who.roles))
        raise RoleMissing(f"This needs one of these roles: {needed}.", needed=sorted(who.roles))


Here = Annotated[Admitted, Depends(admit)]
