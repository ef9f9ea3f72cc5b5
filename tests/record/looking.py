"""How often the entries of records are read by a service, and by how many requests at once."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

import httpx
from sqlalchemy import event

from tests.running import Service


class Looks:
    """How often the entries of records are read, and how many read them at the same time."""

    def __init__(self) -> None:
        self.count = self.at_once = self._now = 0
        self._lock = threading.Lock()

    def began(self, _conn: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        if "record_entries.entry" in statement:
            with self._lock:
                self.count += 1
                self._now += 1
                self.at_once = max(self.at_once, self._now)
            time.sleep(0.02)

    def ended(self, _conn: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        if "record_entries.entry" in statement:
            with self._lock:
                self._now -= 1


@contextmanager
def looking_at(service: Service) -> Iterator[Looks]:
    found, reading = Looks(), service.store.engines.reading
    event.listen(reading, "before_cursor_execute", found.began)
    event.listen(reading, "after_cursor_execute", found.ended)
    try:
        yield found
    finally:
        event.remove(reading, "before_cursor_execute", found.began)
        event.remove(reading, "after_cursor_execute", found.ended)


def ask_at_once(service: Service, addresses: Sequence[str], **more: Any) -> list[httpx.Response]:
    with ThreadPoolExecutor(len(addresses)) as threads:
        return list(threads.map(lambda one: service.http.get(one, **more), addresses))
