"""Who of a ranking gets over the cut, and what happens to those who tie across it?

All who tie go on if there is room, else lots are drawn (World Athletics TR21; IAAF Rule 167.2, as
federations retell them). Who is advanced anyway draws no lots: its lot would cost another a place
that it does not need (common practice).
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import takewhile

from app.rules.round_parts import OpenDraw

Ranked = tuple[tuple[int, ...], str]


@dataclass(frozen=True, slots=True)
class Lots:
    """The draws that were made, and the teams that are advanced whatever a draw says."""

    drawn: tuple[tuple[str, ...], ...]
    advanced_anyway: Collection[str] = ()

    def order_of(self, tied: Collection[str]) -> tuple[str, ...]:
        """How exactly these teams were drawn; empty where they were not."""
        return next((draw for draw in self.drawn if sorted(draw) == sorted(tied)), ())


@dataclass(frozen=True, slots=True)
class Cut:
    """Who got over the cut as ranked, who was drawn, and the draw that is still to be made."""

    over: tuple[str, ...] = ()
    drawn: tuple[str, ...] = ()
    open_draw: OpenDraw | None = None


def cut(ranked: Sequence[Ranked], places: int, room: int, lots: Lots) -> Cut:
    """Let the best so many over; `ranked` comes best first, equal ranks tie.

    More than `places` get over only where they tie across the cut and do not pass `room` in all.
    """
    if places <= 0 or len(ranked) <= places:
        return Cut(tuple(team for _, team in ranked) if places > 0 else ())
    edge = ranked[places - 1][0]
    ahead = tuple(team for _, team in takewhile(lambda one: one[0] < edge, ranked))
    tied = tuple(team for rank, team in ranked[len(ahead) :] if rank == edge)
    if len(ahead) + len(tied) <= max(places, room):
        return Cut(ahead + tied)
    return _by_lot(ahead, tied, places - len(ahead), lots)


def _by_lot(ahead: tuple[str, ...], tied: tuple[str, ...], places: int, lots: Lots) -> Cut:
    in_need = tuple(team for team in tied if team not in lots.advanced_anyway)
    drawn = lots.order_of(tied)
    if not drawn and len(in_need) <= places:
        return Cut(ahead + in_need)
    drawn = drawn or lots.order_of(in_need)
    return Cut(ahead, drawn[:places], None if drawn else OpenDraw(in_need, places))
