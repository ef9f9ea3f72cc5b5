"""What can this machine do at all? A bare ASGI endpoint that makes one durable insert.

It keeps the body it was sent under the id in the path and answers after the commit, as the service
does, and does nothing else: no session, no validation, no finding, no record. It stands on the same
server and the same engine, with the same promise at every commit. It imports nothing of the
service, so that its start, too, is the least that a server takes.
"""

from __future__ import annotations

import gc
import os
import socket
import sqlite3
from collections.abc import Callable
from typing import Protocol

import uvicorn
from starlette.types import Receive, Scope, Send

SQLITE = "sqlite:///"
ANSWERED = {201: b'{"stored":true}', 200: b'{"status":"alive"}'}

Insert = Callable[[str, str], object]


class Closable(Protocol):
    """A connection, whichever driver it is of."""

    def close(self) -> None: ...


class BareEndpoint:
    """PUT keeps the body; anything else is only answered."""

    def __init__(self, database_url: str) -> None:
        self._insert: Insert
        self._connection: Closable
        if database_url.startswith(SQLITE):
            self._open_sqlite(database_url.removeprefix(SQLITE))
        else:
            self._open_postgresql(database_url)

    def _open_sqlite(self, path: str) -> None:
        connection = sqlite3.connect(path, isolation_level=None)
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("CREATE TABLE IF NOT EXISTS bare (id TEXT PRIMARY KEY, body TEXT)")
        # In autocommit mode the statement is its own transaction, synced before it returns.
        insert = "INSERT INTO bare VALUES (?, ?)"
        self._insert = lambda chosen, body: connection.execute(insert, (chosen, body))
        self._connection = connection

    def _open_postgresql(self, database_url: str) -> None:
        import psycopg

        connection = psycopg.connect(database_url, autocommit=True)
        connection.execute("CREATE TABLE IF NOT EXISTS bare (id text PRIMARY KEY, body text)")
        insert = "INSERT INTO bare VALUES (%s, %s)"
        self._insert = lambda chosen, body: connection.execute(insert, (chosen, body))
        self._connection = connection

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._live(receive, send)
            return
        body = await _read_body(receive)
        if scope["method"] == "PUT":
            self._insert(scope["path"].rsplit("/", 1)[1], body.decode())
            await _answer(send, 201)
        else:
            await _answer(send, 200)

    async def _live(self, receive: Receive, send: Send) -> None:
        await receive()
        await send({"type": "lifespan.startup.complete"})
        await receive()
        self._connection.close()
        await send({"type": "lifespan.shutdown.complete"})


async def _read_body(receive: Receive) -> bytes:
    parts, more = [], True
    while more:
        message = await receive()
        parts.append(message.get("body", b""))
        more = message.get("more_body", False)
    return b"".join(parts)


async def _answer(send: Send, status: int) -> None:
    body = ANSWERED[status]
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def serve(database_url: str) -> None:
    """Serve on a free port with the settings of the service, until a signal ends it."""
    with socket.create_server(("127.0.0.1", 0), backlog=512) as listener:
        # Head and body leave as two segments; without this the second one waits some 40 ms for
        # the first one's acknowledgement. Accepted connections take it over from the listener.
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        print(f"Serving http://127.0.0.1:{listener.getsockname()[1]}", flush=True)
        endpoint = BareEndpoint(database_url)
        config = uvicorn.Config(
            endpoint, log_level="warning", access_log=False, timeout_graceful_shutdown=5
        )
        gc.collect()
        gc.freeze()
        gc.set_threshold(20_000, 20, 100)
        uvicorn.Server(config).run(sockets=[listener])


if __name__ == "__main__":
    serve(os.environ["DATABASE_URL"])
