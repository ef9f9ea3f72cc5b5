"""What a request can reach: settings, clock, store and feed, put together in `create_app`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from fastapi import Request

from app.access.known_callers import KnownCallers
from app.clock import Clock
from app.config import Settings
from app.ids import MeetId
from app.record.feed import Feed
from app.record.notes import NoteSigner
from app.store.store import Store

SignerOf: TypeAlias = Callable[[MeetId], NoteSigner | None]
"""Who signs notes for a meet; None where it has no seal yet, or its key is not at hand."""


def nobody_signs(_meet: MeetId) -> NoteSigner | None:
    """There is no key here for any meet."""
    return None


@dataclass(frozen=True, slots=True)
class Services:
    """The implementations that this process was assembled from."""

    settings: Settings
    clock: Clock
    store: Store
    feed: Feed
    callers: KnownCallers
    signer_of: SignerOf = nobody_signs


def services_of(request: Request) -> Services:
    """The services behind a request."""
    services: Services = request.app.state.services
    return services
