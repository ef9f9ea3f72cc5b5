"""Running the service: schema first, then the server, one process on SQLite."""

from __future__ import annotations

import signal
import socket
import sys
from collections.abc import Callable
from types import FrameType

import uvicorn

from app.clock import Clock
from app.collector import leave_what_is_there, look_seldom
from app.config import Settings
from app.connections import Connection
from app.logs import keep_log
from app.schema import REVISION
from app.server import create_app
from app.services import Services
from app.store.engine import only_process, open_engines
from app.store.revision import stored_revision

SECONDS_TO_STOP = 5
SECONDS_IDLE = 10
"""Longer than clients keep an idle line (5 s is common), so that they give it up first: a request
that meets a line just closed looks unanswered. Shorter than a request may take to come."""
MS_UNTIL_LOST = 30_000
"""After so long without a sign from a phone that walked away, its live feed is given up (RFC 5482);
else the system keeps trying for a quarter of an hour."""


def bring_up_to_date(database_url: str) -> tuple[str | None, str]:
    """Migrate the database if it needs it; returns the schema before and after."""
    engines = open_engines(database_url)
    try:
        with engines.writing.connect() as conn:
            before = stored_revision(conn)
        if before != REVISION:
            # Not at the top: it costs a third of a cold start.
            from app.migrating import insist_known, migrate  # noqa: PLC0415

            if before is not None:
                insist_known(before)
            migrate(engines.writing)
    finally:
        engines.dispose()
    return before, REVISION


def _say_where(address: str) -> None:
    print(f"Serving {address}", flush=True)


def listen(settings: Settings) -> socket.socket:
    """Take the port, before anything else is done; ValueError where it cannot be had."""
    try:
        listener = socket.create_server((settings.host, settings.port), backlog=512)
    except OSError as error:
        raise ValueError(
            f"cannot listen on {settings.host}, port {settings.port} "
            f"({error.strerror or error}); choose another with --host or --port"
        ) from error
    if hasattr(socket, "TCP_USER_TIMEOUT"):  # Linux; connections inherit it
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, MS_UNTIL_LOST)
    return listener


def serve_settings(
    settings: Settings,
    listener: socket.socket,
    clock: Clock | None = None,
    say: Callable[[str], None] = _say_where,
) -> int:
    """Serve on a socket until a signal ends it; `say` tells the address once all is ready."""
    look_seldom()
    keep_log()
    with listener:
        # Port 0 has its number by now.
        port = listener.getsockname()[1]
        settings = settings.model_copy(update={"port": port})
        app = create_app(settings, clock)
        server = uvicorn.Server(
            uvicorn.Config(
                app,
                http=Connection,
                ws="none",
                log_level="warning",
                log_config=None,  # the process has one log: see app/logs.py
                access_log=False,
                timeout_keep_alive=SECONDS_IDLE,
                timeout_graceful_shutdown=SECONDS_TO_STOP,
            )
        )
        _end_well_on_signals(server)
        services: Services = app.state.services
        log = services.request_log.written_to(sys.stderr, requests=settings.log_requests)
        with only_process(services.store.engines.url), log:
            bring_up_to_date(settings.database_url)
            say(settings.address)
            leave_what_is_there()
            server.run(sockets=[listener])
    return 0


def _end_well_on_signals(server: uvicorn.Server) -> None:
    """Being told to stop is no failure: the process ends with 0 once the server has stopped.

    While it runs, the server catches the signal itself and raises it once more when it is done.
    This answers then, and also before it runs: whoever has read the address may stop it at once.
    """

    def stop(_number: int, _frame: FrameType | None) -> None:
        server.should_exit = True

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)
