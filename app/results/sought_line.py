"""Does a team's line in a finish list say what was sought for it?

A time is compared to as many decimals as it was sought with and as the line has that says so: of
42.453 a list that gives hundredths alone says 42.46, which it is officially (to the next longer
hundredth, World Athletics TR19, from memory). A place is the one that the team gets in the list,
whether judges decided it or it follows from the times.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from app.rules.placing import THOUSANDTHS, Finish, hundredths, place_heat
from app.sheets.race_time import parse_time

Sought = Mapping[str, Any]


class Placing(NamedTuple):
    """A team's finish, and its place in the list."""

    finish: Finish
    place: int | None


def placings(finishes: Mapping[str, Finish]) -> Mapping[str, Placing]:
    """By team its finish with its place in the list that these make."""
    try:
        places = {one.lane: one.place for one in place_heat(finishes.values())}
    except ValueError:  # a list that has yet to be put right: what is decided is all that is known
        places = {one.lane: one.decided_place for one in finishes.values()}
    return {team: Placing(one, places[one.lane]) for team, one in finishes.items()}


def says(line: Placing | None, sought: Sought, decimals: int | None = None) -> bool:
    """Whether a line says what an order to correct it sought; its time to as many `decimals` as
    another line has, where this one is held against that.
    """
    has_place = line is not None and sought["place"] in {None, line.place}
    return has_place and says_but_for_place(line, sought, decimals)


def says_but_for_place(line: Placing | None, sought: Sought, decimals: int | None = None) -> bool:
    """The same of its status and its time alone."""
    if line is None or line.finish.status != sought["status"]:
        return False
    return sought["time"] is None or _is_time(line.finish, sought["time"], decimals)


def _is_time(finish: Finish, sought: str, decimals: int | None) -> bool:
    thousandths, sought_decimals = parse_time(sought)
    if finish.thousandths is None:
        return False
    exactly = finish.decimals if decimals is None else decimals
    if min(exactly, sought_decimals) == THOUSANDTHS:
        return finish.thousandths == thousandths
    return hundredths(finish.thousandths) == hundredths(thousandths)
