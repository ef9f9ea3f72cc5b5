"""Phones, tablets and browsers on their lines to the server, thousands of them in one event loop.

One request at a time on each line, in plain HTTP/1.1: a client library would take longer for a
request than the server does. A line that was idle for some seconds is given up, as browsers do.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass
from time import perf_counter
from typing import Any
from urllib.parse import urlsplit

from tests.bench.season.ledger import Ledger

IDLE_AT_MOST = 5.0
PATIENCE = 30.0
LARGEST_HEAD = 1 << 16


class NoAnswer(Exception):
    """The line broke, or nothing came in time."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What came: its status, its ETag, its body, and when it was asked for and whole."""

    status: int
    etag: str | None
    body: bytes
    sent_at: float
    came_at: float

    @property
    def is_good(self) -> bool:
        return 200 <= self.status < 300

    @property
    def document(self) -> Any:
        return json.loads(self.body)

    @property
    def problem(self) -> str:
        """The type of a refusal, in short."""
        with suppress(ValueError, KeyError):
            return str(self.document["type"]).rsplit("/", 1)[1]
        return ""


class Line:
    """One connection of one person, opened when it is needed."""

    def __init__(self, address: str, token: str, ledger: Ledger) -> None:
        parts = urlsplit(address)
        self._where = (parts.hostname, parts.port)
        self._head = f"Host: {parts.netloc}\r\nAccept-Encoding: gzip\r\n"
        self._head += f"Authorization: Bearer {token}\r\n" if token else ""
        self._ledger = ledger
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self._used_at = 0.0
        self._free = asyncio.Lock()

    async def ask(
        self,
        what: str,
        method: str,
        path: str,
        document: object = None,
        etag: str | None = None,
        known: str | None = None,
    ) -> Answer:
        """One request, counted under `what`; `known` is the ETag of what is at hand.

        NoAnswer where none comes. Whatever cannot be expected is counted as an error: a 5xx, and a
        refusal that does not say that somebody else was first.
        """
        request = self._request(method, path, document, etag, known)
        async with self._free:
            try:
                async with asyncio.timeout(PATIENCE):
                    answer = await self._exchange(request)
            except (OSError, EOFError, TimeoutError) as error:
                self.close()
                self._ledger.errors[f"{what}: no answer ({type(error).__name__})"] += 1
                raise NoAnswer from error
        self._count(what, answer)
        return answer

    def _request(
        self, method: str, path: str, document: object, etag: str | None, known: str | None
    ) -> bytes:
        body, head = b"", self._head
        if document is not None:
            text = isinstance(document, str)
            body = document.encode() if isinstance(document, str) else json.dumps(document).encode()
            head += f"Content-Type: {'text/csv' if text else 'application/json'}\r\n"
        if method != "GET":
            head += f"Content-Length: {len(body)}\r\n"
        head += f"If-Match: {etag}\r\n" if etag else ""
        head += f"If-None-Match: {known}\r\n" if known else ""
        return f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode() + body

    async def _exchange(self, request: bytes) -> Answer:
        sent_at = perf_counter()
        if self._streams is None or sent_at - self._used_at > IDLE_AT_MOST:
            self.close()
            self._streams = await asyncio.open_connection(*self._where, limit=LARGEST_HEAD)
        reader, writer = self._streams
        writer.write(request)
        head = await reader.readuntil(b"\r\n\r\n")
        status, fields = parted(head)
        length = int(fields.get("content-length", 0))
        body = await reader.readexactly(length) if status != 304 and length else b""
        self._used_at = perf_counter()
        return Answer(status, fields.get("etag"), body, sent_at, self._used_at)

    def _count(self, what: str, answer: Answer) -> None:
        self._ledger.answers[what].append(answer.came_at - answer.sent_at)
        if answer.status == 304:
            self._ledger.unchanged[what] += 1
        elif answer.status == 412:
            self._ledger.overtaken[f"{what}: 412 {answer.problem}"] += 1
        elif not answer.is_good:
            self._ledger.errors[f"{what}: {answer.status} {answer.problem}"] += 1

    async def follow(self, what: str, path: str) -> AsyncIterator[dict[str, Any]]:
        """The entries of a live feed, for as long as it is open; taken up again where it broke."""
        place = ""
        while True:
            try:
                async for seq, entry in self._entries(what, path, place):
                    place = seq
                    yield entry
            except (OSError, EOFError) as error:
                self._ledger.errors[f"{what}: it broke ({type(error).__name__})"] += 1
            self.close()
            await asyncio.sleep(1)

    async def _entries(
        self, what: str, path: str, place: str
    ) -> AsyncIterator[tuple[str, dict[str, Any]]]:
        asked = f"Last-Event-ID: {place}\r\n" if place else ""
        began = perf_counter()
        reader, writer = self._streams = await asyncio.open_connection(*self._where)
        writer.write(f"GET {path} HTTP/1.1\r\n{self._head}{asked}\r\n".encode())
        status, _fields = parted(await reader.readuntil(b"\r\n\r\n"))
        if status != 200:
            self._ledger.errors[f"{what}: {status}"] += 1
            return
        while True:
            event = await reader.readuntil(b"\n\n")
            if began:
                self._ledger.answers[what].append(perf_counter() - began)
                began = 0.0
            fields = dict(
                line.split(": ", 1) for line in event.decode().splitlines() if ": " in line
            )
            if fields.get("event") == "entry":
                yield fields["id"], json.loads(fields["data"])

    def close(self) -> None:
        """Give the connection up."""
        if self._streams is not None:
            self._streams[1].close()
            self._streams = None


def parted(head: bytes) -> tuple[int, dict[str, str]]:
    """The status of an answer, and its fields by their names in small letters."""
    first, *rest = head.decode("latin-1").split("\r\n")
    pairs = (line.partition(":") for line in rest if line)
    return int(first.split(" ", 2)[1]), {name.lower(): value.strip() for name, _, value in pairs}
