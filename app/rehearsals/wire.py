"""Rehearsals as they go over HTTP."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from app.meets.wire import HeatOut
from app.rules.relay import Relay
from app.wire import Lane, Wire, shown


class RehearsalIn(Wire):
    """A heat in which a crew tries everything."""

    model_config = shown({"relay": "4x100", "lanes": [3, 4, 5]}, {"relay": "4x400"})

    relay: Relay
    lanes: Annotated[list[Lane], Field(min_length=1, max_length=10)] | None = Field(
        default=None, description="left out, all lanes of the track"
    )


class RehearsalsOut(Wire):
    """The rehearsals of a meet, the last one first, fifty at most, also those that have ended."""

    rehearsals: list[HeatOut]
