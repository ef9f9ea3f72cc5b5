"""The straight way to a route: the one that the framework would find, for whatever is asked."""

from __future__ import annotations

import asyncio
import re
from typing import Any

import pytest
from fastapi import APIRouter
from fastapi.routing import APIRoute
from hypothesis import example, given
from hypothesis import strategies as st
from starlette.routing import Match
from starlette.types import Message, Receive, Scope, Send

from app import server
from app.access.who_may import ROUTES
from app.config import Settings
from app.ids import new_id
from app.straight_way import StraightWay

ALL = [route for router in server.ROUTERS for route in router.routes if isinstance(route, APIRoute)]
SEGMENTS = sorted({one for route in ALL for one in route.path.split("/")})
BROWSER = [(b"accept", b"text/html"), (b"sec-fetch-dest", b"document")]


async def nobody(scope: Scope, receive: Receive, send: Send) -> None:
    """The framework's way."""
    scope["went"] = "the framework's way"


STRAIGHT = StraightWay(nobody, ALL)


def asked(method: str, path: str, headers: list[tuple[bytes, bytes]]) -> Scope:
    return {"type": "http", "method": method, "path": path, "headers": headers}


def found_by_trying_all(scope: Scope) -> APIRoute | None:
    return next((route for route in ALL if route.matches(dict(scope))[0] is Match.FULL), None)


def found_straight(scope: Scope) -> APIRoute | None:
    return next(
        (
            route
            for route in STRAIGHT.candidates(scope["path"])
            if route.matches(dict(scope))[0] is Match.FULL
        ),
        None,
    )


@pytest.mark.parametrize(("method", "template"), sorted(ROUTES))
def test_each_route_is_found_among_a_few(method: str, template: str) -> None:
    path = re.sub(r"{\w+(:path)?}", new_id(), template)
    scope = asked(method, path, BROWSER)
    route = found_straight(scope)
    assert route is not None
    assert route.path == template
    assert method in route.methods
    assert route is found_by_trying_all(scope)
    assert len(STRAIGHT.candidates(path)) <= 10


@given(
    st.sampled_from(["GET", "PUT", "POST", "DELETE", "PATCH", "HEAD"]),
    st.lists(st.sampled_from([*SEGMENTS, "", "assets", "01890a5d", "a b", "ä", "\n"]), max_size=8),
    st.sampled_from([[], BROWSER]),
)
def test_whatever_is_asked_it_leads_where_trying_all_routes_leads(
    method: str, segments: list[str], headers: list[tuple[bytes, bytes]]
) -> None:
    insist_it_leads_alike(asked(method, "/" + "/".join(segments), headers))


@example("/\n")
@example("/healthz\n")
@given(st.text(max_size=40))
def test_so_it_does_for_any_path(path: str) -> None:
    insist_it_leads_alike(asked("GET", path, []))


def insist_it_leads_alike(scope: Scope) -> None:
    """To the same route; a path that ends with a line break has another shape to a pattern that
    ends with `$`, and may go the framework's way.
    """
    found, expected = found_straight(scope), found_by_trying_all(scope)
    assert found is expected or (found is None and scope["path"].endswith("\n"))


@pytest.mark.parametrize("sent", ["lifespan", "websocket"])
def test_what_is_no_request_goes_the_frameworks_way(sent: str) -> None:
    scope: dict[str, Any] = {"type": sent, "path": "/healthz"}

    async def receive() -> Message:
        raise AssertionError("nothing is read here")

    async def send(message: Message) -> None:
        raise AssertionError("nothing is answered here")

    asyncio.run(STRAIGHT(scope, receive, send))
    assert scope["went"] == "the framework's way"


def test_a_route_that_asks_nobody_who_comes_keeps_the_program_from_starting(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def tell_secrets() -> str:
        return "secret"

    open_to_all = APIRouter()
    open_to_all.add_api_route("/healthz", tell_secrets)
    monkeypatch.setattr(server, "ROUTERS", (*server.ROUTERS, open_to_all))
    with pytest.raises(RuntimeError, match="unasked"):
        server.create_app(Settings(_env_file=None))
