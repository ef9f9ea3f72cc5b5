"""Which letter does each team of a round get, and what is still undecided?

By place in each heat and by time overall; ties by time at the cut are looked at to 0.001 s where
all of the tie have thousandths (IAAF Rule 167.2, World Athletics TR21). The number that was
promised is filled up by time, whatever a tie for a place costs or a short heat leaves over (a tie
by place "may cost one time place": interpretation of TR21). Who is advanced by the referee or the
jury, and who takes an added place, comes on top, and takes no room from those who tie.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Final

from app.rules.cuts import Cut, Lots, Ranked, cut
from app.rules.placing import Finish, time_ranks
from app.rules.round_parts import Advancement, Letter, OpenDraw, Round
from app.rules.running_again import added, can_change

NO_TIME: Final = 10**9
IN_ORDER: Final = (
    Letter.BY_PLACE,
    Letter.BY_TIME,
    Letter.BY_DRAW,
    Letter.BY_REFEREE,
    Letter.BY_JURY,
)


@dataclass(frozen=True, slots=True)
class Entry:
    """A team in its heat; `heat` is empty where no list names the team."""

    team: str
    heat: str
    finish: Finish | None = None
    place: int | None = None


@dataclass(frozen=True, slots=True)
class Field:
    """Everybody in a round: where they came in, whose times rank, who is disqualified."""

    round_: Round
    entries: Mapping[str, Entry]
    timed: Mapping[str, Finish]
    out: Collection[str]

    @property
    def all_in(self) -> bool:
        return all(heat.is_in for heat in self.round_.heats)

    def lots(self, through: Collection[str]) -> Lots:
        """The draws; nobody who goes on anyway takes part in one."""
        return Lots(self.round_.lots, {*through, *self.round_.advanced}.difference(self.out))


@dataclass(frozen=True, slots=True)
class GoingOn:
    """Who goes on and by what, in order; and who of the others may yet."""

    letters: Mapping[str, Letter]
    is_complete: bool
    open_draw: OpenDraw | None
    undecided: Collection[str]


def going_on(field: Field, advancement: Advancement) -> GoingOn:
    """Give out the letters.

    By place as soon as a heat is in; by time only when the round is complete and no draw for a
    place is open, since whoever loses that draw still ranks by time.
    """
    cuts = _place_cuts(field, advancement)
    letters = _letters_by_place(field, cuts)
    places = advancement.promised(len(field.round_.heats)) - len(letters)
    by_time = _time_cut(field, letters, places, advancement.lanes - len(letters))
    is_complete = field.all_in and not (places > 0 and _outstanding(field, letters, by_time))
    is_settled = is_complete and not any(one.open_draw for one in cuts)
    if is_settled:
        _give(letters, Letter.BY_TIME, by_time)
        cuts.append(by_time)
    cuts += _give_on_top(field, letters)
    draws = [one.open_draw for one in cuts if one.open_draw]
    waiting = _waiting(field, is_settled, is_complete).union(*(draw.teams for draw in draws))
    undecided = waiting.difference(letters, field.out)
    return GoingOn(_in_order(letters), is_complete, next(iter(draws), None), undecided)


def _place_cuts(field: Field, advancement: Advancement) -> list[Cut]:
    """Who is through by place in each heat; a tie goes to lots where not all such ties fit.

    No heat's tie goes before another's.
    """
    heats = sorted(heat.heat for heat in field.round_.heats)
    placed: dict[str, list[Ranked]] = {heat: [] for heat in heats}
    for entry in field.entries.values():
        if entry.place is not None and entry.place <= advancement.by_place:
            placed[entry.heat].append(((entry.place,), entry.team))
    to_come = sum(not heat.is_in for heat in field.round_.heats)
    within = sum(map(len, placed.values())) + advancement.by_place * to_come
    room = within if within <= advancement.lanes else 0
    lots = field.lots(())
    return [cut(sorted(ranked), advancement.by_place, room, lots) for ranked in placed.values()]


def _letters_by_place(field: Field, cuts: Iterable[Cut]) -> dict[str, Letter]:
    through = chain.from_iterable(one.over for one in cuts)
    letters = dict.fromkeys(
        sorted(through, key=lambda team: _by_place_then_time(field.entries[team])), Letter.BY_PLACE
    )
    for team in chain.from_iterable(one.drawn for one in cuts):
        letters[team] = Letter.BY_DRAW
    return letters


def _by_place_then_time(entry: Entry) -> tuple[int, int, str, str]:
    time = entry.finish.thousandths if entry.finish is not None else None
    return entry.place or 0, time or NO_TIME, entry.heat, entry.team


def _time_cut(field: Field, through: Collection[str], places: int, room: int) -> Cut:
    left = {team: finish for team, finish in field.timed.items() if team not in through}
    ranks = time_ranks(list(left.values()))
    return cut(sorted(zip(ranks, left, strict=True)), places, room, field.lots(()))


def _outstanding(field: Field, through: Collection[str], by_time: Cut) -> bool:
    return any(can_change(re_run, through, by_time, field.out) for re_run in field.round_.re_runs)


def _give(letters: dict[str, Letter], letter: Letter, one: Cut) -> None:
    """Nobody loses a letter that it has."""
    for team in one.over:
        letters.setdefault(team, letter)
    for team in one.drawn:
        letters.setdefault(team, Letter.BY_DRAW)


def _give_on_top(field: Field, letters: dict[str, Letter]) -> list[Cut]:
    """The letters of added places and of those who are advanced; gives the cuts of the former."""
    cuts = []
    for re_run in field.round_.re_runs:
        cuts.append(added(re_run, field.out, field.lots(tuple(letters))))
        _give(letters, re_run.letter, cuts[-1])
    for team, letter in sorted(field.round_.advanced.items()):
        if team not in field.out:
            letters.setdefault(team, letter)
    return cuts


def _waiting(field: Field, is_settled: bool, is_complete: bool) -> set[str]:
    """Who can still get a letter, whether or not it has one."""
    waiting = set() if is_settled else set(field.timed)
    for re_run in field.round_.re_runs:
        if not re_run.ran and (re_run.added_places or not is_complete):
            waiting.update(re_run.teams)
    if not field.all_in:
        waiting.update(entry.team for entry in field.entries.values() if not entry.heat)
    return waiting


def _in_order(letters: Mapping[str, Letter]) -> dict[str, Letter]:
    return dict(sorted(letters.items(), key=lambda given: IN_ORDER.index(given[1])))
