"""What has changed from one announcement to the next, team by team, in a sentence each.

Every team reads why its own place moved: the disqualified first, then those behind.
"""

from __future__ import annotations

from collections.abc import Sequence

from app.results.wire import ResultLineOut

LAST = 1_000_000


def changes(before: Sequence[ResultLineOut], now: Sequence[ResultLineOut]) -> list[str]:
    """The differences that decide something; none where both say the same."""
    known = {line.team: line for line in before}
    moved = [
        (line, known[line.team])
        for line in now
        if line.team in known and _said(line) != _said(known[line.team])
    ]
    moved.sort(key=lambda pair: (pair[0].annotation == pair[1].annotation, pair[0].place or LAST))
    return [
        f"{line.team_name}, lane {line.lane}: {_said(line)}; before: {_said(old)}."
        for line, old in moved
    ] + [
        f"{line.team_name}, lane {line.lane}: {_said(line)}; before: not in this heat."
        for line in now
        if line.team not in known
    ]


def _said(line: ResultLineOut) -> str:
    """Place and time, or what stands in their stead: "place 3, 42.35", "DQ TR24.7"."""
    if line.place is None:
        return line.annotation or "no place"
    return ", ".join(filter(None, [f"place {line.place}", line.time, line.annotation]))
