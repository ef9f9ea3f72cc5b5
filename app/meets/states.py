"""The states of a heat, as the design page has them.

`to come` → `running` → `judged` (every post has called) → `announced` → `final`. That a result has
become final follows from its windows and the time; nobody does it. A heat that is left over once
its round is drawn into fewer is `not held`, until a start list draws it again. A rehearsal ends by
an act of its own and is then `ended`: no result is waited for.
"""

from __future__ import annotations

from enum import StrEnum

from app.transitions import StateTable, Step


class HeatState(StrEnum):
    """Where a heat stands."""

    TO_COME = "to come"
    RUNNING = "running"
    JUDGED = "judged"
    ANNOUNCED = "announced"
    FINAL = "final"
    NOT_HELD = "not held"
    ENDED = "ended"


NOT_TO_RUN = frozenset({HeatState.TO_COME, HeatState.NOT_HELD})
"""Where no run of the heat counts: it has not begun, or is not held."""


def present_run(state: HeatState, started: int) -> int:
    """The run that counts now: the last one started, or the next where the heat is to come.

    A heat that is held back waits for its next run, so that all of the last one is of the past. One
    that is not held has a next run as well: a start list can draw it again.
    """
    return started + (state in NOT_TO_RUN)


class HeatAct(StrEnum):
    """What can happen to a heat."""

    START = "start"
    HOLD_BACK = "hold back"
    LAST_POST_CALLS = "last post calls"
    ANNOUNCE = "announce"
    DECLARE_NOT_HELD = "declare not held"
    DRAW_AGAIN = "draw again"


class RehearsalAct(StrEnum):
    """What can happen to a rehearsal beside what happens to any heat."""

    END = "end"


REHEARSAL_TABLE = StateTable(
    "rehearsal",
    [
        Step(state, RehearsalAct.END, HeatState.ENDED)
        for state in (HeatState.TO_COME, HeatState.RUNNING, HeatState.JUDGED)
    ],
)

HEAT_TABLE = StateTable(
    "heat",
    [
        Step(HeatState.TO_COME, HeatAct.START, HeatState.RUNNING),
        Step(HeatState.RUNNING, HeatAct.HOLD_BACK, HeatState.TO_COME),
        # The last flag may be up, and the result out, before the order to run again comes; and the
        # desk may have announced another heat than it meant.
        Step(HeatState.JUDGED, HeatAct.HOLD_BACK, HeatState.TO_COME),
        Step(HeatState.ANNOUNCED, HeatAct.HOLD_BACK, HeatState.TO_COME),
        Step(HeatState.RUNNING, HeatAct.LAST_POST_CALLS, HeatState.JUDGED, follows=True),
        # A result can be announced for a heat that nobody started on the screen: it was run all the
        # same, and the silent posts then need their explicit word.
        Step(HeatState.TO_COME, HeatAct.ANNOUNCE, HeatState.ANNOUNCED),
        Step(HeatState.RUNNING, HeatAct.ANNOUNCE, HeatState.ANNOUNCED),
        Step(HeatState.JUDGED, HeatAct.ANNOUNCE, HeatState.ANNOUNCED),
        Step(HeatState.ANNOUNCED, HeatAct.ANNOUNCE, HeatState.ANNOUNCED),
        Step(HeatState.TO_COME, HeatAct.DECLARE_NOT_HELD, HeatState.NOT_HELD),
        Step(HeatState.NOT_HELD, HeatAct.DRAW_AGAIN, HeatState.TO_COME, follows=True),
    ],
)
