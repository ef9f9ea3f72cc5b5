"""All meets at once: each with its heats, its people and those who watch its board."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeAlias

from tests.bench.season.crew import Crew
from tests.bench.season.deciding import HeadOfficial, Jury
from tests.bench.season.desk import Desk
from tests.bench.season.ledger import Ledger
from tests.bench.season.lines import NoAnswer
from tests.bench.season.meets import SeasonMeet
from tests.bench.season.meters import Used
from tests.bench.season.person import KeptPage, Stage
from tests.bench.season.plan import Season

OPEN, RELOADED = "board, left open", "board, reloaded"
IsEnough: TypeAlias = Callable[[Sequence[Stage]], bool]


def never(_stages: Sequence[Stage]) -> bool:
    """The time alone says when it is over."""
    return False


@dataclass(frozen=True, slots=True)
class Played:
    """What was measured of all meets, what each one's people did and were told, and what the
    processes used while the clock ran.
    """

    ledger: Ledger
    stages: Sequence[Stage]
    before: Used
    after: Used


async def play(
    season: Season,
    meets: Sequence[SeasonMeet],
    addresses: Sequence[str],
    use: Callable[[], Used],
    is_enough: IsEnough = never,
) -> Played:
    """Until the time is up, or it is enough; an error of whoever plays ends it at once."""
    ledger = Ledger()
    stages = [
        Stage(season, meet, addresses, ledger, season.chance_of(number))
        for number, meet in enumerate(meets)
    ]
    before = use()
    for stage in stages:
        _begin(stage)
    try:
        await _insist_on_all(stages, season.minutes * 60, is_enough)
        after = use()
    finally:
        await asyncio.gather(*(stage.end() for stage in stages))
    return Played(ledger, stages, before, after)


async def _insist_on_all(stages: Sequence[Stage], seconds: float, is_enough: IsEnough) -> None:
    """Let so many seconds pass, and look every now and then whether somebody has failed."""
    loop = asyncio.get_running_loop()
    ends = loop.time() + seconds
    while (left := ends - loop.time()) > 0 and not is_enough(stages):
        await asyncio.sleep(min(left, 0.5))
        for stage in stages:
            stage.insist_nobody_failed()


def _begin(stage: Stage) -> None:
    crew = Crew(stage)
    head, desk, jury = HeadOfficial(stage, crew), Desk(stage), Jury(stage)
    for place in (crew, head, desk, jury):
        place.begin()
    stage.begin(*(_watch(stage, number) for number in range(stage.season.watchers)))
    stage.begin(_run_heats(stage, crew, head, desk))


async def _run_heats(stage: Stage, crew: Crew, head: HeadOfficial, desk: Desk) -> None:
    """One heat after the other; each meet has its first one at another moment."""
    season = stage.season
    await stage.pause(stage.chance.uniform(0, season.heat_every[1]))
    for heat in stage.meet.heats:
        with suppress(NoAnswer):  # it was counted where it happened
            await head.start(heat["id"])
            crew.judge(heat["id"])
            stage.begin(desk.load_list(heat))
        await stage.pause(stage.within(season.heat_every))


async def _watch(stage: Stage, number: int) -> None:
    """Half of the watchers leave the board open, half reload it now and then."""
    season = stage.season
    ways = ((OPEN, season.board_looks_every), (RELOADED, season.board_reloaded_every))
    what, every = ways[number % 2]
    await stage.pause(stage.chance.uniform(0, every))
    board = KeptPage(stage.person(), what, f"/meets/{stage.meet.id}", every, is_kept=True)
    await board.keep()
