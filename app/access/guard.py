"""The guard at every route: who is calling, and may they.

The session's token comes as `Authorization: Bearer`, or from a browser in the meet's cookie
(`cookies.py`), never in a URL. A role that is taken away is
gone with the next request: on PostgreSQL every request reads the roles, on SQLite they are
remembered until something about access changes (`known_callers.py`). What the guard learnt, and
what a route works with, comes to the route as one thing, `here`: the framework's price for each
further dependency shows in how many phones a server can take.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from fastapi.dependencies.models import Dependant

from app.access.cookies import SAFE, CameWith, insist_own_page, is_secure, token_in_cookie
from app.access.joining import is_link_token
from app.access.known_callers import Taken
from app.access.queries import Caller
from app.access.who_may import ROUTES, Who
from app.attended import attended_now
from app.clock import Clock
from app.crew_search.searching import Searches
from app.ids import MeetId
from app.record.feed import Feed
from app.refusals import Malformed, NotJoined, RoleMissing
from app.services import Services, services_of
from app.store.action import Action, Actor, Asks, Result
from app.store.store import Store
from app.wire import insist_names_once

FOUNDER = Actor("founder")


@dataclass(frozen=True, slots=True)
class Admitted:
    """A request that was let through: the services it may reach, who sent it by which session's
    token, and its document as it came, over which a phone may have signed.
    """

    services: Services
    sender: Caller | None = None
    body: bytes = b""
    token: str = ""
    taken: Taken | None = None
    """The session, where it was taken as remembered: it is insisted on where anything is stored."""

    async def act(self, meet_id: MeetId, action: Action[Result], asks: Asks) -> Result:
        """Run an action that says what it asks first; OutOfDate where a session taken as remembered
        has changed since.
        """
        if self.taken is not None:
            action, asks = self.taken.insisting(action), self.taken.insisted_on(asks)
        return await self.store.act(meet_id, self.actor, action, asks)

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
    def searches(self) -> Searches:
        """The searches for crew plans that run in this process."""
        return self.services.searches

    def one_more_file(self) -> AbstractContextManager[None]:
        """Counts a file that the caller asked for, until it is there; see `pace.py`."""
        return self.services.pace.one_more_file(self.caller.session_id)

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
    """What the guard looks at: the route, the meet in its path, and who sends it from where."""

    method: str
    template: str
    meet: str | None
    came: CameWith


async def admit(request: Request) -> Admitted:
    """Let the request through to its route, or refuse it: who it is first, then what it asks."""
    knock = Knock(
        request.method,
        request.scope["route"].path,
        request.path_params.get("meet"),
        came_with(request.headers),
    )
    has_document = request.scope["route"].body_field is not None  # read by the framework by now
    body = await request.body() if has_document else b""
    admitted = await admit_knock(services_of(request), knock, body)
    if request.scope["query_string"]:
        _insist_on_known_query(request)
    if has_document:
        insist_names_once(body)
    return admitted


async def admit_knock(
    services: Services, knock: Knock, body: bytes = b"", *, hurries: bool = False
) -> Admitted:
    """Let whoever knocks through to the route, or refuse them.

    Who hurries acts by what `Admitted.act` runs alone, so that the session may be looked at there,
    and is counted by the short way once it acts: else a request is counted twice that goes on here.
    """
    who = ROUTES[knock.method, knock.template]
    attended = attended_now()
    attended.template = knock.template
    if who.public:
        return Admitted(services, body=body)
    token = _token_of(services, knock, or_key=who.founder)
    if who.founder and is_setup_key(services, token):
        attended.actor = FOUNDER.id
        return Admitted(services, body=body)
    now = services.clock.now()
    taken = services.callers.recall(services.store, token, now) if hurries else None
    caller = taken.session.caller if taken else None
    caller = caller or await services.callers.find(services.store, token, now)
    if caller is None:
        raise NotJoined(_why_unknown(services, who, token))
    attended.actor = caller.official_id
    _insist_on_meet(knock, caller)
    _insist_on_role(who, caller)
    if knock.method not in SAFE and not hurries:
        services.pace.count_change(caller.session_id, now)
    return Admitted(services, caller, body, token, taken)


def came_with(headers: Mapping[str, str]) -> CameWith:
    """Of all headers, those that say who sends a request, and from where."""
    return CameWith(
        headers.get("authorization", ""),
        headers.get("cookie", ""),
        headers.get("sec-fetch-site", ""),
        headers.get("origin", ""),
        headers.get("host", ""),
    )


def _insist_on_known_query(request: Request) -> None:
    """Malformed for a query that the route does not know, or that is given twice.

    What was meant to change what a request does must not be passed over in silence: somebody who
    asks a route to look only, and whom it does not understand, would find the thing stored. A page
    only shows, and whoever hands its address on may add to it: what it does not know means nothing.
    """
    is_page = "text/html" in request.headers.get("accept", "") and request.method == "GET"
    only_shows = is_page and not request.url.path.startswith("/api/")
    known = sorted(_query_names(request.scope["route"].dependant))
    given = [name for name, _value in request.query_params.multi_items()]
    for name in given:
        if name not in known and not only_shows:
            there = f"It knows: {', '.join(known)}." if known else "It takes none."
            raise Malformed(
                f"This address knows no query parameter “{name[:60]}”. {there}",
                field=f"query {name[:60]}",
                known=known,
            )
        if name in known and given.count(name) > 1:
            raise Malformed(f"Give the query parameter “{name}” once.", field=f"query {name}")


def _query_names(dependant: Dependant) -> Iterator[str]:
    """The query parameters that a route and what it depends on declare."""
    yield from (field.alias for field in dependant.query_params)
    for further in dependant.dependencies:
        yield from _query_names(further)


def _token_of(services: Services, knock: Knock, *, or_key: bool) -> str:
    """The token that a request brings; NotJoined where there is none."""
    came = knock.came
    if not came.authorization and knock.meet is not None:
        token = token_in_cookie(came, knock.meet, secure=is_secure(services.settings))
        if token:
            insist_own_page(knock.method, came)
            return token
    return _token_in(came.authorization, or_key=or_key)


def _token_in(authorization: str, *, or_key: bool) -> str:
    scheme, _, token = authorization.partition(" ")
    if scheme.lower() != "bearer" or not token:
        otherwise = ", or the server's setup key" if or_key else ""
        raise NotJoined(
            "Join first: open your personal link, then send the session's token as "
            f"“Authorization: Bearer …”{otherwise}."
        )
    return token.strip()


def _why_unknown(services: Services, who: Who, token: str) -> str:
    """What a token is that opens no session here, and what to send instead."""
    if is_setup_key(services, token):
        return (
            "The setup key makes meets and issues personal links, nothing else. Join with a "
            "personal link, then send the session's token."
        )
    if is_link_token(token):
        return (
            "This is a personal link, not a session. Send it to POST /api/join, then use the "
            "token of the answer."
        )
    if who.founder:
        return (
            "This is neither the server's setup key nor a session that lasts. The key is what "
            "ZONEDOCKET_SETUP_KEY was when the server started; without that, `serve` printed one."
        )
    return "This session is unknown or has ended. Join again with a personal link."


def is_setup_key(services: Services, token: str) -> bool:
    """Whether this is the server's setup key, which makes meets."""
    key = services.settings.setup_key.get_secret_value()
    return bool(key) and hmac.compare_digest(key.encode(), token.encode("utf-8", "replace"))


def _insist_on_meet(knock: Knock, caller: Caller) -> None:
    # The path as it came: an id may be written in capitals (app/ids.py).
    if knock.meet is not None and knock.meet.lower() != caller.meet_id:
        raise RoleMissing("Your session belongs to another meet.")


def _insist_on_role(who: Who, caller: Caller) -> None:
    if caller.roles.isdisjoint(who.roles):
        needed = sorted(who.roles)
        *others, last = (one.words for one in needed)
        words = f"{', '.join(others)} or {last}" if others else last
        aside = f" ({who.aside})" if who.aside else ""
        raise RoleMissing(
            f"This needs the role of {words}{aside}. The organiser gives out the roles.",
            needed=needed,
        )


Here = Annotated[Admitted, Depends(admit)]
