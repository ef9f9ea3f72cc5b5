"""What a request can reach: settings, clock, store and feed, put together in `create_app`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from app.clock import Clock
from app.config import Settings
from app.record.feed import Feed
from app.store.store import Store


@dataclass(frozen=True, slots=True)
class Services:
    """The implementations that this process was assembled from."""

    settings: Settings
    clock: Clock
    store: Store
    feed: Feed


def services_of(request: Request) -> Services:
    """The services behind a request."""
    services: Services = request.app.state.services
    return services


async def _store(request: Request) -> Store:
    return services_of(request).store


async def _services(request: Request) -> Services:
    return services_of(request)


StoreHere = Annotated[Store, Depends(_store)]
ServicesHere = Annotated[Services, Depends(_services)]
