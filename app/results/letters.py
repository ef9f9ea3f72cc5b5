"""Which letters and points do the lines of a heat carry, and who of its round has qualified?

A heat is taken by its own finish list and all others of its round as they were announced: so an
announcement tells nothing of another heat's list or ruling that is not announced. Decisions and
lots count as soon as they are there: the next announcement in the round is what tells them.
Letters by time, and that a team is not through, are told when every other heat is announced.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from app.ids import HeatId, MeetId, TeamId
from app.refusals import StateConflict
from app.results.changes import is_other_letter, is_other_points
from app.results.wire import QualifiedOut, ResultLineOut
from app.rounds.queries import RoundKey, rounds_set_for
from app.rounds.sentences import tie_in_words
from app.rounds.standing import RoundAtHand, round_at_hand
from app.rounds.telling import better_times, letter_of, open_draw_out, ran_again
from app.rounds.wire import show_points
from app.rules.qualifying import RoundStanding

TOLD_OF_THE_ROUND = ("qualified", "next_round", "by_time", "is_round_complete", "open_draw")


@dataclass(frozen=True, slots=True)
class Letters:
    """A round that is set, and where its teams stand."""

    at_hand: RoundAtHand
    standing: RoundStanding

    def on(self, lines: Sequence[ResultLineOut]) -> list[ResultLineOut]:
        """A heat's lines with their letters and points, and what a team came to that ran again."""
        again, drawn = ran_again(self.at_hand), self._drawn()
        letters = {line.team: self._letter(line.team) for line in lines}
        return [
            line.model_copy(
                update={
                    "qualification": letters[line.team],
                    "is_by_lot": line.team in drawn and letters[line.team] is not None,
                    "points": self._points(line.team),
                    "reason": line.reason or again.get(line.team, ""),
                }
            )
            for line in lines
        ]

    def contradict(self, told: Sequence[Mapping[str, Any]]) -> bool:
        """Whether lines as they were announced carry other letters or points."""
        drawn = self._drawn()
        return any(self._contradict_line(line, drawn) for line in told)

    def _contradict_line(self, line: Mapping[str, Any], drawn: Collection[TeamId]) -> bool:
        team, told = line["team"], line.get("qualification")
        letter = self._letter(team)
        by_lot = team in drawn and letter is not None
        return is_other_letter(letter, told, by_lot=by_lot) or is_other_points(
            self._points(team), line.get("points", "")
        )

    def first_told_by(self, heat_id: HeatId) -> bool:
        """Whether it is for this heat to tell who goes on, or what is scored: it was announced
        last, and that no other heat is held has made it known since.
        """
        if self.at_hand.completes != heat_id:
            return False
        return bool(self.qualified()) or any(one.points for one in self.standing.teams.values())

    @property
    def lots_to_draw(self) -> str:
        """That lots are to be drawn in the round, and between whom; empty where none are."""
        draw = self.standing.open_draw
        if draw is None:
            return ""
        return f"Lots are to be drawn: {tie_in_words(self.at_hand, draw)}."

    def of_the_round(self) -> dict[str, Any]:
        """What a result says of its whole round."""
        advancement = self.at_hand.round.advancement
        return {
            "qualified": self.qualified(),
            "next_round": self.at_hand.next_round,
            "by_time": 0 if advancement is None else advancement.by_time,
            "is_round_complete": self.standing.is_complete,
            "open_draw": open_draw_out(self.at_hand, self.standing),
        }

    def qualified(self) -> list[QualifiedOut]:
        """Who goes on from the whole round, in order; nobody while that is not settled."""
        if not self.standing.is_complete or self.standing.open_draw is not None:
            return []
        times = better_times(self.at_hand)
        return [self._qualified(team, times) for team in self.standing.qualified]

    def _drawn(self) -> frozenset[TeamId]:
        """The teams that lots were drawn between."""
        return frozenset(TeamId(team) for lots in self.at_hand.round.lots for team in lots)

    def _letter(self, team: TeamId) -> str | None:
        return letter_of(self.at_hand, self.standing, team)

    def _points(self, team: TeamId) -> str:
        known = self.standing.teams.get(team)
        return "" if known is None else show_points(known.points)

    def _qualified(self, team: str, times: Mapping[TeamId, str]) -> QualifiedOut:
        known = self.standing.teams[team]
        return QualifiedOut(
            team=TeamId(team),
            team_name=self.at_hand.names[team],
            heat_number=self.at_hand.heat_numbers.get(known.heat),
            place=known.place,
            time=times.get(TeamId(team), ""),
            letter=str(known.letter),
        )


def letters_in(
    conn: Connection, meet_id: MeetId, heat_ids: Iterable[HeatId], beside: Collection[HeatId]
) -> Mapping[HeatId, Letters]:
    """The letters of those heats whose round is set, each round read once.

    `beside`: the heats that are taken by their finish lists, all others as announced.
    """
    known: dict[RoundKey, Letters | None] = {}
    found: dict[HeatId, Letters] = {}
    for heat_id, which in rounds_set_for(conn, heat_ids).items():
        if which not in known:
            known[which] = _letters(conn, meet_id, which, beside)
        letters = known[which]
        if letters is not None:
            found[heat_id] = letters
    return found


def _letters(
    conn: Connection, meet_id: MeetId, which: RoundKey, beside: Collection[HeatId]
) -> Letters | None:
    """None where the round cannot be worked out: nobody can say then."""
    at_hand = round_at_hand(conn, meet_id, which.event, which.key, announced_beside=beside)
    try:
        return Letters(at_hand, at_hand.stand())
    except StateConflict:
        return None
