"""Which heat is now, and which is next?

Pure: it takes where the heats of a programme stand, and the one that the head official points at.
Starting a heat points at it, so the pointer is always the last word of a person. The rule, in this
order; each heat but the one pointed at is one of the programme, not a rehearsal:

1. the heat pointed at, while it runs; else the one that was started last, while that runs. One that
   was started before it and whose posts never all called is of the past;
2. the heat pointed at, while it is to come;
3. the first to come after the one that was started last, in the order of the programme;
4. the first to come at all;
5. the one that was started last, while it is judged and not announced: where nothing is to come.

Which heats count is for whoever asks: re-runs that were called off are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.ids import HeatId
from app.meets.states import HeatState


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a heat stands; `position` is its place in the programme."""

    id: HeatId
    position: int
    state: HeatState
    started_at: datetime | None = None
    rehearsal: bool = False

    @property
    def runs(self) -> bool:
        return self.state is HeatState.RUNNING

    @property
    def is_to_come(self) -> bool:
        return self.state is HeatState.TO_COME


@dataclass(frozen=True, slots=True)
class NowAndNext:
    """The heat that is now and the one that is next, None where there is none."""

    now: HeatId | None
    next: HeatId | None


def find_heat_now(heats: Iterable[Standing], pointed_at: HeatId | None) -> NowAndNext:
    """Which of these heats is now, and which is next, in whatever order they are given."""
    known = sorted(heats, key=lambda heat: heat.position)
    pointed = next((heat for heat in known if heat.id == pointed_at), None)
    programme = [heat for heat in known if not heat.rehearsal]
    last = started_last(programme)
    to_come = [heat for heat in programme if heat.is_to_come]
    now = _now(pointed, last, to_come)
    if now is None:
        return NowAndNext(None, None)
    then = _next(now, pointed, last, to_come)
    return NowAndNext(now.id, then.id if then else None)


def started_last(programme: Iterable[Standing]) -> Standing | None:
    """The heat that was started last; a start that was recalled is none."""
    started = [(heat.started_at, heat.position, heat) for heat in programme if heat.started_at]
    return max(started)[2] if started else None


def _now(
    pointed: Standing | None, last: Standing | None, to_come: Sequence[Standing]
) -> Standing | None:
    for heat in (pointed, last):
        if heat is not None and heat.runs:
            return heat
    if pointed is not None and pointed.is_to_come:
        return pointed
    judged = last if last is not None and last.state is HeatState.JUDGED else None
    return _first_after(last, to_come) or judged


def _next(
    now: Standing, pointed: Standing | None, last: Standing | None, to_come: Sequence[Standing]
) -> Standing | None:
    if pointed is not None and pointed.is_to_come and pointed is not now:
        return pointed
    others = [heat for heat in to_come if heat is not now]
    # A rehearsal has no place of its own in the programme: after it, that goes on where it was.
    return _first_after(last if now.rehearsal else now, others)


def _first_after(heat: Standing | None, to_come: Sequence[Standing]) -> Standing | None:
    """The first to come after a heat, else the first to come."""
    after = (one for one in to_come if heat is not None and one.position > heat.position)
    return next(after, None) or next(iter(to_come), None)
