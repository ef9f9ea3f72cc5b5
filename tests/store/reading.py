"""All connections that read are in somebody's hands."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

from sqlalchemy import exc

from app.store.engine import Engines


@contextmanager
def all_connections_of(engines: Engines) -> Iterator[int]:
    """Take them until there is none left; gives how many there are."""
    taken = 0
    with ExitStack() as stack:
        while True:
            try:
                stack.enter_context(engines.reading.connect())
            except exc.TimeoutError:
                break
            taken += 1
        yield taken
