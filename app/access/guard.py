"""The guard at every route: who is calling, and may they.

The session's token comes as `Authorization: Bearer`, never in a URL. Roles are read with every
request, so taking a role away acts at once.
"""

from __future__ import annotations

import hmac
from typing import Annotated

from fastapi import Depends, Request

from app.access.queries import Caller, caller_of
from app.access.who_may import WHO_MAY, Who
from app.refusals import NotJoined, RoleMissing
from app.services import Services, services_of
from app.store.action import Actor

FOUNDER = Actor("founder")


async def admit(request: Request) -> None:
    """Let the request through to its route, or refuse it. Leaves the caller on the request."""
    who = WHO_MAY[request.method, request.scope["route"].path]
    request.state.caller = None
    if who.public:
        return
    services = services_of(request)
    token = bearer_token(request)
    if who.founder and is_setup_key(services, token):
        return
    now = services.clock.now()
    caller = await services.store.read(lambda conn: caller_of(conn, token, now))
    if caller is None:
        raise NotJoined("This session is unknown or has ended. Join again with a personal link.")
    _insist_on_meet(request, caller)
    _insist_on_role(who, caller)
    request.state.caller = caller


def bearer_token(request: Request) -> str:
    """The token of the Authorization header; NotJoined where there is none."""
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise NotJoined("Join first: open your personal link, then send the session's token.")
    return token.strip()


def is_setup_key(services: Services, token: str) -> bool:
    """Whether this is the server's setup key, which makes meets."""
    key = services.settings.setup_key.get_secret_value()
    return bool(key) and hmac.compare_digest(key.encode(), token.encode("utf-8", "replace"))


def _insist_on_meet(request: Request, caller: Caller) -> None:
    meet = request.path_params.get("meet")
    if meet is not None and meet != caller.meet_id:
        raise RoleMissing("Your session belongs to another meet.")


def _insist_on_role(who: Who, caller: Caller) -> None:
    if caller.roles.isdisjoint(who.roles):
        needed = ", ".join(sorted(who.roles))
        raise RoleMissing(f"This needs one of these roles: {needed}.", needed=sorted(who.roles))


def the_caller(request: Request) -> Caller:
    """The official who is calling; only on routes that are not public."""
    caller: Caller | None = request.state.caller
    if caller is None:
        raise NotJoined("This needs an official's session, not the setup key.")
    return caller


def the_actor(request: Request) -> Actor:
    """Who acts: the official, or the holder of the setup key."""
    caller: Caller | None = request.state.caller
    return FOUNDER if caller is None else Actor(caller.official_id, caller.roles)


CallerHere = Annotated[Caller, Depends(the_caller)]
ActorHere = Annotated[Actor, Depends(the_actor)]
