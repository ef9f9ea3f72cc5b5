"""How much is tried, and from which seed: both can be asked for.

`FUZZ_TIMES=200` tries so many times as much, `FUZZ_SEED=7` the same once more.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis.strategies import SearchStrategy

Drawn = TypeVar("Drawn")
Test = Callable[..., None]

TIMES = int(os.environ.get("FUZZ_TIMES", "1"))
SEED = int(os.environ.get("FUZZ_SEED") or random.SystemRandom().randrange(10**9))


def drawn(strategy: SearchStrategy[Drawn], examples: int) -> list[Drawn]:
    """So many of what a strategy makes, times what was asked for; fewer where there are no more.

    They are drawn first and used afterwards: what is tried changes what it is tried on, so that the
    same thing twice is answered otherwise, and making a failing one smaller would lead astray. The
    first that is drawn is the simplest there is, and is left out where there are others.
    """
    made: list[Drawn] = []
    wanted = examples * TIMES

    @seed(SEED)
    @settings(
        max_examples=wanted + 1,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def draw(one: Drawn) -> None:
        made.append(one)

    draw()
    return made[-wanted:]


def tried(examples: int, **strategies: SearchStrategy[Any]) -> Callable[[Test], Test]:
    """A test of what leaves nothing behind: tried on so many, times what was asked for, and what
    fails is made as small as it still fails with. `FUZZ_SEED` is told with it.
    """

    def decorated(test: Test) -> Test:
        fuzzed = settings(
            max_examples=examples * TIMES,
            phases=[Phase.generate, Phase.shrink],
            database=None,
            deadline=None,
            print_blob=False,
            suppress_health_check=list(HealthCheck),
        )(seed(SEED)(given(**strategies)(test)))

        @wraps(fuzzed)
        def told(*args: Any, **kwargs: Any) -> None:
            try:
                fuzzed(*args, **kwargs)
            except BaseException as error:
                error.add_note(f"FUZZ_SEED={SEED} FUZZ_TIMES={TIMES}")
                raise

        return told

    return decorated
