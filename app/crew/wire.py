"""The crew plan as it goes over HTTP."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import Field

from app.forms.paper import Paper
from app.ids import ChosenId, HeatId, OfficialId, PostId
from app.rules.relay import Edge, Relay, Side
from app.sheets.problems import Problem
from app.wire import Lane, Wire, shown

MOST_POSTS: Final = 2_000
"""In one plan: sixty people, each at a dozen places in the course of the days (common practice)."""
MOST_HEATS: Final = 1_000


class PostIn(Wire):
    """One place in the crew plan. `relays` empty means every relay of the meet, `heats` empty every
    heat of those relays.
    """

    id: ChosenId
    official: ChosenId
    take_over: Annotated[int, Field(ge=1, le=3)]
    edge: Edge
    lanes: Annotated[list[Lane], Field(min_length=1, max_length=10)]
    side: Side = Side.INSIDE
    relays: Annotated[list[Relay], Field(max_length=len(Relay))] = Field(default_factory=list)
    # Left out where it is empty: a plan without single heats reads as it did before there were any.
    heats: Annotated[list[ChosenId], Field(max_length=MOST_HEATS)] = Field(
        default_factory=list, exclude_if=lambda heats: not heats
    )


class CrewIn(Wire):
    """The whole crew plan; it replaces the one before."""

    model_config = shown(
        {
            "posts": [
                {
                    "id": "01890a5d-ac96-7ab2-80e2-4536629c90de",
                    "official": "01890a5d-ac96-774b-bcce-b302099a8057",
                    "take_over": 1,
                    "edge": "end",
                    "lanes": [3, 4],
                    "side": "outside",
                    "relays": ["4x100"],
                }
            ]
        }
    )

    posts: Annotated[list[PostIn], Field(max_length=MOST_POSTS)]


class CardsIn(Wire):
    """Whose briefing cards are wanted with a code to join by."""

    model_config = shown(
        {"officials": ["01890a5d-ac96-774b-bcce-b302099a8057"], "paper": "A4"},
        {"officials": [], "paper": "letter"},
    )

    officials: Annotated[list[ChosenId], Field(max_length=500)] = Field(
        description="who gets a new personal link, all of whom must have a post; empty means all "
        "with a post who have not joined. The others' cards come without a code"
    )
    paper: Paper = Paper.A4


class PostOut(Wire):
    """One place in the crew plan, with its official's name."""

    id: PostId
    official: OfficialId
    official_name: str
    take_over: int
    edge: Edge
    lanes: list[int]
    side: Side
    relays: list[Relay]
    heats: list[HeatId] = Field(description="empty means every heat of its relays")


class GapOut(Wire):
    """An edge of a zone and the lanes of it that nobody watches."""

    relay: Relay
    take_over: int
    edge: Edge
    lanes: list[int]
    heats: list[HeatId] = Field(description="in which heats; empty means in each of the relay")
    words: str = Field(description="the same as people say it: 4x100, take-over 1, end, lanes 5–8")


class ApartOut(Wire):
    """An official whose posts of one relay lie at different places of the track."""

    official: OfficialId
    official_name: str
    relay: Relay
    take_overs: list[int]
    heats: list[HeatId] = Field(description="in which heats; empty means in each of the relay")
    words: str = Field(
        description="the same as people say it: Bo Halyard: 4x100, take-overs 1, 2",
        examples=["Bo Halyard: 4x100, take-overs 1, 2"],
    )


class CrewOut(Wire):
    """The crew plan, what it leaves unwatched, and whom it wants at two places during one race."""

    posts: list[PostOut]
    unwatched: list[GapOut]
    apart: list[ApartOut]
    version: int


class CrewListOut(Wire):
    """What a crew list holds, and what is to be minded of the plan that it makes."""

    stored: bool
    posts: int
    people: int
    dropped_out: list[str] = Field(
        description="who has dropped out by the list: their rows are no posts, and left aside"
    )
    unwatched: list[str] = Field(description="as people say it: 4x100, take-over 1, end, lanes 5–8")
    apart: list[str] = Field(description="as people say it: Bo Halyard: 4x100, take-overs 1, 2")
    ignored_columns: list[str]
    problems: list[Problem]
