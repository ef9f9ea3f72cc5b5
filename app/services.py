"""What a request can reach: settings, clock, store and feed, put together in `create_app`."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import Request

from app.access.known_callers import KnownCallers
from app.clock import Clock
from app.config import Settings
from app.record.feed import Feed
from app.sealing.seals import Seals
from app.store.store import Store


@dataclass(frozen=True, slots=True)
class Services:
    """The implementations that this process was assembled from."""

    settings: Settings
    clock: Clock
    store: Store
    feed: Feed
    callers: KnownCallers
    seals: Seals


def services_of(request: Request) -> Services:
    """The services behind a request."""
    services: Services = request.app.state.services
    return services
