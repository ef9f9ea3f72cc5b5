"""What is to be minded when a heat is started: is somebody drawn into it who is not through, or
somebody through and not drawn?

Nobody is kept from starting it: what happens on the track wins. Whoever starts it reads this by all
lists, rulings and decisions; everybody by what has been announced, while the heat is to come. How
a draw differs from who has qualified is found in one place (`app/rounds/sentences.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from sqlalchemy import Connection

from app.ids import EventId, HeatId, MeetId, RoundId, TeamId
from app.meets.pointing import heat_now
from app.meets.states import HeatState
from app.meets.wire import HeatNowOut, HeatOut, HeatsOut
from app.refusals import StateConflict
from app.results.wording import in_sentence
from app.rounds.queries import rounds_out
from app.rounds.sentences import drawn_otherwise
from app.rounds.standing import RoundAtHand, round_at_hand, rounds_as_announced
from app.rounds.wire import RoundOut
from app.rules.qualifying import RoundStanding, Seat
from app.store.action import Action, Done, Unit
from app.visible import likeness

RoundName = tuple[EventId, str]


def telling_what_to_mind(start: Action[HeatOut]) -> Action[HeatOut]:
    """The start of a heat, which tells what is to be minded of its draw by all that is known."""

    def told(unit: Unit) -> Done[HeatOut]:
        done = start(unit)
        started = done.result
        before = [
            round_at_hand(unit.conn, unit.meet_id, one.event, likeness(one.round))
            for one in _leading_to(unit.conn, unit.meet_id, [started]).get(started.id, ())
        ]
        shown = started.model_copy(update={"mind": _to_mind(before)})
        return Done(shown, done.deed)

    return told


def heat_to_mind(conn: Connection, meet_id: MeetId, heat: HeatOut) -> HeatOut:
    """A heat with what everybody may know that is to be minded while it is to come."""
    (shown,) = _with_what_to_mind(conn, meet_id, [heat])
    return shown


def page_to_mind(conn: Connection, meet_id: MeetId, page: HeatsOut) -> HeatsOut:
    """A page of heats, each shown like one; all their rounds are read together."""
    return page.model_copy(update={"heats": _with_what_to_mind(conn, meet_id, page.heats)})


def heat_now_to_mind(conn: Connection, meet_id: MeetId) -> HeatNowOut:
    """The heat that is now and the next one, each shown like one."""
    found = heat_now(conn, meet_id)
    known = [heat for heat in (found.now, found.next) if heat is not None]
    shown = {heat.id: heat for heat in _with_what_to_mind(conn, meet_id, known)}
    return HeatNowOut(
        now=shown[found.now.id] if found.now else None,
        next=shown[found.next.id] if found.next else None,
    )


def _with_what_to_mind(
    conn: Connection, meet_id: MeetId, heats: Sequence[HeatOut]
) -> list[HeatOut]:
    to_come = [one for one in heats if one.state is HeatState.TO_COME and one.lanes]
    before = _leading_to(conn, meet_id, to_come) if to_come else {}
    asked = list({one.id: None for rounds in before.values() for one in rounds})
    known = rounds_as_announced(conn, meet_id, asked)
    return [
        one.model_copy(update={"mind": list(_as_announced(before[one.id], known))})
        if one.id in before
        else one
        for one in heats
    ]


def _leading_to(
    conn: Connection, meet_id: MeetId, heats: Iterable[HeatOut]
) -> Mapping[HeatId, list[RoundOut]]:
    """The rounds from which teams go on to these heats; heats that nobody goes on to are left out,
    and re-runs are: theirs is a round of its own name.
    """
    leading: dict[RoundName, list[RoundOut]] = {}
    for one in rounds_out(conn, meet_id).rounds:
        if one.next_round is not None:
            leading.setdefault((one.event, likeness(one.next_round)), []).append(one)
    named = {heat.id: (heat.event, likeness(heat.round)) for heat in heats}
    return {heat: leading[name] for heat, name in named.items() if name in leading}


def _as_announced(
    before: Iterable[RoundOut], known: Mapping[RoundId, RoundAtHand]
) -> Iterator[str]:
    for words in _to_mind([known[one.id] for one in before]):
        yield f"By what has been announced: {in_sentence(words)}"


def _to_mind(before: Sequence[RoundAtHand]) -> list[str]:
    """What is to be minded of a draw, from the rounds that lead to it, which is one as a rule."""
    return list(dict.fromkeys(_sentences(before)))


def _sentences(before: Sequence[RoundAtHand]) -> Iterator[str]:
    standings: list[RoundStanding] = []
    for at_hand in before:
        try:
            standings.append(at_hand.stand())
        except StateConflict as impossible:
            yield f"Nobody can say who goes on from the {at_hand.round_name}: {impossible.detail}"
            return
    known = list(zip(before, standings, strict=True))
    for at_hand, standing in known:
        if at_hand.drawn and not _is_settled(at_hand, standing):
            yield f"Who goes on from the {at_hand.round_name} is not settled yet."
        others = [one for one in known if one[0] is not at_hand]
        asked = replace(at_hand, drawn=_asked_of(standing, at_hand, others))
        # Also who is through and for whom no lane is left is named as not drawn.
        yield from drawn_otherwise(asked, replace(standing, unseated=()))


def _is_settled(at_hand: RoundAtHand, standing: RoundStanding) -> bool:
    return at_hand.is_drawn and standing.is_complete and standing.open_draw is None


def _asked_of(
    standing: RoundStanding,
    at_hand: RoundAtHand,
    others: Sequence[tuple[RoundAtHand, RoundStanding]],
) -> Mapping[Seat, TeamId]:
    """The draw without those who may come from another round that leads there too."""
    here = set(standing.qualified)
    return {
        seat: team
        for seat, team in at_hand.drawn.items()
        if team in here
        or all(_is_settled(*other) and team not in other[1].qualified for other in others)
    }
