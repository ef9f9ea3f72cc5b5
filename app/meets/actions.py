"""What is done about meets and heats."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime

from sqlalchemy import delete, func, insert, select, update

from app.access.actions import add_official
from app.access.queries import is_official
from app.access.wire import OfficialIn
from app.clock import rfc3339
from app.crew.actions import hold_posts, release_posts
from app.ids import HeatId, MeetId, OfficialId, PostId, TeamId, new_id
from app.meets.pointing import set_heat_now
from app.meets.queries import PRESENT_RUN, heat, meet, meet_row
from app.meets.states import HEAT_TABLE, NOT_TO_RUN, HeatAct, HeatState
from app.meets.tables import heats, lanes, meets, run_lanes
from app.meets.track import lap_of
from app.meets.wire import HeatOut, LaneOut, MeetIn, MeetOut, OrganiserIn
from app.record.kinds import Kind
from app.refusals import CHANGE_IT, IdTaken, Malformed, RoleMissing, Stale, StateConflict
from app.roles import Role
from app.rules.book import BookRefused, editions, load_book
from app.sheets.limits import MAX_ROUND_LENGTH
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow
from app.visible import likeness


def make_meet(meet_id: MeetId, sent: MeetIn) -> Action[Put[MeetOut]]:
    """Set up a meet with its first official. The same again is the same."""

    def act(unit: Unit) -> Done[Put[MeetOut]]:
        _insist_on_edition(sent.edition)
        known = unit.conn.execute(select(meets).where(meets.c.id == meet_id)).one_or_none()
        if known is not None:
            if not _is_the_same(known, sent):
                raise IdTaken("a meet", meet_id, CHANGE_IT)
            return Done(Put(meet(unit.conn, meet_id), created=False), None)
        if unit.actor.roles:
            raise RoleMissing("A new meet is made with the server's setup key.")
        first = _first_official(sent)
        if is_official(unit.conn, OfficialId(first.id)):
            raise IdTaken("an official", first.id)
        unit.conn.execute(
            insert(meets).values(id=meet_id, made_at=unit.now, version=1, **_columns(sent))
        )
        organiser = OfficialIn(name=first.name, roles=[Role.ORGANISER])
        add_official(unit, OfficialId(first.id), organiser)
        out = meet(unit.conn, meet_id)
        return Done(
            Put(out, created=True), Deed(Kind.MEET_MADE, meet_id, sent.model_dump(mode="json"))
        )

    return act


def change_meet(meet_id: MeetId, sent: MeetIn, version: int) -> Action[MeetOut]:
    """Change a meet's settings; its first official stays who it was.

    Findings, rulings and windows that are there stay as they are. A report that is written later,
    and a ruling that is made later, also on a report from before, go by the changed edition.
    """

    def act(unit: Unit) -> Done[MeetOut]:
        _insist_on_edition(sent.edition)
        known = meet_row(unit.conn, meet_id)
        if known.version != version:
            raise Stale("This meet was changed meanwhile. Read it again, then decide.")
        changed = _by_the_same_organiser(known, sent)
        unit.conn.execute(
            update(meets)
            .where(meets.c.id == meet_id)
            .values(version=version + 1, **_columns(changed))
        )
        out = meet(unit.conn, meet_id)
        return Done(out, Deed(Kind.MEET_CHANGED, meet_id, changed.model_dump(mode="json")))

    return act


def _is_the_same(known: AnyRow, sent: MeetIn) -> bool:
    """Whether this is what the meet was set up with, also where terms have been added since."""
    return MeetIn.model_validate({**known.facts, "name": known.name}) == sent


def _first_official(sent: MeetIn) -> OrganiserIn:
    if sent.organiser is None:
        raise Malformed(
            "A new meet needs its first official, who names all others: send “organiser” with "
            "an id of your choice and a name.",
            field="/organiser",
        )
    return sent.organiser


def _by_the_same_organiser(known: AnyRow, sent: MeetIn) -> MeetIn:
    """Officials are named one by one, with their own addresses; the meet only names its first."""
    first = OrganiserIn.model_validate(known.facts["organiser"])
    if sent.organiser not in {None, first}:
        raise StateConflict(
            "The official who set this meet up stays its first one. Leave “organiser” out, and "
            "give the role to somebody else at …/officials/{id}. Nothing was changed.",
            field="/organiser",
            organiser=known.facts["organiser"],
        )
    return sent.model_copy(update={"organiser": first})


def _insist_on_edition(key: str) -> None:
    try:
        load_book(key)
    except BookRefused as error:
        raise Malformed(
            f"There is no edition “{key}”. Choose one of: {', '.join(editions())}.",
            field="/edition",
        ) from error


def _columns(sent: MeetIn) -> Mapping[str, object]:
    return {
        "name": sent.name,
        "time_zone": sent.time_zone,
        "edition": sent.edition,
        "lap_m": lap_of(sent.track),
        "facts": _facts(sent),
    }


def _facts(sent: MeetIn) -> Mapping[str, object]:
    return sent.model_dump(mode="json", exclude={"name"})


def set_meet_ended(unit: Unit, ended_at: datetime) -> None:
    """Store when the meet ended; the caller has looked whether it may have."""
    unit.conn.execute(
        update(meets)
        .where(meets.c.id == unit.meet_id)
        .values(ended_at=ended_at, version=meets.c.version + 1)
    )


def start_heat(heat_id: HeatId, version: int) -> Action[HeatOut]:
    """The heat runs now: every phone follows, for the pointer moves to it."""

    def act(unit: Unit) -> Done[HeatOut]:
        facts = _move_heat(unit, heat_id, version, HeatAct.START)
        set_heat_now(unit, heat_id)
        held = begin_run(unit, facts)
        deed = Deed(Kind.HEAT_STARTED, heat_id, {"posts": held, "run": facts.run})
        return Done(facts, deed)

    return act


def begin_run(unit: Unit, facts: HeatOut) -> list[PostId]:
    """Keep who stands where and who runs where, whatever the plan and the lanes become."""
    kept = {"heat_id": facts.id, "run": facts.present_run}
    lanes = [kept | {"lane": lane.lane, "team_id": lane.team} for lane in facts.lanes]
    if lanes:
        unit.conn.execute(insert(run_lanes), lanes)
    return hold_posts(unit, facts)


def run_whole_heat_again(unit: Unit, facts: HeatOut) -> dict[str, object]:
    """A decision has the whole heat run again; returns what it takes to give this run back."""
    step = HEAT_TABLE.step(facts.state, HeatAct.HOLD_BACK)
    set_heat_state(unit, facts.id, step.becomes)
    release_posts(unit, facts.id)
    started = None if facts.started_at is None else rfc3339(facts.started_at)
    return {"run": facts.run, "state": facts.state.value, "started_at": started}


def give_back_run(unit: Unit, heat_id: HeatId, kept: Mapping[str, object]) -> None:
    """The heat does not run again after all: its last run counts. The caller has looked at it.

    Its posts are those of the present plan: who stood there was let go with the order.
    """
    known = heat(unit.conn, unit.meet_id, heat_id)
    started = kept["started_at"]
    at = datetime.fromisoformat(started) if isinstance(started, str) else None
    unit.conn.execute(
        update(heats)
        .where(heats.c.id == heat_id)
        .values(state=kept["state"], started_at=at, version=known.version + 1)
    )
    hold_posts(unit, known)


def _move_heat(unit: Unit, heat_id: HeatId, version: int, what: HeatAct) -> HeatOut:
    known = heat(unit.conn, unit.meet_id, heat_id)
    step = HEAT_TABLE.step(known.state, what)
    if known.version != version:
        raise Stale("This heat was changed meanwhile. Read it again, then decide.")
    set_heat_state(unit, heat_id, step.becomes)
    return heat(unit.conn, unit.meet_id, heat_id)


def set_heat_state(unit: Unit, heat_id: HeatId, state: HeatState) -> None:
    """Store a heat's new state; the caller has asked the state table."""
    values: dict[str, object] = {"state": state.value, "version": heats.c.version + 1}
    if state in NOT_TO_RUN:
        values["started_at"] = None
    else:
        values["run"] = PRESENT_RUN  # the next one, where the heat was to come
    if state is HeatState.RUNNING:
        values["started_at"] = unit.now
    unit.conn.execute(update(heats).where(heats.c.id == heat_id).values(**values))


def add_re_run_heat(unit: Unit, of: HeatOut, team_ids: Collection[TeamId]) -> HeatId:
    """A heat, last on the programme, in which some teams of another run again.

    Each in its lane, with its bib and its runners in their order (Rio 2016, women's 4x100 m: the
    same four in the same order and lane, as press accounts have it).
    """
    suffix = ", re-run"
    name = f"{of.round[: MAX_ROUND_LENGTH - len(suffix)]}{suffix}"
    heat_id, key = HeatId(new_id()), likeness(name)
    same = (heats.c.event_id == of.event) & (heats.c.round_key == key)
    number = unit.conn.execute(select(func.max(heats.c.number)).where(same)).scalar() or 0
    of_meet = heats.c.meet_id == unit.meet_id
    last = unit.conn.execute(select(func.max(heats.c.position)).where(of_meet)).scalar_one()
    unit.conn.execute(
        insert(heats).values(
            id=heat_id,
            meet_id=unit.meet_id,
            event_id=of.event,
            round=name,
            round_key=key,
            number=number + 1,
            position=last + 1,
            state=HeatState.TO_COME.value,
            run=0,
            version=1,
        )
    )
    _draw(unit, heat_id, [lane for lane in of.lanes if lane.team in team_ids])
    return heat_id


def _draw(unit: Unit, heat_id: HeatId, here: Iterable[LaneOut]) -> None:
    rows = [
        {
            "heat_id": heat_id,
            "lane": lane.lane,
            "team_id": lane.team,
            "bib": lane.bib,
            "legs": lane.legs,
        }
        for lane in here
    ]
    unit.conn.execute(insert(lanes), rows)


def add_lane(unit: Unit, heat_id: HeatId, lane: int, of: LaneOut) -> None:
    """A team runs in a further lane of a heat that has not begun, with the bib and runners it has.

    The caller has looked whether the lane is free.
    """
    values = {"heat_id": heat_id, "lane": lane, "team_id": of.team, "bib": of.bib}
    unit.conn.execute(insert(lanes).values(**values, legs=of.legs))
    _draw_anew(unit, heat_id)


def remove_lane(unit: Unit, heat_id: HeatId, lane: int) -> None:
    """Nobody runs in this lane of a heat that has not begun."""
    here = (lanes.c.heat_id == heat_id) & (lanes.c.lane == lane)
    unit.conn.execute(delete(lanes).where(here))
    _draw_anew(unit, heat_id)


def _draw_anew(unit: Unit, heat_id: HeatId) -> None:
    values = {"version": heats.c.version + 1}
    unit.conn.execute(update(heats).where(heats.c.id == heat_id).values(**values))


def empty_heat(unit: Unit, heat_id: HeatId) -> None:
    """Nobody runs in this heat, which has not begun: it stays on the programme without lanes."""
    unit.conn.execute(delete(lanes).where(lanes.c.heat_id == heat_id))
    _draw_anew(unit, heat_id)


def refill_heat(unit: Unit, heat_id: HeatId, here: Iterable[LaneOut]) -> None:
    """A heat that was emptied has its lanes again, and no others."""
    empty_heat(unit, heat_id)
    _draw(unit, heat_id, here)
