"""Cutting a programme into spells, and saying where on the track they want a crew.

A spell is a row of heats of one relay that follow each other with like lanes in use: whoever has a
post keeps it through the spell. Take-overs that lie at one place of the track are one zone to be
staffed: in a 4x400 one crew sees all three of them, a lap apart. How long a spell may be is common
practice, as is that two lanes more or less change no post, as long as a crew can take them all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import accumulate, groupby
from typing import TypeAlias

from app.planning.facts import MINUTE_S, PlannedHeat, Settings, Template
from app.rules.apart import place_on_lap
from app.rules.relay import Relay
from app.rules.track import Track, in_lanes
from app.visible import likeness

MOST_TOLD = 5
LIKE_LANES = 2
"""So many lanes may be in use in one heat of a spell and not in another."""


@dataclass(frozen=True, slots=True)
class Spell:
    """Heats through which everybody keeps their post, in the order they are run.

    `begins_s` is when the crew must be there, `ends_s` when the zones are free again. `by_use` has
    the lanes again, those that most heats use first, where a crew cannot take all of them.
    """

    number: int
    relay: Relay
    heats: tuple[PlannedHeat, ...]
    by_use: tuple[int, ...]
    begins_s: int
    ends_s: int

    @property
    def lanes(self) -> tuple[int, ...]:
        """The lanes in use, inner first; those of the whole row where a row was cut."""
        return tuple(sorted(self.by_use))

    @property
    def run_in(self) -> frozenset[int]:
        """The lanes in which any of its own heats is run."""
        return frozenset(lane for heat in self.heats for lane in heat.lanes)


@dataclass(frozen=True, slots=True)
class Zone:
    """A place of the track that a spell wants a crew at, and the take-overs that lie there.

    `is_in_lanes` while any of them is run in lanes: later a team has no lane to be known by.
    """

    spell: int
    place_m: int
    take_overs: tuple[int, ...]
    is_in_lanes: bool


def cut_into_spells(
    heats: Sequence[PlannedHeat],
    settings: Settings,
    template: Template,
    cuts_s: Collection[int] = (),
) -> tuple[Spell, ...]:
    """The programme in the order of time. Raises ValueError where two heats are run at once.

    At each of `cuts_s` a row is cut in two, which keep its lanes, so that its posts stay as they
    are.
    """
    rows = rows_of(heats, settings, template)
    parts = [(part, _by_use(row)) for row in rows for part in _cut(row, cuts_s)]
    return tuple(
        _spell(number, part, lanes, settings) for number, (part, lanes) in enumerate(parts)
    )


def rows_of(
    heats: Sequence[PlannedHeat], settings: Settings, template: Template
) -> list[list[PlannedHeat]]:
    """Heats that belong together. Raises ValueError where two are run at once."""
    if pairs := heats_at_once(heats, settings):
        raise ValueError(all_at_once(pairs, settings))
    most = template.most_lanes()
    rows: list[list[PlannedHeat]] = []
    for heat in sorted(heats, key=lambda heat: heat.starts_s):
        if rows and _goes_on(rows[-1], heat, settings) and _can_be_taken([*rows[-1], heat], most):
            rows[-1].append(heat)
        else:
            rows.append([heat])
    return rows


def zones_of(spell: Spell, track: Track) -> tuple[Zone, ...]:
    """The places where a spell wants a crew, in the order the race meets them."""
    places: dict[int, list[int]] = {}
    for take_over in range(1, spell.relay.take_overs + 1):
        place_m = place_on_lap(spell.relay, take_over, track.lap_m)
        places.setdefault(place_m, []).append(take_over)
    last_in_lanes = in_lanes(track, spell.relay).take_overs
    return tuple(
        Zone(spell.number, place_m, tuple(take_overs), take_overs[0] <= last_in_lanes)
        for place_m, take_overs in places.items()
    )


Pair: TypeAlias = tuple[PlannedHeat, PlannedHeat]


def heats_at_once(heats: Sequence[PlannedHeat], settings: Settings) -> list[Pair]:
    """Each heat that starts while another is still run, after that one."""
    in_order = sorted(heats, key=lambda heat: heat.starts_s)
    last_until = accumulate(in_order, partial(max, key=lambda heat: ends_s(heat, settings)))
    return [
        (before, heat)
        for before, heat in zip(last_until, in_order[1:], strict=False)
        if heat.starts_s < ends_s(before, settings)
    ]


def at_once(pair: Pair, settings: Settings) -> str:
    """Why two heats cannot both be run, in words."""
    before, heat = pair
    takes_min = settings.takes_s(before.relay) // MINUTE_S
    return (
        f"{heat.label} starts while {before.label} is still run on the same track: a "
        f"{before.relay} takes {takes_min} min."
    )


def all_at_once(pairs: Sequence[Pair], settings: Settings) -> str:
    """The same of several, the first of them by name."""
    told = [at_once(pair, settings) for pair in pairs[:MOST_TOLD]]
    more = len(pairs) - len(told)
    rest = [f"So it is with {more} more."] if more else []
    return " ".join([*told, *rest, "Correct their start times."])


def begins_s(heat: PlannedHeat, settings: Settings) -> int:
    """When the crew of a heat must be there."""
    return heat.starts_s - settings.there_before_min * MINUTE_S


def ends_s(heat: PlannedHeat, settings: Settings) -> int:
    """When the zones of a heat are free again."""
    return heat.starts_s + settings.takes_s(heat.relay)


def own_heats(spell: Spell, lanes: Sequence[int], affiliation: str) -> int:
    """In how many heats of the spell one of these lanes carries a team of that affiliation."""
    mine = likeness(affiliation)
    if not mine:
        return 0
    return sum(
        any(likeness(heat.lanes.get(lane, "")) == mine for lane in lanes) for heat in spell.heats
    )


def in_use(spell: Spell, lanes: Sequence[int]) -> int:
    """How often one of these lanes is run in, over the heats of the spell."""
    wanted = frozenset(lanes)
    return sum(len(wanted & heat.lanes.keys()) for heat in spell.heats)


def _goes_on(row: Sequence[PlannedHeat], heat: PlannedHeat, settings: Settings) -> bool:
    """Whether a heat belongs to the same spell: a break between them would be a waste of it."""
    longest_s = settings.longest_spell_min * MINUTE_S
    pause_s = settings.shortest_break_min * MINUTE_S
    return (
        heat.relay is row[0].relay
        and ends_s(heat, settings) - begins_s(row[0], settings) <= longest_s
        and begins_s(heat, settings) - ends_s(row[-1], settings) < max(pause_s, 1)
        and _alike([*row, heat])
    )


def _alike(row: Sequence[PlannedHeat]) -> bool:
    lanes = [frozenset(heat.lanes) for heat in row]
    return len(frozenset.union(*lanes) - frozenset.intersection(*lanes)) <= LIKE_LANES


def _can_be_taken(row: Sequence[PlannedHeat], most: int) -> bool:
    """Whether a crew can watch all lanes of a row as far as it can those of each heat."""
    union = len({lane for heat in row for lane in heat.lanes})
    return union <= max(most, *(len(heat.lanes) for heat in row))


def _cut(row: Sequence[PlannedHeat], cuts_s: Collection[int]) -> Iterator[list[PlannedHeat]]:
    """The heats between one cut and the next."""
    for _, part in groupby(row, lambda heat: sum(cut <= heat.starts_s for cut in cuts_s)):
        yield list(part)


def _by_use(row: Sequence[PlannedHeat]) -> tuple[int, ...]:
    times = Counter(lane for heat in row for lane in heat.lanes)
    return tuple(sorted(times, key=lambda lane: (-times[lane], lane)))


def _spell(
    number: int, row: Sequence[PlannedHeat], by_use: tuple[int, ...], settings: Settings
) -> Spell:
    times = begins_s(row[0], settings), ends_s(row[-1], settings)
    return Spell(number, row[0].relay, tuple(row), by_use, *times)
