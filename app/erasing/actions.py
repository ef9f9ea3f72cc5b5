"""Erasing: what tells of people goes, and one entry of the record says that it went.

What is gone stays gone in the sentence that tells of it: neither the word for which it was erased
nor who asked for it names anybody who is erased.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from sqlalchemy import Connection, bindparam, delete, update

from app.erasing.facts_left import facts_left
from app.erasing.mentions import Names, Phrases
from app.erasing.plan import Change, Plan, plan_of
from app.erasing.queries import (
    insist_pictures,
    insist_there,
    names_of,
    note_of,
    notes_of,
    of_people,
    officials_named,
)
from app.erasing.rows_left import rows_left
from app.erasing.scope import OnePerson, Scope, WholeMeet
from app.ids import OfficialId
from app.record.kinds import Kind
from app.record.queries import is_closed
from app.refusals import Malformed
from app.schema import all_tables
from app.store.action import Action, Actor, Deed, Done, Unit

OPERATOR = Actor("operator")
"""Whoever may open the database itself; who asked for it stands in the entry."""

AT_ONCE = 500
"""As many ids as one statement names."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Whose data is to go, for what and by whom: the whole meet's where nobody is named."""

    because: str
    by: str
    names: tuple[str, ...] = ()
    official: str = ""
    pictures: frozenset[str] = field(default_factory=frozenset)

    @property
    def is_whole(self) -> bool:
        return not (self.names or self.official or self.pictures)


@dataclass(frozen=True, slots=True)
class Gone:
    """What goes, whose it is, and whether the meet is closed with it."""

    plan: Plan
    scope: Scope
    closes: bool

    @property
    def officials(self) -> list[str]:
        """Whoever of the officials is that person."""
        return sorted(self.scope.officials) if isinstance(self.scope, OnePerson) else []


def look(unit: Unit, wanted: Wanted) -> Gone:
    """What would go, without a change; Malformed where the words tell a name that is to go.

    NotFound for a meet, an official or a picture that is not there.
    """
    insist_there(unit.conn, unit.meet_id)
    scope = _scope(unit, wanted)
    closes = scope.is_whole and not is_closed(unit.conn, unit.meet_id)
    return Gone(plan_of(unit.conn, unit.meet_id, scope, unit.now), scope, closes)


def erase(wanted: Wanted) -> Action[Gone]:
    """Erase it. What is gone already is not erased again, and stands in no further entry.

    A whole meet is closed with it: nothing is added any more that could tell of anybody.
    """

    def act(unit: Unit) -> Done[Gone]:
        gone = look(unit, wanted)
        if gone.plan.is_empty and not gone.closes:
            return Done(gone, None)
        left_as = [*gone.plan.left_as, *facts_left(unit.conn, unit.meet_id, gone.plan)]
        rows = {**gone.plan.rows_left, **rows_left(unit.conn, unit.meet_id, gone.plan)}
        _carry_out(unit, gone.plan)
        if gone.closes:
            heads = all_tables().tables["record_heads"]
            mine = heads.c.meet_id == unit.meet_id
            unit.conn.execute(update(heads).where(mine).values(closed=True))
        told = {**_told(wanted, gone), "left_as": left_as, "rows_left": rows}
        return Done(gone, Deed(Kind.ERASED, unit.meet_id, told))

    return act


def mentioned_in_part(unit: Unit, wanted: Wanted) -> Mapping[str, int]:
    """Where texts tell a part of the name only, and stay: for people to look at."""
    names = Names(_names(unit, wanted)).parts()
    scope = OnePerson(notes_of(unit.conn, unit.meet_id, _note(unit, wanted)), names)
    return plan_of(unit.conn, unit.meet_id, scope, unit.now).places


def names_nowhere(unit: Unit, wanted: Wanted) -> list[str]:
    """Of several that were named those whose name stands nowhere: it may be typed wrongly."""
    if len(wanted.names) < 2 and not (wanted.official or wanted.pictures):
        return []
    notes = notes_of(unit.conn, unit.meet_id, _note(unit, wanted))
    alone = {name: OnePerson(notes, Names([name])) for name in wanted.names}
    planned = {
        name: plan_of(unit.conn, unit.meet_id, scope, unit.now) for name, scope in alone.items()
    }
    return [name for name, plan in planned.items() if plan.is_empty]


def _note(unit: Unit, wanted: Wanted) -> str:
    return note_of(unit.now, wanted.by, wanted.because)


def _names(unit: Unit, wanted: Wanted) -> set[str]:
    officials = sorted(_officials(unit, wanted))
    had = (names_of(unit.conn, unit.meet_id, OfficialId(official)) for official in officials)
    return set(wanted.names).union(*had)


def _scope(unit: Unit, wanted: Wanted) -> Scope:
    notes = notes_of(unit.conn, unit.meet_id, _note(unit, wanted))
    if wanted.is_whole:
        found = of_people(unit.conn, unit.meet_id)
        _insist_unnamed(wanted, _said_as_names(wanted, found.names))
        return WholeMeet(notes, Names(found.names), Phrases(found.words))
    insist_pictures(unit.conn, unit.meet_id, wanted.pictures)
    names = _names(unit, wanted)
    _insist_unnamed(wanted, names)
    return OnePerson(notes, Names(names), _officials(unit, wanted), wanted.pictures)


def _officials(unit: Unit, wanted: Wanted) -> frozenset[str]:
    """Whoever has that name as an official is taken for the person, with all that lets them in."""
    named = officials_named(unit.conn, unit.meet_id, wanted.names)
    return frozenset({wanted.official, *named} - {""})


def _insist_unnamed(wanted: Wanted, names: Iterable[str]) -> None:
    if Names(names).are_in(f"{wanted.because}\n{wanted.by}"):
        raise Malformed(
            "The reason and who asked for it stay in the record and on papers, and they tell a "
            "name that is to be erased. Say it without the name; an office is enough."
        )


def _said_as_names(wanted: Wanted, names: Iterable[str]) -> Iterator[str]:
    """Of a meet's names those that the reason cannot mean otherwise: one of a single word may be a
    word of the language as well, and counts as it is written.
    """
    words = set(re.findall(r"\w+", f"{wanted.because}\n{wanted.by}"))
    yield from (name for name in names if " " in name or name in words)


def _told(wanted: Wanted, gone: Gone) -> dict[str, object]:
    plan = gone.plan
    return {
        "because": wanted.because,
        "by": wanted.by,
        "scope": "the meet" if gone.scope.is_whole else "one person",
        "officials": gone.officials,
        "entries": sorted({*plan.entries, *plan.named}),
        "pictures": sorted({*plan.pictures, *plan.told_before["pictures"]}),
        "papers": sorted({*plan.papers, *plan.told_before["papers"]}),
        "forms": sorted({*plan.forms, *plan.told_before["forms"]}),
        "keys": plan.keys,
        "announced": plan.announced,
        "keys_revoked": plan.keys_revoked,
    }


def _carry_out(unit: Unit, plan: Plan) -> None:
    tables = all_tables().tables
    for change in plan.changes:
        _change(unit.conn, change)
    _delete(unit.conn, "picture_originals", "picture_id", plan.originals)
    _delete(unit.conn, "picture_copies", "picture_id", plan.copies)
    _delete(unit.conn, "papers", "id", plan.papers)
    bodies = tables["record_bodies"]
    gone = (bodies.c.meet_id == unit.meet_id) & (bodies.c.seq == bindparam("entry"))
    if plan.entries:
        unit.conn.execute(delete(bodies).where(gone), [{"entry": seq} for seq in plan.entries])


def _change(conn: Connection, change: Change) -> None:
    table = change.table
    here = [table.c[name] == value for name, value in change.key.items()]
    conn.execute(update(table).where(*here).values(**change.values))


def _delete(conn: Connection, table: str, key: str, ids: list[str]) -> None:
    column = all_tables().tables[table].c[key]
    for first in range(0, len(ids), AT_ONCE):
        conn.execute(delete(column.table).where(column.in_(ids[first : first + AT_ONCE])))
