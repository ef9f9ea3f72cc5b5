"""State tables: what may happen to a thing in each of its states, held against the design page.

One table per kind of thing lists every step. Whatever the table lacks is refused, and the refusal
says what is possible instead. Who may act stands in `app/access/who_may.py`, and what an act must
bring along (reason, PIN) in its document.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from app.refusals import NotPossible

State = TypeVar("State", bound=StrEnum)
Act = TypeVar("Act", bound=StrEnum)


@dataclass(frozen=True, slots=True)
class Step(Generic[State, Act]):
    """From a state, by an act, to a state; one that `follows` comes of another act by itself."""

    state: State
    act: Act
    becomes: State
    follows: bool = False


class StateTable(Generic[State, Act]):
    """All steps of one kind of thing."""

    def __init__(self, thing: str, steps: Iterable[Step[State, Act]]) -> None:
        self.thing = thing
        self.steps = tuple(steps)
        self._by_key = {(step.state, step.act): step for step in self.steps}
        if len(self._by_key) != len(self.steps):
            raise ValueError(f"the state table of a {thing} names a step twice")

    def step(self, state: State, act: Act, way_out: str = "") -> Step[State, Act]:
        """The step for this act in this state; NotPossible says what could be done, and how."""
        found = self._by_key.get((state, act))
        if found is None:
            raise NotPossible(self.thing, state, act, self.possible(state), way_out)
        return found

    def possible(self, state: State) -> tuple[Act, ...]:
        """The acts that people can ask for in a state, in the table's order."""
        return tuple(step.act for step in self.steps if step.state == state and not step.follows)
