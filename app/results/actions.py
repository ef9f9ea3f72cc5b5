"""Loading finish lists."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from typing import Any

from sqlalchemy import insert, update

from app.access.queries import Caller
from app.ids import HeatId, MeetId, TeamId
from app.meets.queries import heat, meet_facts
from app.meets.rehearsing import insist_no_rehearsal
from app.record.kinds import Kind
from app.refusals import (
    PreconditionMissing,
    Stale,
)
from app.results.correcting import insist_jurys_word_on_lines, insist_on_decided_lines
from app.results.finality import (
    result_shown,
)
from app.results.matching import insist_list_is_of
from app.results.queries import result, result_row
from app.results.tables import results
from app.results.wire import (
    ResultOut,
)
from app.sheets.finish_list import FinishRow
from app.store.action import Action, Actor, Deed, Done, Put, Unit
from app.store.store import Store


def load_result(
    heat_id: HeatId, rows: Sequence[FinishRow], content: bytes, caller: Caller, version: int | None
) -> Action[Put[ResultOut]]:
    """Load a heat's finish list; with If-Match, replace it."""

    def act(unit: Unit) -> Done[Put[ResultOut]]:
        facts = heat(unit.conn, unit.meet_id, heat_id)
        insist_no_rehearsal(unit.conn, heat_id)
        insist_list_is_of(facts, rows)
        teams = {lane.lane: lane.team for lane in facts.lanes}
        stored = [_as_stored(row, teams[row.lane]) for row in rows]
        insist_on_decided_lines(unit.conn, facts, stored)
        known = result_row(unit.conn, unit.meet_id, heat_id)
        if known is not None and (known.rows, known.run) == (stored, facts.present_run):
            same = result_shown(unit.conn, unit.meet_id, heat_id, unit.now)
            return Done(Put(same, created=False), None)
        insist_jurys_word_on_lines(unit.conn, meet_facts(unit.conn, unit.meet_id), facts, stored)
        values: dict[str, Any] = {
            "rows": stored,
            "loaded_by": caller.official_id,
            "loaded_at": unit.now,
            "run": facts.present_run,
        }
        if known is None:
            _insist_unnamed(version)
            unit.conn.execute(
                insert(results).values(heat_id=heat_id, meet_id=unit.meet_id, version=1, **values)
            )
        else:
            _insist_version(result(unit.conn, unit.meet_id, heat_id), version)
            unit.conn.execute(
                update(results)
                .where(results.c.heat_id == heat_id)
                .values(version=known.version + 1, **values)
            )
        out = result_shown(unit.conn, unit.meet_id, heat_id, unit.now)
        body = {"rows": stored, "run": facts.present_run, "sha256": sha256(content).hexdigest()}
        return Done(Put(out, created=known is None), Deed(Kind.RESULT_LOADED, heat_id, body))

    return act


class _LookedAt(Exception):
    """What loading a list would give: it ends the action before anything of it is stored."""

    def __init__(self, out: ResultOut) -> None:
        super().__init__("a finish list is looked at")
        self.out = out


async def look_at_result(
    store: Store, meet_id: MeetId, actor: Actor, load: Action[Put[ResultOut]]
) -> ResultOut:
    """The result that loading a list would give. Nothing is stored; refused as loading it is."""

    def look(unit: Unit) -> Done[None]:
        raise _LookedAt(load(unit).result.thing)

    try:
        await store.act(meet_id, actor, look)
    except _LookedAt as looked:
        return looked.out
    raise AssertionError("looking at a finish list always ends so")


def _insist_unnamed(version: int | None) -> None:
    if version is not None:
        raise Stale("This heat has no finish list yet: leave If-Match out to load the first.")


def _insist_version(seen: ResultOut, version: int | None) -> None:
    if version is None:
        raise PreconditionMissing(
            "This heat has a finish list already: send If-Match with its ETag to replace it."
        )
    if version != seen.version:
        raise Stale("This result was changed meanwhile. Read it again, then decide.")


def _as_stored(row: FinishRow, team: TeamId) -> dict[str, Any]:
    """A row with its team: the start list may be drawn anew before the result is announced."""
    return {
        "lane": row.lane,
        "team": team,
        "status": row.status.value,
        "thousandths": row.thousandths,
        "decimals": row.decimals,
        "place": row.place,
    }
