"""What has changed from one announcement to the next, team by team, in a sentence each.

Every team reads why its own place moved: first those whose own time, status or annotation changed,
the disqualified before the others, then those who moved because of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from app.results.wire import ResultLineOut
from app.results.wording import LETTERS, in_sentence

LAST = 1_000_000
BY_DECISION = frozenset({"qR", "qJ"})


class Changes(NamedTuple):
    """A sentence for each team, and how many of them, the last ones, are of teams whose place alone
    changed, because of the others.
    """

    sentences: list[str]
    moved_only: int


def changes(before: Sequence[ResultLineOut], now: Sequence[ResultLineOut]) -> Changes:
    """The differences that decide something; none exactly where both say the same.

    Where nothing but places changed, the places are the change. How a name is written decides
    nothing, and a letter that is not known on either side contradicts none, unless a decision gave
    or took it, or lots were drawn for it since. Points are told where they change without the
    place.
    """
    known, left = {line.team: line for line in before}, {line.team for line in now}
    pairs = [
        (line, known[line.team])
        for line in now
        if line.team in known and _differ(line, known[line.team])
    ]
    pairs.sort(key=lambda pair: (pair[0].annotation == pair[1].annotation, pair[0].place or LAST))
    own = [_changed(line, old) for line, old in pairs if not _moved_only(line, old)]
    own += [
        _sentence(line, _said(line), "not in this heat") for line in now if line.team not in known
    ]
    own += [
        _sentence(line, "not in this heat", _said(line)) for line in before if line.team not in left
    ]
    moved = [_changed(line, old) for line, old in pairs if _moved_only(line, old)]
    return Changes(own + moved, len(moved) if own else 0)


def _changed(line: ResultLineOut, old: ResultLineOut) -> str:
    now, before = _with_the_rest(line, old), _with_the_rest(old, line)
    if now == before and line.reason != old.reason:
        now, before = f"{now} ({in_sentence(line.reason)})", f"{before} ({in_sentence(old.reason)})"
    return _sentence(line, now, before if line.lane == old.lane else f"lane {old.lane}, {before}")


def _sentence(line: ResultLineOut, now: str, before: str) -> str:
    return f"{line.team_name}, lane {line.lane}: {now}; before: {before}."


def _differ(line: ResultLineOut, old: ResultLineOut) -> bool:
    return not _moved_only(line, old) or line.place != old.place


def _moved_only(line: ResultLineOut, old: ResultLineOut) -> bool:
    return _ran(line) == _ran(old) and not (_letter_changed(line, old) or _earns_else(line, old))


def _letter_changed(line: ResultLineOut, old: ResultLineOut) -> bool:
    by_lot = line.is_by_lot or old.is_by_lot
    return is_other_letter(line.qualification, old.qualification, by_lot=by_lot)


def is_other_letter(one: str | None, other: str | None, *, by_lot: bool = False) -> bool:
    """Whether two letters contradict each other: one that is not known contradicts none, since the
    announcement of the round's last heat tells who goes on. But one that a decision gave or took
    does not wait for other heats, and of lots nothing else tells: who went on, and who did not.
    """
    if one is None or other is None:
        return one != other and (by_lot or not BY_DECISION.isdisjoint({one, other}))
    return one != other


def _earns_else(line: ResultLineOut, old: ResultLineOut) -> bool:
    """Other points for the same place."""
    return line.place == old.place and is_other_points(line.points, old.points)


def is_other_points(one: str, other: str) -> bool:
    """Whether points contradict each other: none are known before the round is complete."""
    return bool(one and other) and one != other


def _with_the_rest(line: ResultLineOut, other: ResultLineOut) -> str:
    """What is said of a line, with letter and points where they differ: alone where all else does
    not.
    """
    more = [_through(line.qualification)] if _letter_changed(line, other) else []
    more += [f"{line.points} points"] if _earns_else(line, other) else []
    same = (line.place, *_ran(line)) == (other.place, *_ran(other))
    return ", ".join(more if more and same else [_said(line), *more])


def _through(letter: str | None) -> str:
    """Whether a team goes on, as it is read aloud, with the letter of the sheet."""
    if letter:
        return f"through {LETTERS[letter]} ({letter})"
    return "not known yet whether through" if letter is None else "not through"


def _ran(line: ResultLineOut) -> tuple[object, ...]:
    """What a team's own race came to, whatever the others did."""
    reason = line.reason if line.annotation.startswith("DQ") else ""
    return (line.lane, line.time, line.annotation, reason)


def _said(line: ResultLineOut) -> str:
    """Place and time, or what stands in their stead: "place 3, 42.35", "DQ TR24.7"."""
    if line.place is None:
        return line.annotation or "no place"
    return ", ".join(filter(None, [f"place {line.place}", line.time, line.annotation]))
