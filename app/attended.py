"""Each request has an id: given out with its answer, and found again in the log.

It is the header `X-Request-Id` of every answer, stands in its line of the log and in those of what
went wrong meanwhile, and is the `instance` of a problem document. Whoever has a problem on a screen
reads out an id, and whoever runs the server finds what happened. An id that the caller sends is not
taken for ours: two requests could then have one, and it could tell anything. One that looks as
proxies make them stands beside ours.
"""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass, field

from app.ids import new_id

HEADER = "X-Request-Id"
NO_ROUTE = "none"
"""What is said in place of a route's template where the address has none: never the address itself,
which may hold anything."""

PAST_LAYERS = "app.past_layers"
"""In a request's scope: what sends the parts of a body past all layers that only look at a head."""


@dataclass(slots=True)
class Attended:
    """A request that is being answered, and what became known of it on the way."""

    id: str = field(default_factory=new_id)
    template: str = NO_ROUTE
    actor: str | None = None


NOW: ContextVar[Attended] = ContextVar("attended")


def attended_now() -> Attended:
    """The request that is being answered; a fresh one that nobody looks at where there is none."""
    return NOW.get(None) or Attended()


def attended_id() -> str | None:
    """The id of the request that is being answered, if there is one."""
    now = NOW.get(None)
    return None if now is None else now.id
