"""Who stands in two heats of a round by a start list, or in none of it any more?"""

from __future__ import annotations

from collections.abc import Iterator

from app.ids import HeatId
from app.meets.known import EventKey, Known
from app.meets.states import HeatState
from app.sheets.start_list import StartList
from app.visible import likeness


def in_two_heats(known: Known, start_list: StartList) -> Iterator[str]:
    """The teams of this file that then stand in two heats of one round, in a sentence each."""
    listed = {
        (likeness(heat.event), likeness(heat.round), heat.heat): {
            likeness(entry.team): entry.team for entry in heat.entries
        }
        for heat in start_list.heats
    }
    elsewhere: dict[tuple[EventKey, str, str], list[tuple[int, str]]] = {}
    for (event, round_key, number), (heat_id, state, _when) in known.heats.items():
        if (event, round_key, number) not in listed:
            way_out = _if_left_over(number, heat_id, state)
            for team, _bib, _legs in known.running.get(heat_id, {}).values():
                elsewhere.setdefault((event, round_key, team), []).append((number, way_out))
    for (event, round_key, number), named in listed.items():
        for team, name in named.items():
            before = elsewhere.setdefault((event, round_key, team), [])
            if before:
                other, way_out = before[0]
                yield (
                    f"{name} stands in heat {other} and in heat {number} of one round: a team runs "
                    f"in one of them.{way_out}"
                )
            before.append((number, ""))


def left_out(known: Known, start_list: StartList) -> Iterator[str]:
    """The teams that then no longer stand in any heat of their round that is run, in a sentence
    each: a file that names only who moves takes all others out of the heats that it names.
    """
    runs: set[tuple[EventKey, str, str]] = set()
    named = {}
    for heat in start_list.heats:
        event, round_key = likeness(heat.event), likeness(heat.round)
        named[event, round_key, heat.heat] = heat
        runs.update((event, round_key, likeness(entry.team)) for entry in heat.entries)
    for (event, round_key, number), (heat_id, state, _when) in known.heats.items():
        is_run = state is not HeatState.NOT_HELD and heat_id not in known.called_off
        if is_run and (event, round_key, number) not in named:
            lanes_there = known.running.get(heat_id, {}).values()
            runs.update((event, round_key, team) for team, _bib, _legs in lanes_there)
    for (event, round_key, number), heat in named.items():
        stored = known.heats.get((event, round_key, number))
        before = {} if stored is None else known.running.get(stored[0], {})
        for lane, (team, _bib, _legs) in sorted(before.items()):
            if (event, round_key, team) not in runs:
                name = known.teams[event, team][1].name
                yield (
                    f"{name} no longer has a lane in {heat.event}, {heat.round}, heat {number} "
                    f"(lane {lane})."
                )


def _if_left_over(number: int, heat_id: HeatId, state: HeatState) -> str:
    """What to do about a heat that this file does not name, if its round has fewer heats now."""
    if state is not HeatState.TO_COME:
        return ""
    return f" If heat {number} is not held any more, say so at …/heats/{heat_id}/not-held."
