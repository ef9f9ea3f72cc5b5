"""From the event loop to the writer: in batches, and every action gets its outcome."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from itertools import pairwise
from unittest.mock import patch

import pytest

from app.clock import SystemClock
from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.log import Keeper
from app.refusals import Unavailable
from app.store.action import Action, Committed, Deed, Done, Unit
from app.store.intake import QUIET_TURNS
from app.store.store import Store
from app.store.writer import LARGEST_GROUP
from tests.conftest import NewDatabase
from tests.store.test_writer import SOMEBODY, add

MEET = MeetId(new_id())
# One, unless the machine halts the loop in the middle of handing a batch over.
A_FEW = 3


@pytest.fixture
def groups() -> list[int]:
    """The size of the record after each group."""
    return []


@pytest.fixture
def store(new_database: NewDatabase, groups: list[int]) -> Iterator[Store]:
    def note(committed: Committed) -> None:
        groups.append(committed.sizes[MEET])

    store = Store(new_database("sqlite"), SystemClock(), Keeper(), note)
    store.start()
    yield store
    store.stop()


def wait_for(signal: threading.Event, began: threading.Event) -> Action[str]:
    """An action that takes its time."""

    def act(unit: Unit) -> Done[str]:
        began.set()
        assert signal.wait(10)
        return Done("slow", Deed(Kind.CALL, "slow", {}))

    return act


async def all_of(store: Store, keys: list[str]) -> list[object]:
    work = [store.act(MEET, SOMEBODY, add(key)) for key in keys]
    return await asyncio.gather(*work, return_exceptions=True)


def test_what_comes_in_at_once_is_one_group(store: Store, groups: list[int]) -> None:
    keys = [f"at once {number}" for number in range(60)]
    assert asyncio.run(all_of(store, keys)) == keys
    assert groups[-1] == 60
    assert len(groups) <= A_FEW


def test_what_comes_in_while_a_group_is_written_is_the_next_group(
    store: Store, groups: list[int]
) -> None:
    signal, began = threading.Event(), threading.Event()
    keys = [f"meanwhile {number}" for number in range(20)]

    async def slow_then_many() -> list[object]:
        slow = asyncio.create_task(store.act(MEET, SOMEBODY, wait_for(signal, began)))
        await asyncio.to_thread(began.wait, 10)
        many = [asyncio.create_task(store.act(MEET, SOMEBODY, add(key))) for key in keys]
        await asyncio.sleep(0.05)
        assert groups == []
        signal.set()
        return await asyncio.gather(slow, *many)

    assert asyncio.run(slow_then_many()) == ["slow", *keys]
    assert (groups[0], groups[-1]) == (1, 21)
    assert len(groups) <= 1 + A_FEW


def test_a_wave_is_one_group_although_the_quickest_sender_is_ahead_of_the_others(
    store: Store, groups: list[int]
) -> None:
    """After an answer they all send again, one a little before the rest."""

    async def three_waves() -> None:
        for wave in range(3):
            keys = [f"wave {wave}, {number}" for number in range(12)]
            ahead = asyncio.create_task(store.act(MEET, SOMEBODY, add(keys[0])))
            for _ in range(2 * QUIET_TURNS):
                await asyncio.sleep(0)
            await asyncio.gather(ahead, all_of(store, keys[1:]))

    # However slow the machine is:
    with patch.multiple("app.store.intake", LONGEST_PAUSE=5.0, LONGEST_GATHERING=5.0):
        asyncio.run(three_waves())
    sizes = [after - before for before, after in pairwise([0, *groups])]
    assert sizes[-2:] == [12, 12]


def test_a_single_one_after_a_wave_does_not_wait_for_the_others_for_long(store: Store) -> None:
    """Those of the last batch have gone: nobody comes within a pause."""

    async def alone_after_many() -> float:
        await all_of(store, [f"of many {number}" for number in range(40)])
        loop = asyncio.get_running_loop()
        began = loop.time()
        await store.act(MEET, SOMEBODY, add("alone"))
        return loop.time() - began

    with patch("app.store.intake.LONGEST_GATHERING", 30.0):
        assert asyncio.run(alone_after_many()) < 10


def test_more_than_the_largest_group_is_written_in_several(store: Store, groups: list[int]) -> None:
    keys = [f"many {number}" for number in range(300)]
    assert asyncio.run(all_of(store, keys)) == keys
    assert groups[-1] == 300
    assert all(after - before <= LARGEST_GROUP for before, after in pairwise([0, *groups]))


def test_a_stream_without_a_pause_keeps_nobody_waiting(store: Store) -> None:
    """Each turn of the loop brings one more; the batch goes to the writer all the same."""

    async def stream() -> tuple[bool, list[object]]:
        first = asyncio.create_task(store.act(MEET, SOMEBODY, add("first of the stream")))
        others: list[asyncio.Task[str]] = []
        until = asyncio.get_running_loop().time() + 2
        while not first.done() and asyncio.get_running_loop().time() < until:
            key = f"stream {len(others)}"
            others.append(asyncio.create_task(store.act(MEET, SOMEBODY, add(key))))
            await asyncio.sleep(0)
        in_time = first.done()
        return in_time, await asyncio.gather(first, *others)

    in_time, outcomes = asyncio.run(stream())
    assert in_time
    assert outcomes[0] == "first of the stream"


def test_several_loops_and_threads_use_one_store(store: Store, groups: list[int]) -> None:
    for number in range(3):
        keys = [f"loop {number}, {place}" for place in range(5)]
        assert asyncio.run(all_of(store, keys)) == keys
        assert store.act_now(MEET, SOMEBODY, add(f"thread {number}")) == f"thread {number}"
    assert groups[-1] == 18


def test_whoever_gives_up_waiting_holds_up_nobody(store: Store, groups: list[int]) -> None:
    async def give_up_then_go_on() -> list[object]:
        given_up = asyncio.create_task(store.act(MEET, SOMEBODY, add("given up")))
        await asyncio.sleep(0)
        given_up.cancel()
        return await all_of(store, ["next", "last"])

    assert asyncio.run(give_up_then_go_on()) == ["next", "last"]


def test_a_store_that_is_stopped_meanwhile_tells_those_who_wait(
    new_database: NewDatabase,
) -> None:
    store = Store(new_database("sqlite"), SystemClock(), Keeper())
    store.start()

    async def stop_before_the_batch_goes() -> list[object]:
        work = asyncio.gather(
            *(store.act(MEET, SOMEBODY, add(f"late {number}")) for number in range(3)),
            return_exceptions=True,
        )
        await asyncio.sleep(0)
        store.stop()
        return await asyncio.wait_for(work, 10)

    outcomes = asyncio.run(stop_before_the_batch_goes())
    assert all(isinstance(outcome, Unavailable) for outcome in outcomes)
