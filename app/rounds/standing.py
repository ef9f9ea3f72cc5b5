"""Where does a round stand, by what is stored or by what was announced?

Three readings of one round. By all finish lists that are loaded, for the referee, the jury and the
desk. For what a heat's announcement says: that heat by its list, all others as announced, and all
that was decided, or ruled on in a re-run, which is a matter of two heats. And for everybody, as
told: by the announcements alone, so that nothing is known before its announcement; what a decision
has given or taken, and lots, count from the next announcement in the round on. Who stands where is
the rules' business (`app/rules/qualifying.py`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from sqlalchemy import Connection

from app.ids import EventId, HeatId, MeetId, RoundId, TeamId
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.refusals import StateConflict
from app.rounds.queries import RoundKey, re_run_of_heat
from app.rounds.rows import RoundRows, round_rows, rows_as_announced
from app.rules.placing import HUNDREDTHS, THOUSANDTHS, Finish, FinishStatus, hundredths
from app.rules.qualifying import (
    Advancement,
    Disqualified,
    HeatRun,
    InTwoHeats,
    Letter,
    Placed,
    Ran,
    ReRun,
    Round,
    RoundStanding,
    Seat,
    stand,
)
from app.rules.relay import Relay
from app.visible import likeness

IN_FORCE = "in force"
CALLED_OFF = "called off"


@dataclass(frozen=True, slots=True)
class NextHeat:
    """A heat of the next round, and the number of its announcement that stands, if any."""

    heat: HeatId
    number: int
    state: HeatState
    announced: int | None

    @property
    def has_begun(self) -> bool:
        return self.state is not HeatState.TO_COME


@dataclass(frozen=True, slots=True)
class RoundAtHand:
    """A round as it was read, with the names of all that is in it.

    `drawn`: who is drawn into the next round. The same stands in `round.seats` until all heats of
    the next round have begun; from then on no lane is given to anybody else. `published`: heats and
    re-runs that were announced. `is_drawn`: a start list has come, if only of heats that are not
    held. `called_off`: re-runs that do not count. `completes`: the heat that was announced last,
    where one was not held and no announcement tells who goes on or scores.
    """

    round: Round
    event: EventId
    event_name: str
    round_key: str
    round_name: str
    next_round: str
    names: Mapping[str, str]
    affiliations: Mapping[str, str]
    heat_numbers: Mapping[str, int]
    heat_names: Mapping[str, str]
    next_heats: tuple[NextHeat, ...]
    drawn: Mapping[Seat, TeamId]
    published: frozenset[HeatId]
    is_set: bool
    is_drawn: bool
    called_off: tuple[ReRun, ...] = ()
    completes: HeatId | None = None
    placed: Placed = field(default_factory=dict, compare=False)
    """Shared by all states of this round that are made of this one: most of its heats stay."""

    @property
    def all_next_have_begun(self) -> bool:
        """Whether no lane of the next round can be given or taken any more."""
        return bool(self.next_heats) and all(heat.has_begun for heat in self.next_heats)

    def stand(self) -> RoundStanding:
        """Where every team stands; StateConflict says why that cannot be worked out."""
        try:
            return stand(self.round, self.placed)
        except InTwoHeats as error:
            name = self.names.get(error.team, "A team")
            heats = [self.heat_names[one] for one in error.heats]
            raise self._impossible(
                f"{name} stands in {' and in '.join(heats)}. Correct the start lists."
            ) from error
        except ValueError as error:
            raise self._impossible(str(error)) from error

    def _impossible(self, why: str) -> StateConflict:
        return StateConflict(f"{self.event_name}, {self.round_name} cannot be worked out: {why}")

    def seat_name(self, seat: Seat) -> str:
        """A lane of the next round as people name it."""
        if len(self.next_heats) == 1:
            return f"lane {seat.lane}"
        return f"{self.heat_names[seat.heat]}, lane {seat.lane}"


def round_of_heat(conn: Connection, meet_id: MeetId, heat: HeatOut) -> RoundAtHand | None:
    """The round of a heat by all lists that are loaded; a re-run is of the round it was ordered in.

    None for a re-run that was called off.
    """
    key = round_key_of(conn, heat)
    return None if key is None else round_at_hand(conn, meet_id, heat.event, key)


def round_repeated_by(conn: Connection, meet_id: MeetId, heat: HeatOut) -> RoundAtHand:
    """The round that a re-run was ordered in, also where it was called off."""
    re_run = re_run_of_heat(conn, heat.id)
    assert re_run is not None
    return round_at_hand(conn, meet_id, heat.event, re_run.round_key)


def round_key_of(conn: Connection, heat: HeatOut) -> str | None:
    """The key of a heat's round, None for a re-run that was called off."""
    re_run = re_run_of_heat(conn, heat.id)
    if re_run is None:
        return likeness(heat.round)
    return str(re_run.round_key) if re_run.state == IN_FORCE else None


def round_at_hand(
    conn: Connection,
    meet_id: MeetId,
    event_id: EventId,
    round_key: str,
    *,
    announced_beside: Collection[HeatId] | None = None,
    only_told: bool = False,
) -> RoundAtHand:
    """A round as it stands now, also where nobody set it: then no letters and no points.

    By all lists that are loaded; or, with `announced_beside`, by the lists of those heats and by
    the announcements of all others. A list of another race or start list is as good as none.
    Decisions and lots count at once; with `only_told` once an announcement in the round has come
    after them.
    """
    rows = round_rows(conn, meet_id, RoundKey(event_id, round_key), announced_beside)
    return _Reading(rows, round_key, announced_beside, only_told=only_told).at_hand()


def rounds_as_announced(
    conn: Connection, meet_id: MeetId, ids: Sequence[RoundId]
) -> Mapping[RoundId, RoundAtHand]:
    """Rounds of a meet that are set, by their announcements alone and what those have told."""
    return {
        one: _Reading(rows, rows.setting.round_key, (), only_told=True).at_hand()
        for one, rows in rows_as_announced(conn, meet_id, ids).items()
        if rows.setting is not None
    }


class _Reading:
    """Makes a round of its rows."""

    def __init__(
        self,
        rows: RoundRows,
        round_key: str,
        announced_beside: Collection[HeatId] | None,
        *,
        only_told: bool,
    ) -> None:
        self._rows = rows
        self._key = round_key
        self._beside = announced_beside
        self._only_told = only_told
        self._told = max((row.decisions_seen for row in rows.announced), default=0)
        self._lanes: dict[HeatId, dict[int, TeamId]] = {}
        for lane in rows.lanes:
            self._lanes.setdefault(lane.heat_id, {})[lane.lane] = lane.team_id
        self._lists = {row.heat_id: row for row in rows.lists}
        self._seen = {row.heat_id: row.decisions_seen for row in rows.announced}
        self._snapshots = {row.heat_id: row.snapshot for row in rows.announced}
        self._out: dict[HeatId, list[Disqualified]] = {}
        for row in rows.disqualified:
            if row.state == IN_FORCE:
                self._out.setdefault(row.heat_id, []).append(Disqualified(row.team_id, row.id))
        self._by_id = {row.id: row for row in rows.heats}
        self._next_key = rows.setting.next_key if rows.setting is not None else None
        self._out_of_re_runs = self._teams_out_of_re_runs()

    def at_hand(self) -> RoundAtHand:
        rows, setting = self._rows, self._rows.setting
        own = [heat for heat in rows.heats if heat.round_key == self._key and _is_held(heat)]
        next_heats = self._next_heats()
        drawn = {
            Seat(heat.heat, lane): team
            for heat in next_heats
            for lane, team in self._lanes.get(heat.heat, {}).items()
        }
        round_name = own[0].round if own else setting.round if setting is not None else self._key
        return RoundAtHand(
            round=self._round(own, next_heats, drawn),
            event=rows.event.id,
            event_name=rows.event.name,
            round_key=self._key,
            round_name=round_name,
            next_round=(setting.next_round or "") if setting is not None else "",
            names={row.team_id: row.name for row in self._named()},
            affiliations={row.team_id: row.affiliation for row in self._named()},
            heat_numbers={heat.id: heat.number for heat in rows.heats},
            heat_names={heat.id: self._heat_name(heat) for heat in rows.heats},
            next_heats=next_heats,
            drawn=drawn,
            published=frozenset(heat.id for heat in rows.heats if _is_published(heat)),
            is_set=setting is not None,
            is_drawn=any(heat.round_key == self._key for heat in rows.heats),
            called_off=tuple(self._re_run(row) for row in rows.re_runs if row.state == CALLED_OFF),
            completes=self._completes(),
        )

    def _round(
        self, own: Iterable[Any], next_heats: tuple[NextHeat, ...], drawn: Mapping[Seat, TeamId]
    ) -> Round:
        """The round as the rules take it, of its own heats."""
        rows, setting = self._rows, self._rows.setting
        begun = frozenset(heat.heat for heat in next_heats if heat.has_begun)
        over = bool(next_heats) and len(begun) == len(next_heats)
        advancement = self._advancement()
        return Round(
            heats=tuple(self._heat_run(heat) for heat in own),
            advancement=advancement,
            advanced={
                row.team_id: Letter(row.letter) for row in rows.advanced if self._counts(row)
            },
            re_runs=tuple(self._re_run(row) for row in rows.re_runs if self._is_ordered(row)),
            lots=tuple(tuple(row.drawn) for row in rows.lots if self._is_drawn(row)),
            points=tuple(map(Fraction, setting.points)) if setting is not None else (),
            seats={} if over else drawn,
            free_seats=() if over else self._free_seats(next_heats, advancement),
            settled=begun,
            most_seats=advancement.lanes if advancement is not None else None,
        )

    def _completes(self) -> HeatId | None:
        """Where the last heat to be announced is not held, nothing has told what it would have."""
        told = [row for row in self._rows.announced if _is_published(self._by_id[row.heat_id])]
        left_over = any(
            one.round_key == self._key and not _is_held(one) for one in self._rows.heats
        )
        if not left_over or not told or any(map(_tells_the_whole, told)):
            return None
        return HeatId(max(told, key=lambda row: (row.entered_at, row.heat_id)).heat_id)

    def _named(self) -> Iterator[Any]:
        """Every row that names a team: who is out or advanced may have been drawn away since."""
        yield from self._rows.lanes
        yield from self._rows.disqualified
        yield from self._rows.advanced

    def _counts(self, row: Any) -> bool:
        """Whether what a decision has given counts: until another takes it away."""
        if not self._only_told:
            return bool(row.state == IN_FORCE)
        return self._is_told(row.given) and not self._is_told(row.taken)

    def _is_ordered(self, row: Any) -> bool:
        """A re-run counts as what a decision gives; its own announcement since tells of it too."""
        seen = self._seen.get(row.run_heat_id, 0)
        return self._counts(row) or (
            row.state == IN_FORCE
            and seen >= (row.given or 0)
            and _is_published(self._by_id[row.run_heat_id])
        )

    def _is_drawn(self, lots: Any) -> bool:
        """Lots have no number, so they are told by the announcement that was entered after them."""
        announced = self._rows.announced
        return not self._only_told or any(row.entered_at >= lots.entered_at for row in announced)

    def _is_told(self, number: int | None) -> bool:
        """Whether an announcement in the round came after the decision of this number."""
        return number is not None and number <= self._told

    def _heat_name(self, heat: Any) -> str:
        """A heat within its round; a re-run is called by its own round's name."""
        if heat.round_key in {self._key, self._next_key}:
            return f"heat {heat.number}"
        return f"{heat.round}, heat {heat.number}"

    def _advancement(self) -> Advancement | None:
        setting = self._rows.setting
        if setting is None or setting.next_key is None:
            return None
        return Advancement(setting.by_place, setting.by_time, setting.lanes)

    def _next_heats(self) -> tuple[NextHeat, ...]:
        return tuple(
            NextHeat(heat.id, heat.number, HeatState(heat.state), heat.announced)
            for heat in self._rows.heats
            if heat.round_key == self._next_key and _is_held(heat)
        )

    def _free_seats(
        self, next_heats: tuple[NextHeat, ...], advancement: Advancement | None
    ) -> tuple[Seat, ...]:
        """From the outside in: where there are more lanes than teams, the inside ones stay free
        (IAAF Rule 166, 2016-17, note 4). None of a heat that has begun.
        """
        if advancement is None:
            return ()
        highest = Relay(self._rows.event.relay).places(self._rows.track_lanes)
        to_come = [one for one in next_heats if not one.has_begun]
        return tuple(Seat(one.heat, lane) for lane in range(highest, 0, -1) for one in to_come)

    def _heat_run(self, heat: Any) -> HeatRun:
        ran, out = self._ran(heat)
        return HeatRun(heat.id, ran or (), frozenset(out), is_in=ran is not None)

    def _re_run(self, row: Any) -> ReRun:
        ran, told = self._ran(self._by_id[row.run_heat_id])
        # It counts in the heat of the team too, which may be announced before the re-run is.
        out = self._out.get(row.run_heat_id, [])
        if self._only_told:
            out = [one for one in told if (row.run_heat_id, one.team) in self._out_of_re_runs]
        return ReRun(
            key=row.run_heat_id,
            teams=tuple(row.teams),
            letter=Letter(row.letter),
            ran=tuple(one for one in ran or () if one.team in row.teams),
            disqualified=frozenset(out),
            time_to_beat=row.time_to_beat,
            added_places=row.added_places,
        )

    def _teams_out_of_re_runs(self) -> frozenset[tuple[HeatId, TeamId]]:
        """Who is disqualified in a re-run, by its heat. What a decision has set aside there counts
        for everybody until an announcement in the round has told that; what a ruling has, until
        those of both heats have.
        """
        ordered = {row.run_heat_id for row in self._rows.re_runs if self._is_ordered(row)}
        return frozenset(
            (row.heat_id, row.team_id)
            for row in self._rows.disqualified
            if row.heat_id in ordered
            and (row.state == IN_FORCE or (self._only_told and not self._is_told(row.taken)))
        )

    def _is_lifted(self, line: Mapping[str, Any], lines: list[dict[str, Any]]) -> bool:
        """Whether a team was announced as disqualified in its heat by its re-run alone, and is not
        any more, nor does its place there have to be announced first.
        """
        out = {team for _heat, team in self._out_of_re_runs}
        by_re_run = line.get("is_out_by_re_run", False) and line["team"] not in out
        return by_re_run and _tells_its_place(line, lines)

    def _ran(self, heat: Any) -> tuple[tuple[Ran, ...] | None, list[Disqualified]]:
        """What is known of a heat, None where its list has not come; and who is out of it."""
        if self._beside is None or heat.id in self._beside:
            return self._by_list(heat), self._out.get(heat.id, [])
        if not _is_published(heat):
            return None, []
        lines = self._snapshots[heat.id]["lines"]
        out = [
            Disqualified(line["team"], "announced")
            for line in lines
            if line["annotation"].startswith("DQ") and not self._is_lifted(line, lines)
        ]
        return tuple(_ran_as_told(lines)), out

    def _by_list(self, heat: Any) -> tuple[Ran, ...] | None:
        row, here = self._lists.get(heat.id), self._lanes.get(heat.id, {})
        if row is None or row.run != heat.present_run or len(row.rows) != len(here):
            return None
        if any(here.get(line["lane"]) != line["team"] for line in row.rows):
            return None
        return tuple(
            Ran(
                line["team"],
                Finish(
                    line["lane"],
                    FinishStatus(line["status"]),
                    line["thousandths"],
                    line["place"],
                    line["decimals"],
                ),
            )
            for line in row.rows
        )


def _is_held(heat: Any) -> bool:
    """Whether a heat is of its round: one that is not held adds nothing to it, and awaits none."""
    return bool(heat.state != HeatState.NOT_HELD)


def _tells_the_whole(announced: Any) -> bool:
    """Whether an announcement says who goes on from its whole round, or what is scored."""
    said = announced.snapshot
    return bool(said.get("qualified")) or any(line.get("points") for line in said["lines"])


def _is_published(heat: Any) -> bool:
    return heat.state == HeatState.ANNOUNCED and heat.announced is not None


def _ran_as_told(lines: list[dict[str, Any]]) -> Iterator[Ran]:
    """Who ran, by an announcement: its places part what its times leave open.

    Who is disqualified and has neither time nor place left is named among those who are out.
    """
    for line in lines:
        status = FinishStatus(line["status"])
        known = line["thousandths"] is not None or line["place"] is not None
        if known or status is not FinishStatus.FINISHED:
            yield Ran(
                line["team"],
                Finish(line["lane"], status, line["thousandths"], line["place"], _decimals(line)),
            )


def _decimals(line: Mapping[str, Any]) -> int:
    """Announcements of before did not tell; the last figure does, but for a time that ends in 0."""
    told: int | None = line.get("decimals")
    if told is not None:
        return told
    return THOUSANDTHS if (line["thousandths"] or 0) % 10 else HUNDREDTHS


def _tells_its_place(line: Mapping[str, Any], lines: list[dict[str, Any]]) -> bool:
    """Whether a line gives a team its place among the others of its heat, by its time alone, or as
    one that did not finish and has none: an announcement tells no place of who is disqualified.
    """
    if line["status"] != FinishStatus.FINISHED:
        return True
    others = [
        other["thousandths"]
        for other in lines
        if other is not line and other["status"] == FinishStatus.FINISHED
    ]
    if line["thousandths"] is None or None in others:
        return False
    return all(hundredths(other) != hundredths(line["thousandths"]) for other in others)
