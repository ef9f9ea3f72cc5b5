"""The course of a search: begun, followed, stopped, ended. Each step is decided in the meet's one
order of acts, so that of two processes one begins; none is an act that belongs on record.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Final

from sqlalchemy import ColumnElement, delete, insert, select, update

from app.access.queries import official_names
from app.crew_search.kept import PROCESS_GONE, Search, SoFar, is_silent
from app.crew_search.queries import begun_before, last_search, search_of
from app.crew_search.tables import crew_searches
from app.crew_search.wire import Phase, SearchIn
from app.ids import OfficialId
from app.record.queries import is_closed
from app.refusals import MeetErased, StateConflict
from app.store.action import Action, Done, Put, Unit

GOES_ON: Final = (
    "A plan is being searched for at this meet already. Stop that search, or wait for its end."
)
NOT_BEGUN: Final = "The search was stopped before its turn came. Search again."
PEOPLE_CHANGED: Final = (
    "No plan was found, and officials were changed meanwhile. Search again to be told why."
)


class Wanted(Enum):
    """What the process in which a search runs is to do."""

    GO_ON = "go on"
    STOP = "stop"
    """End it with the best plan so far."""
    LEAVE = "leave it"
    """It is over for everybody else: nobody waits for what is found."""


def begin(search: str, sent: SearchIn, so_far: SoFar) -> Action[Put[Search]]:
    """Begin one; of earlier ones nothing but their ids is kept. The same again begins nothing anew,
    unless it never began: then its answer was lost with whoever was to run it.

    IdTaken for an id that had other terms, or an earlier search; StateConflict while another one
    goes on.
    """

    def act(unit: Unit) -> Done[Put[Search]]:
        meet = unit.meet_id
        known = begun_before(unit.conn, meet, search, sent, unit.now)
        if known and not known.never_began:
            return Done(Put(known, created=False), None)
        if is_closed(unit.conn, meet):
            raise MeetErased
        last = last_search(unit.conn, meet, unit.now)
        if last and not last.is_over:
            raise StateConflict(GOES_ON)
        nothing = {"sent": None, "problem": "", "content": None}
        earlier = (crew_searches.c.meet_id == meet) & crew_searches.c.content.is_not(None)
        unit.conn.execute(update(crew_searches).where(earlier).values(**nothing))
        unit.conn.execute(delete(crew_searches).where(_is(unit, search)))
        unit.conn.execute(
            insert(crew_searches).values(
                meet_id=meet,
                id=search,
                sent=sent.model_dump(mode="json"),
                phase=Phase.WAITING.value,
                stopped=False,
                began=unit.now,
                heard=unit.now,
                problem="",
                content=so_far.model_dump(mode="json"),
            )
        )
        return Done(Put(search_of(unit.conn, meet, search, unit.now), created=True), None)

    return act


def stop(search: str) -> Action[Search]:
    """End it with the best plan so far, in whatever process it runs; one that waits for its turn
    ends at once, and one that is over stays as it is.
    """

    def act(unit: Unit) -> Done[Search]:
        known = search_of(unit.conn, unit.meet_id, search, unit.now)
        if known.is_over or known.stopped:
            return Done(known, None)
        changed: dict[str, object] = {"stopped": True}
        if known.phase is Phase.WAITING:
            changed |= {"phase": Phase.FAILED.value, "problem": NOT_BEGUN, "ended": unit.now}
        unit.conn.execute(update(crew_searches).where(_is(unit, search)).values(**changed))
        return Done(search_of(unit.conn, unit.meet_id, search, unit.now), None)

    return act


def tell(search: str, phase: Phase, so_far: SoFar) -> Action[Wanted]:
    """How far it is, which is a sign of life too. It begins to count once it waits no longer. For a
    meet that was erased meanwhile nobody waits.
    """

    def act(unit: Unit) -> Done[Wanted]:
        state = select(crew_searches.c.phase, crew_searches.c.stopped, crew_searches.c.heard)
        row = unit.conn.execute(state.where(_goes_on(unit, search))).first()
        if row is None or is_silent(row.heard, unit.now):  # it has been told as failed
            return Done(Wanted.LEAVE, None)
        if is_closed(unit.conn, unit.meet_id):
            return Done(Wanted.LEAVE, None)
        content = so_far.model_dump(mode="json")
        changed = {"phase": phase.value, "heard": unit.now, "content": content}
        if row.phase == Phase.WAITING:
            changed["began"] = unit.now
        unit.conn.execute(update(crew_searches).where(_is(unit, search)).values(**changed))
        return Done(Wanted.STOP if row.stopped else Wanted.GO_ON, None)

    return act


def end(search: str, so_far: SoFar, problem: str, people: Mapping[OfficialId, str]) -> Action[None]:
    """It is over, with its plan, or with the problem for which it has none.

    A problem may name some of these people: where it names one who is called otherwise by now, as
    after an erasure, it is not kept.
    """

    def act(unit: Unit) -> Done[None]:
        heard = select(crew_searches.c.heard).where(_goes_on(unit, search))
        last_word = unit.conn.execute(heard).scalar_one_or_none()
        if last_word is None or is_closed(unit.conn, unit.meet_id):
            return Done(None, None)
        names = official_names(unit.conn, unit.meet_id)
        told = PEOPLE_CHANGED if _tells_another(problem, people, names) else problem
        if is_silent(last_word, unit.now) and not so_far.plan:
            told = PROCESS_GONE  # so it has been told since
        unit.conn.execute(
            update(crew_searches)
            .where(_is(unit, search))
            .values(
                phase=(Phase.ENDED if so_far.plan else Phase.FAILED).value,
                heard=unit.now,
                ended=unit.now,
                problem=told,
                content=so_far.model_dump(mode="json"),
            )
        )
        return Done(None, None)

    return act


def _tells_another(
    problem: str, people: Mapping[OfficialId, str], names: Mapping[OfficialId, str]
) -> bool:
    """Whether somebody whom these words name is called otherwise by now."""
    return any(name in problem and names.get(one) != name for one, name in people.items())


def _is(unit: Unit, search: str) -> ColumnElement[bool]:
    return (crew_searches.c.meet_id == unit.meet_id) & (crew_searches.c.id == search)


def _goes_on(unit: Unit, search: str) -> ColumnElement[bool]:
    """Whether it has not ended, and the meet has had no later one."""
    running = crew_searches.c.ended.is_(None) & crew_searches.c.content.is_not(None)
    return _is(unit, search) & running
