"""Which lane of the next round does each qualified team have?

Whoever has a lane and still goes on keeps it; lanes that fall free go to those who have come in,
then the lanes that nobody had (common practice: no source that was read says how).
"""

from collections.abc import Collection, Sequence

from app.rules.round_parts import Round, Seat


def seated(
    round_: Round, qualified: Sequence[str], not_out_yet: Collection[str]
) -> tuple[dict[str, Seat], tuple[str, ...]]:
    """The lane of each team, and the qualified for whom no lane is left, in their order.

    Teams that are not out yet keep the lane they have, and are given none. In a heat that has begun
    everybody keeps it.
    """
    if not round_.seats and not round_.free_seats:
        return {}, ()
    staying = {*qualified, *not_out_yet}
    seats: dict[str, Seat] = {}
    for seat, team in round_.seats.items():
        if team in staying or seat.heat in round_.settled:
            seats.setdefault(team, seat)
    taken = set(seats.values())
    drawn = sorted(round_.seats, key=lambda seat: (seat.heat, seat.lane))
    every_lane = dict.fromkeys((*drawn, *round_.still_free))
    spare = [seat for seat in every_lane if seat not in taken and seat.heat not in round_.settled]
    waiting = [team for team in qualified if team not in seats]
    seats.update(zip(waiting, spare, strict=False))
    return seats, tuple(waiting[len(spare) :])
