"""The straight way to a route: the one that the framework would find, for whatever is asked."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path
from typing import Any
from unittest.mock import patch

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
    """Which route answers, if one does; it knows then what its path says."""
    answered: list[APIRoute] = []

    async def note(route: APIRoute, given: Scope, receive: Receive, send: Send) -> None:
        assert given["route"] is route
        assert given["path_params"] == route.matches(dict(scope))[1]["path_params"]
        answered.append(route)

    given = dict(scope)
    with patch.object(APIRoute, "handle", note):
        asyncio.run(STRAIGHT(given, receive_nothing, send_nothing))
    assert bool(answered) != ("went" in given)  # one or the other, and once
    return answered[0] if answered else None


async def receive_nothing() -> Message:
    raise AssertionError("nothing is read here")


async def send_nothing(message: Message) -> None:
    raise AssertionError("nothing is answered here")


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


@example("/\n", 0, "")
@example("/healthz\n", 0, "")
@given(
    st.sampled_from([re.sub(r"{\w+(:path)?}", "x", route.path) for route in ALL]),
    st.integers(0, 60),
    st.text(max_size=2),
)
def test_so_it_does_for_a_path_that_is_nearly_a_routes(path: str, place: int, put_in: str) -> None:
    insist_it_leads_alike(asked("GET", path[:place] + put_in + path[place:], BROWSER))


def insist_it_leads_alike(scope: Scope) -> None:
    """To the same route; a path that ends with a line break has another shape to a pattern that
    ends with `$`, and may go the framework's way.
    """
    found, expected = found_straight(scope), found_by_trying_all(scope)
    assert found is expected or (found is None and scope["path"].endswith("\n"))


@pytest.mark.parametrize("sent", ["lifespan", "websocket"])
def test_what_is_no_request_goes_the_frameworks_way(sent: str) -> None:
    scope: dict[str, Any] = {"type": sent, "path": "/healthz"}

    asyncio.run(STRAIGHT(scope, receive_nothing, send_nothing))
    assert scope["went"] == "the framework's way"


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    unused = f"sqlite:///{tmp_path / 'unused.db'}"
    return Settings(_env_file=None).model_copy(update={"database_url": unused})


def test_the_service_goes_the_straight_way(settings: Settings) -> None:
    app = server.create_app(settings)
    app.build_middleware_stack()
    assert isinstance(app.router.middleware_stack, StraightWay)


def test_a_route_that_asks_nobody_who_comes_keeps_the_program_from_starting(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def tell_secrets() -> str:
        return "secret"

    open_to_all = APIRouter()
    open_to_all.add_api_route("/healthz", tell_secrets)
    monkeypatch.setattr(server, "ROUTERS", (*server.ROUTERS, open_to_all))
    with pytest.raises(RuntimeError, match="unasked"):
        server.create_app(settings)
