"""What many ask for is made once, and outlives neither its time nor its version."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta

import pytest

from app.made_once import MOST, MadeOnce

NOON = datetime(2026, 6, 13, 12, tzinfo=UTC)
LASTS = timedelta(seconds=2)
BEFORE_THE_END = timedelta(microseconds=1)


class Maker:
    """Makes a number each time, slowly, and counts."""

    def __init__(self) -> None:
        self.made = 0
        self.fails = False

    async def __call__(self) -> int:
        self.made += 1
        number = self.made
        await asyncio.sleep(0.001)
        if self.fails:
            raise OSError("no disk")
        return number


def run(story: Callable[[MadeOnce[int], Maker], Awaitable[None]]) -> None:
    asyncio.run(story(MadeOnce(LASTS), Maker()))  # type: ignore[arg-type]


def test_two_hundred_phones_at_once_cost_one_making() -> None:
    async def story(pages: MadeOnce[int], maker: Maker) -> None:
        asked = [pages.get("board", NOON, maker) for _ in range(200)]
        assert set(await asyncio.gather(*asked)) == {1}
        assert maker.made == 1

    run(story)


def test_it_is_made_anew_after_its_time_and_where_the_clock_was_set_back() -> None:
    async def story(pages: MadeOnce[int], maker: Maker) -> None:
        assert await pages.get("board", NOON, maker) == 1
        assert await pages.get("board", NOON + LASTS - BEFORE_THE_END, maker) == 1
        assert await pages.get("board", NOON + LASTS, maker) == 2
        assert await pages.get("board", NOON - timedelta(hours=1), maker) == 3

    run(story)


def test_of_another_version_it_is_made_anew_at_once_and_kept_in_place_of_the_other() -> None:
    async def story(pages: MadeOnce[int], maker: Maker) -> None:
        async def made(version: int) -> int:
            return await pages.get("board", NOON, maker, version)

        assert [await made(version) for version in (7, 7, 8, 8, 7)] == [1, 1, 2, 2, 3]

    run(story)


def test_a_failure_is_told_and_tried_again_at_once() -> None:
    async def story(pages: MadeOnce[int], maker: Maker) -> None:
        maker.fails = True
        told = await asyncio.gather(
            *(pages.get("board", NOON, maker) for _ in range(3)), return_exceptions=True
        )
        assert [type(one) for one in told] == [OSError] * 3
        assert maker.made == 1
        maker.fails = False
        assert await pages.get("board", NOON, maker) == 2

    run(story)


def test_whoever_goes_away_does_not_end_it_for_the_others() -> None:
    async def story(pages: MadeOnce[int], maker: Maker) -> None:
        leaves = asyncio.ensure_future(pages.get("board", NOON, maker))
        stays = asyncio.ensure_future(pages.get("board", NOON, maker))
        await asyncio.sleep(0)
        leaves.cancel()
        assert await stays == 1
        with pytest.raises(asyncio.CancelledError):
            await leaves

    run(story)


def test_what_failed_or_was_given_up_while_nobody_waited_is_made_again() -> None:
    async def story(pages: MadeOnce[int], maker: Maker) -> None:
        maker.fails = True
        leaves = asyncio.ensure_future(pages.get("board", NOON, maker))
        await asyncio.sleep(0)
        leaves.cancel()
        await asyncio.sleep(0.01)
        maker.fails = False
        assert await pages.get("board", NOON, maker) == 2
        waits = asyncio.ensure_future(pages.get("docket", NOON, maker))
        await asyncio.sleep(0)
        pages._kept["docket"].making.cancel()
        with pytest.raises(asyncio.CancelledError):
            await waits
        assert await pages.get("docket", NOON, maker) == 3

    run(story)


def test_no_more_than_so_many_are_kept_and_the_oldest_go_first() -> None:
    async def story(pages: MadeOnce[int], maker: Maker) -> None:
        for number in range(MOST + 1):
            await pages.get(number, NOON, maker)
        await pages.get(MOST, NOON, maker)
        assert maker.made == MOST + 1
        await pages.get(0, NOON, maker)
        assert maker.made == MOST + 2

    run(story)
