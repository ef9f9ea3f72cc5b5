"""Assembly: the one place that picks implementations and puts the service together."""

from __future__ import annotations

import signal
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from contextlib import asynccontextmanager
from types import FrameType
from typing import Any

from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute
from starlette.routing import BaseRoute
from starlette.types import ASGIApp

from app import __version__, operating, problems
from app.access import routes as access
from app.access.cookies import is_secure
from app.access.known_callers import KnownCallers
from app.access.pace import Pace
from app.access.pen import Shown
from app.access.signing import answer_shown
from app.access.who_may import ROUTES
from app.answering_head import AnswerHead
from app.appeals import jury_routes, paper_routes
from app.appeals import routes as appeals
from app.attending import Attend
from app.browsers import TellBrowsers
from app.casefiles import routes as casefiles
from app.clock import Clock, SystemClock
from app.config import Settings
from app.content_coding import RefuseCoded
from app.crew import routes as crew
from app.crew_search import routes as crew_search
from app.crew_search.searching import Searches
from app.describing import describe
from app.exporting import routes as exporting
from app.guarded import is_guarded
from app.keeping import KeepNothing
from app.meet_report import routes as meet_report
from app.meets import routes as meets
from app.pages import routers as pages
from app.pages.refused import as_page
from app.pictures import routes as pictures
from app.record import routes as record
from app.record.feed import Feed
from app.record.log import Keeper
from app.rehearsals import routes as rehearsals
from app.reports import routes as reports
from app.results import routes as results
from app.rounds import routes as rounds
from app.rulings import routes as rulings
from app.sealing import routes as sealing
from app.sealing.seals import Seals, key_store
from app.sealing.stamping import Stamping
from app.services import Services
from app.short_way import ShortWay
from app.store.action import Committed
from app.store.hearing import hearing
from app.store.store import Store
from app.straight_way import StraightWay
from app.surveys import routes as surveys
from app.watching import routes as watching

LARGEST_BODY = 64 * 1024

# Of two that a request fits, the earlier one answers.
ROUTERS: tuple[APIRouter, ...] = (
    reports.router,
    results.router,
    pictures.router,
    meets.router,
    rulings.router,
    appeals.router,
    jury_routes.router,
    paper_routes.router,
    rounds.router,
    crew.router,
    surveys.router,
    crew_search.router,
    rehearsals.router,
    watching.router,
    meet_report.router,
    record.router,
    sealing.router,
    exporting.router,
    casefiles.router,
    access.router,
    *pages.ROUTERS,
    operating.router,
)


class Application(FastAPI):
    """The framework's application, inside what gives its last plain answers a problem document."""

    def build_middleware_stack(self) -> ASGIApp:
        """All middleware, with those outermost that each request and each answer go through."""
        self.router.middleware_stack = StraightWay(self.router.middleware_stack, _guarded_routes())
        others = problems.TellTooLarge(super().build_middleware_stack())
        within = ShortWay(others, reports.HURRIED, largest=LARGEST_BODY)
        services: Services = self.state.services
        told = AnswerHead(TellBrowsers(within, secure=is_secure(services.settings)))
        return Attend(told, services.measures, services.request_log)

    def openapi(self) -> dict[str, Any]:
        """The OpenAPI document, made once."""
        if self.openapi_schema is None:
            routes = (route for router in ROUTERS for route in router.routes)
            self.openapi_schema = describe(super().openapi(), routes)
        return self.openapi_schema


def create_app(
    settings: Settings | None = None,
    clock: Clock | None = None,
    open_store: Callable[..., Store] = Store,
) -> FastAPI:
    """The service over one database, with the clock that all of it tells the time by."""
    settings = settings or Settings()
    clock = clock or SystemClock()
    feed = Feed()
    callers = KnownCallers()

    def notify(committed: Committed) -> None:
        callers.notice(committed)
        feed.reach(committed.sizes)

    store = open_store(settings.database_url, clock, Keeper(), notify)
    app = Application(
        title="Zone Docket",
        version=__version__,
        summary="Relay zone reports, from an umpire's flag to a ruling and an announced result.",
        lifespan=_lifespan,
        # The framework's pages for the document load scripts from another host.
        docs_url=None,
        redoc_url=None,
        # The framework would build the right address from the Host header, which anybody may set.
        redirect_slashes=False,
        max_body_size=LARGEST_BODY,
    )
    seals = Seals(store, key_store(settings), Stamping.by(settings))
    pace = Pace(settings.changes_a_minute)
    searches = Searches(store)
    app.state.services = Services(settings, clock, store, feed, callers, seals, pace, searches)
    app.router.routes.extend(_guarded_routes())
    _insist_all_declared()
    app.add_middleware(RefuseCoded)
    app.add_middleware(KeepNothing)
    problems.install(app, as_page)
    app.add_exception_handler(Shown, answer_shown)
    return app


def _guarded_routes() -> Iterator[APIRoute]:
    """All routes, as they are: a router that is included has each of them built a second time, at
    the first request, and makes each match take three times as long.
    """
    for router in ROUTERS:
        for route in router.routes:
            if not (isinstance(route, APIRoute) and is_guarded(route)):
                raise RuntimeError(f"this route would admit anybody unasked: {route}")
            yield route


def declared_routes() -> Iterable[tuple[str, str]]:
    """Every method and path template of the service."""
    for router in ROUTERS:
        for route in router.routes:
            yield from _methods(route)


def _methods(route: BaseRoute) -> Iterable[tuple[str, str]]:
    path: str = getattr(route, "path", "")
    for method in getattr(route, "methods", None) or ():
        if method != "HEAD":
            yield method, path


def _insist_all_declared() -> None:
    undeclared = set(declared_routes()) ^ ROUTES.keys()
    if undeclared:
        raise RuntimeError(f"who may call these routes is not declared: {sorted(undeclared)}")


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    services: Services = app.state.services
    feed, store = services.feed, services.store
    feed.start(store)
    store.start()
    _end_streams_on_signals(feed)
    try:
        with hearing(store.engines, feed.reach, feed.hear):
            yield
    finally:
        services.searches.close()
        feed.stop()
        store.stop()


def _end_streams_on_signals(feed: Feed) -> None:
    """Say goodbye on open streams first, then do what the server does on the signal.

    The server waits for open answers before it runs the end of the lifespan, and a live feed is an
    answer that never ends; so the farewell cannot wait for that.
    """
    for number in (signal.SIGTERM, signal.SIGINT):
        before = signal.getsignal(number)

        def handle(got: int, frame: FrameType | None, before: object = before) -> None:
            feed.stop()
            if callable(before):
                before(got, frame)

        try:
            signal.signal(number, handle)
        except ValueError:  # not the main thread: whoever embeds the service stops it itself
            return
