"""What a request can reach: settings, clock, store and feed, put together in `create_app`."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from fastapi import Request

from app.access.known_callers import KnownCallers
from app.access.pace import Pace
from app.clock import Clock
from app.config import Settings
from app.crew_search.searching import Searches
from app.logs import RequestLog
from app.made_once import MadeOnce
from app.measures import Measures
from app.record.feed import Feed
from app.record.proofs import Proofs
from app.sealing.seals import Seals
from app.store.store import Store

BOARD_LASTS = timedelta(seconds=30)
"""So long a board is kept where nothing was done and no window opened or closed: what is left to
change is what a date or a time zone makes of an instant.
"""
DOCKET_LASTS = timedelta(minutes=10)
"""So long a docket is kept where nothing was done; what is on it, time alone does not change."""
TRIAL_LASTS = timedelta(seconds=2)


@dataclass(frozen=True, slots=True)
class Services:
    """The implementations that this process was assembled from, and who is next where one after
    another is served: `of_files` is the turn of case files, `of_records` that of whole records.
    `boards` has the public pages as they were written last, `dockets` what was last answered of
    what awaits a ruling, `searches` those for crew plans that run in this process,
    `trials` whether the store stores.
    """

    settings: Settings
    clock: Clock
    store: Store
    feed: Feed
    callers: KnownCallers
    seals: Seals
    pace: Pace
    searches: Searches
    proofs: Proofs = field(default_factory=Proofs)
    of_files: asyncio.Lock = field(default_factory=asyncio.Lock)
    of_records: asyncio.Lock = field(default_factory=asyncio.Lock)
    boards: MadeOnce[Any] = field(default_factory=lambda: MadeOnce(BOARD_LASTS))
    dockets: MadeOnce[str] = field(default_factory=lambda: MadeOnce(DOCKET_LASTS))
    trials: MadeOnce[list[str]] = field(default_factory=lambda: MadeOnce(TRIAL_LASTS))
    measures: Measures = field(default_factory=Measures)
    request_log: RequestLog = field(default_factory=RequestLog)


def services_of(request: Request) -> Services:
    """The services behind a request."""
    services: Services = request.app.state.services
    return services
