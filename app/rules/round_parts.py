"""What a round is made of: frozen facts for `qualifying.py`, which says where every team stands.

Teams, heats, re-runs and disqualifications are named by whatever ids the caller has.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from app.rules.placing import Finish


class InTwoHeats(ValueError):
    """A team stands in two heats of one round."""

    def __init__(self, team: str, first: str, second: str) -> None:
        super().__init__(
            f"A team stands in heat {first} and again in heat {second} of one round: keep one of "
            "them."
        )
        self.team = team
        self.heats = (first, second)


class Letter(StrEnum):
    """How a team came into the next round (World Athletics CR25.4 as national federations list it
    in 2023; qD since 1 Nov 2023).
    """

    BY_PLACE = "Q"
    BY_TIME = "q"
    BY_REFEREE = "qR"
    BY_JURY = "qJ"
    BY_DRAW = "qD"


BY_WORD = frozenset({Letter.BY_REFEREE, Letter.BY_JURY})


@dataclass(frozen=True, slots=True)
class Advancement:
    """How many go on: by place in each heat, by time overall.

    `lanes` counts the lanes of the next round, in all its heats together.
    """

    by_place: int
    by_time: int
    lanes: int

    def __post_init__(self) -> None:
        if self.by_place < 0 or self.by_time < 0:
            raise ValueError("By place and by time go on 0 teams or more, not fewer.")
        if self.lanes < 1:
            raise ValueError("The next round needs at least one lane.")

    def promised(self, heats: int) -> int:
        """How many teams go on from so many heats while enough are eligible.

        More than the next round has lanes is for whoever sets it to refuse: here they go on all
        the same, and some stay without a lane.
        """
        return self.by_place * heats + self.by_time


@dataclass(frozen=True, slots=True)
class Ran:
    """A team on a finish list."""

    team: str
    finish: Finish


@dataclass(frozen=True, slots=True)
class Disqualified:
    """One disqualification of a team: it may have two, and setting aside one leaves the other."""

    team: str
    by: str


@dataclass(frozen=True, slots=True)
class HeatRun:
    """A heat and who is disqualified in it; `is_in` once its finish list has come."""

    heat: str
    ran: tuple[Ran, ...] = ()
    disqualified: frozenset[Disqualified] = frozenset()
    is_in: bool = True

    def __post_init__(self) -> None:
        if self.ran and not self.is_in:
            raise ValueError(f"Heat {self.heat} has a finish list, so it is in.")


@dataclass(frozen=True, slots=True)
class ReRun:
    """Some teams of a round run again; `ran` is empty until they have.

    With `added_places` the best so many of them join the qualifiers under `letter`. Without, their
    new times are for the ranking by time. `time_to_beat` is in thousandths of a second: only a
    faster time, compared to 0.01 s, beats it.
    """

    key: str
    teams: tuple[str, ...]
    letter: Letter
    ran: tuple[Ran, ...] = ()
    disqualified: frozenset[Disqualified] = frozenset()
    time_to_beat: int | None = None
    added_places: int = 0

    def __post_init__(self) -> None:
        if not self.teams:
            raise ValueError("A re-run needs at least one team.")
        if self.added_places < 0:
            raise ValueError("A re-run adds 0 places or more to the next round.")
        if self.added_places and self.letter not in BY_WORD:
            raise ValueError("A place that is added is the referee's (qR) or the jury's (qJ).")
        if self.time_to_beat is not None and self.time_to_beat <= 0:
            raise ValueError("The time to beat must be more than nothing.")
        if not {run.team for run in self.ran} <= set(self.teams):
            raise ValueError("A team ran in a re-run that was not ordered for it.")


@dataclass(frozen=True, slots=True)
class Seat:
    """A lane in a heat of the next round."""

    heat: str
    lane: int


@dataclass(frozen=True, slots=True)
class Round:
    """All that is known of a round.

    `advanced`: who goes on by the referee's or the jury's word (qR, qJ). `lots`: each draw, the
    tied teams as they were drawn; it settles a tie of exactly these teams. `points`: for place
    1, 2, …; empty where the round scores nothing. `seats`: the next round as drawn. `free_seats`:
    its lanes that can be given where nobody has them, first to give first. `settled`: those of its
    heats that have begun, whose lanes stay as they are. `most_seats`: once so many are drawn, none
    is free any more; None: as many as there are. Re-runs are kept in the order of their keys.
    """

    heats: tuple[HeatRun, ...]
    advancement: Advancement | None = None
    advanced: Mapping[str, Letter] = field(default_factory=dict)
    re_runs: tuple[ReRun, ...] = ()
    lots: tuple[tuple[str, ...], ...] = ()
    points: tuple[Fraction, ...] = ()
    seats: Mapping[Seat, str] = field(default_factory=dict)
    free_seats: tuple[Seat, ...] = ()
    settled: frozenset[str] = frozenset()
    most_seats: int | None = None

    def __post_init__(self) -> None:
        if not BY_WORD.issuperset(self.advanced.values()):
            raise ValueError("A team is advanced by the referee (qR) or by the jury (qJ).")
        if len({heat.heat for heat in self.heats}) < len(self.heats):
            raise ValueError("A heat stands twice in its round: keep one of them.")
        in_order = tuple(sorted(self.re_runs, key=lambda re_run: re_run.key))
        object.__setattr__(self, "re_runs", in_order)

    @property
    def still_free(self) -> tuple[Seat, ...]:
        """The lanes of the next round that nobody is drawn into and that can be given."""
        left = tuple(seat for seat in self.free_seats if seat not in self.seats)
        if self.most_seats is None:
            return left
        return left[: max(0, self.most_seats - len(self.seats))]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a team stands; `heat` is empty where no list that has come names it.

    `place` is the one in its heat, `overall` the one by time over all heats of a round that no
    single race decides (timed finals); None where there is no such, or its time is missing.
    `is_seat_free`: its seat is the lane that is free for it, and nobody has drawn it there.
    `draws_lots`: it ties at the cut with more than fit.
    `is_open`: it has no letter, and what is outstanding can still give it one. No difference
    between two standings, since it is so for many teams at once while a heat is out.
    """

    team: str
    heat: str
    place: int | None
    is_disqualified: bool
    letter: Letter | None
    points: Fraction
    seat: Seat | None
    is_open: bool = field(default=False, compare=False)
    overall: int | None = None
    is_seat_free: bool = False
    draws_lots: bool = False


@dataclass(frozen=True, slots=True)
class OpenDraw:
    """Teams that tie to 0.001 s at the cut and are more than fit: lots decide on the places."""

    teams: tuple[str, ...]
    places: int


@dataclass(frozen=True, slots=True)
class RoundStanding:
    """Where every team of a round stands; qualifiers come first in `teams`, in their order.

    `is_complete`: every heat is in, and no re-run is outstanding that could change who goes on by
    time. `unseated`: qualified, the next round is drawn, and no lane is left.
    """

    teams: Mapping[str, Standing]
    is_complete: bool
    open_draw: OpenDraw | None
    unseated: tuple[str, ...]

    @property
    def qualified(self) -> tuple[str, ...]:
        """Who goes on: Q by place, then time; q; qD; qR; qJ."""
        return tuple(team for team, standing in self.teams.items() if standing.letter)
