"""An invented crew, and its plan drawn as a page would draw it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

import app.pages
from app.crew.wire import PostOut, Side
from app.ids import OfficialId, PostId
from app.pages.track_plan import Crew, plan_track
from app.pages.zone_plan import plan_zone
from app.rules.book import load_book
from app.rules.relay import Edge, Relay
from app.rules.track import Track

NEW, OLD = "world-athletics-2025", "older-20-plus-10"
TEMPLATES = Path(app.pages.__file__).parent / "templates"
WORDS = {
    "title": "The crew plan",
    "desc": "Who stands where.",
    "finish": "finish",
    "inside": "inside",
    "outside": "outside",
}
# Handbook of the trade, section 4: a workable default for eight lanes (common practice).
AT_A_ZONE = (
    (Edge.START, (1, 2, 3, 4), Side.INSIDE),
    (Edge.START, (5, 6, 7, 8), Side.OUTSIDE),
    (Edge.END, (1, 2), Side.INSIDE),
    (Edge.END, (3, 4), Side.INSIDE),
    (Edge.END, (5, 6), Side.OUTSIDE),
    (Edge.END, (7, 8), Side.OUTSIDE),
)


def a_post(
    number: int,
    take_over: int = 1,
    edge: Edge = Edge.END,
    lanes: Iterable[int] = (3, 4),
    side: Side = Side.INSIDE,
    relays: Iterable[Relay] = (),
) -> PostOut:
    """A post of the plan."""
    return PostOut(
        id=PostId(f"post {number}"),
        official=OfficialId(f"official {number}"),
        official_name=f"Official {number}",
        take_over=take_over,
        edge=edge,
        lanes=list(lanes),
        side=side,
        relays=list(relays),
        heats=[],
    )


def a_whole_crew() -> list[PostOut]:
    """Six posts at each of three zones, so that every edge of eight lanes is watched."""
    places = [(take_over, *place) for take_over in (1, 2, 3) for place in AT_A_ZONE]
    return [a_post(number, *place) for number, place in enumerate(places, 1)]


def a_crew(
    posts: Iterable[PostOut] | None = None,
    relay: Relay = Relay.FOUR_BY_100,
    edition: str = NEW,
    track: Track | None = None,
) -> Crew:
    """A crew on the standard track."""
    standing = a_whole_crew() if posts is None else list(posts)
    return Crew(track or Track(), relay, load_book(edition).zones[relay], standing)


def drawn(crew: Crew, **words: Any) -> list[str]:
    """The pictures of a crew's plan: the whole track, then zone by zone."""
    found = Environment(
        loader=FileSystemLoader(TEMPLATES), undefined=StrictUndefined, autoescape=True
    ).get_template("_track_plan.svg.html")
    said = WORDS | words
    whole = found.module.track_plan(plan_track(crew), said, "plan")  # type: ignore[attr-defined]
    zones = [
        found.module.zone_plan(plan_zone(crew, one), said, f"zone-{one}")  # type: ignore[attr-defined]
        for one in crew.zones
    ]
    return [str(whole), *map(str, zones)]
