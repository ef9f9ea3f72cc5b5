"""What would go: every row, file, paper and body of a meet, looked at place by place.

The rows of a meet are found by its id, or through the row that they belong to. Bodies of the
record go as a whole, since they are committed to as a whole; an earlier erasure's is kept unless it
tells the name itself, and then what it named is named again.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, and_, select

from app.erasing.documents import rewritten, texts_of
from app.erasing.results_kept import result_kept
from app.erasing.scope import ERASED, OnePerson, Scope, after
from app.erasing.what import COLUMNS, Sort, sort_of
from app.ids import MeetId
from app.record.canonical import canonical
from app.record.kinds import Kind
from app.schema import all_tables
from app.store.columns import Json
from app.store.rows import AnyRow

RECORD = frozenset({"record_entries", "record_bodies", "record_heads", "checkpoints"})
PICTURES = ("picture_originals", "picture_copies")
BODIES = "record_bodies"
TOLD_AGAIN = ("pictures", "papers", "forms")
"""What an erasure's body names beside entries and keys: told again where that body goes itself."""
A_PIECE = 500
"""Rows that are held at a time."""
OF_KEYS = ("key", "kind", "official", "public_key", "rp_id")
"""What of a key's registration names nobody, and a check of its signatures needs."""
OF_REVOCATIONS = ("key", "official", "revoked_from")


@dataclass(frozen=True, slots=True)
class Change:
    """What a row is to hold instead."""

    table: Table
    key: Mapping[str, object]
    values: Mapping[str, object]


@dataclass(slots=True)
class Plan:
    """All that would go, and how much of it in which place.

    `entries` are those whose bodies go, `named` those of earlier erasures that must be named anew,
    `told_before` the files of these, by what they are. `pictures` and `papers` are ids, and `forms`
    those of rulings and decisions whose form's facts go. `keys` are public keys whose registration
    goes, without the device: what was signed with them and stays can still be checked. `announced`
    are digests of the results whose announcements go, `digests` those of the statements whose
    entries lose their bodies, `left_as` and `rows_left` what earlier erasures said of facts and
    rows that they changed.
    """

    changes: list[Change] = field(default_factory=list)
    originals: list[str] = field(default_factory=list)
    copies: list[str] = field(default_factory=list)
    papers: list[str] = field(default_factory=list)
    forms: list[str] = field(default_factory=list)
    keys: list[dict[str, object]] = field(default_factory=list)
    announced: list[dict[str, str]] = field(default_factory=list)
    keys_revoked: list[dict[str, object]] = field(default_factory=list)
    entries: list[int] = field(default_factory=list)
    named: set[int] = field(default_factory=set)
    told_before: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    places: Counter[str] = field(default_factory=Counter)
    digests: set[str] = field(default_factory=set)
    left_as: list[dict[str, str]] = field(default_factory=list)
    rows_left: dict[str, str] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        return not self.places

    @property
    def pictures(self) -> list[str]:
        """The pictures of which a file goes."""
        return sorted({*self.originals, *self.copies})

    @property
    def tables(self) -> list[str]:
        """The tables in which something goes."""
        return sorted({place.partition(".")[0] for place in self.places})


def plan_of(conn: Connection, meet_id: MeetId, scope: Scope, now: datetime) -> Plan:
    """What would go of a meet."""
    plan = Plan()
    for table in all_tables().sorted_tables:
        if table.name not in RECORD:
            _look_at_rows(conn, meet_id, table, scope, now, plan)
    plan.papers = list(_papers(conn, meet_id, scope))
    plan.originals, plan.copies = _pictures(conn, meet_id, scope)
    _look_at_bodies(conn, meet_id, scope, plan)
    plan.places.update(
        {
            "papers.content": len(plan.papers),
            "picture_originals.content": len(plan.originals),
            "picture_copies.content": len(plan.copies),
            "record_bodies.body": len(plan.entries),
        }
    )
    plan.places = +plan.places
    return plan


def of_meet(table: Table, meet_id: MeetId) -> ColumnElement[bool] | None:
    """Which rows of a table are of a meet; None where none can be."""
    if table.name == "meets":
        return table.c.id == meet_id
    if "meet_id" in table.c:
        return table.c.meet_id == meet_id
    for key in table.primary_key.columns:
        for link in key.foreign_keys:
            parent = link.column.table
            mine = of_meet(parent, meet_id)
            if mine is not None:
                return key.in_(select(parent.c.id).where(mine))
    return None


def texts_in_rows(conn: Connection, meet_id: MeetId) -> Iterator[tuple[str, str]]:
    """Every text of a meet's rows that could go, with its place."""
    for table in all_tables().sorted_tables:
        if table.name in RECORD:
            continue
        for row in _rows(conn, meet_id, table, _walked(table)):
            for column in _walked(table):
                yield from texts_of(_document(row, column), _place(column))


def texts_of_teams(conn: Connection, meet_id: MeetId) -> Iterator[tuple[str, list[str]]]:
    """Of each row the texts that tell of teams, events, rounds or the meet, column by column."""
    for table in all_tables().sorted_tables:
        if table.name in RECORD:
            continue
        columns = [one for one in table.columns if _is_walked(one) or _is_of_teams(one)]
        for row in _rows(conn, meet_id, table, columns):
            for column in columns:
                told = texts_of(_document(row, column), _place(column))
                texts = [text for place, text in told if sort_of(place) is Sort.OF_TEAMS]
                if texts:
                    yield _place(column), texts


def bodies_that_stay(conn: Connection, meet_id: MeetId, scope: Scope) -> Iterator[tuple[str, str]]:
    """The bodies of the record that are kept, each with its entry's kind."""
    for row in _bodies(conn, meet_id):
        if row.kind != Kind.ERASED.value and not _body_goes(row, json.loads(row.body), scope):
            yield row.kind, row.body


def texts_in_bodies(conn: Connection, meet_id: MeetId) -> Iterator[tuple[str, str]]:
    """Every text of the bodies in a meet's record, with its place, but for what erasures say."""
    for row in _bodies(conn, meet_id):
        if row.kind != Kind.ERASED.value:
            yield from texts_of(json.loads(row.body), f"{BODIES}.{row.kind}")


def _look_at_rows(
    conn: Connection, meet_id: MeetId, table: Table, scope: Scope, now: datetime, plan: Plan
) -> None:
    keys = [column.name for column in table.primary_key.columns]
    for row in _rows(conn, meet_id, table, _walked(table)):
        values = dict(_values(row, table, scope, now))
        if values:
            key = {name: row._mapping[name] for name in keys}  # noqa: SLF001 (the way to a column)
            plan.changes.append(Change(table, key, values))
            plan.places.update(f"{table.name}.{name}" for name in values)
            plan.forms += [row.id] if "form_facts" in values else []


def _rows(
    conn: Connection, meet_id: MeetId, table: Table, walked: Sequence[Column[Any]]
) -> Iterator[AnyRow]:
    mine = of_meet(table, meet_id)
    if mine is None or not walked:
        return
    wanted = {*table.primary_key.columns, *walked}
    if "official_id" in table.c:
        wanted.add(table.c.official_id)
    columns = (one for one in table.columns if one in wanted)
    yield from _in_pieces(conn, select(*columns).where(mine))


def _in_pieces(conn: Connection, asked: Select[Any]) -> Iterator[AnyRow]:
    """Rows as they are looked at: all of a long record at once would fill the memory."""
    yield from conn.execute(asked, execution_options={"yield_per": A_PIECE})


def _walked(table: Table) -> list[Column[Any]]:
    """The columns whose texts can go. Files are looked at apart."""
    return [column for column in table.columns if _is_walked(column)]


def _is_walked(column: Column[Any]) -> bool:
    sort = COLUMNS.get(_place(column))
    if sort is None:
        return isinstance(column.type, Json) and _place(column) != "papers.facts"
    return sort not in {Sort.OF_TEAMS, Sort.STAYS, Sort.PICTURE, Sort.PAPER}


def _is_of_teams(column: Column[Any]) -> bool:
    return COLUMNS.get(_place(column)) is Sort.OF_TEAMS


def _place(column: Column[Any]) -> str:
    return f"{column.table.name}.{column.name}"


def _document(row: AnyRow, column: Column[Any]) -> Any:
    value = row._mapping[column.name]  # noqa: SLF001 (the way to a column by its name)
    if COLUMNS.get(_place(column)) is Sort.DOCUMENT and value:
        try:
            return json.loads(value)
        except ValueError:  # what an erasure has put there
            return None
    return value


def _values(row: AnyRow, table: Table, scope: Scope, now: datetime) -> Iterator[tuple[str, object]]:
    """What a row's columns are to hold instead, where something of them goes."""
    own = _is_own(row, table, scope)
    digests, words_go = [], False
    for column in _walked(table):
        sort = COLUMNS.get(_place(column))
        if sort is Sort.DIGEST:
            digests.append(column)
        elif sort in {Sort.LETS_IN, Sort.ENDS}:
            if own:
                yield from _put_out(row, column, sort, now)
        elif (new := _new(row, column, scope, own=own)) is not None:
            words_go = words_go or sort is Sort.WORDS
            yield column.name, new
    yield from ((column.name, ERASED) for column in digests if words_go)


def _is_own(row: AnyRow, table: Table, scope: Scope) -> bool:
    if scope.is_whole:
        return True
    official = row.id if table.name == "officials" else getattr(row, "official_id", None)
    return isinstance(scope, OnePerson) and official in scope.officials


def _put_out(
    row: AnyRow, column: Column[Any], sort: Sort, now: datetime
) -> Iterator[tuple[str, object]]:
    """What lets somebody in does no longer; no two are the same, since the schema asks for it."""
    value = row._mapping[column.name]  # noqa: SLF001
    if sort is Sort.ENDS:
        if value is None:
            yield column.name, now
    elif value is not None and not value.startswith(ERASED):
        yield column.name, None if column.nullable else f"{ERASED} {row.id}"


def _new(row: AnyRow, column: Column[Any], scope: Scope, *, own: bool) -> object | None:
    """What a column is to hold; None where all of it stays."""
    document, place = _document(row, column), _place(column)
    if document is None:
        return None
    fixed = COLUMNS.get(place)

    def change(where: str, text: str) -> str:
        sort = sort_of(where) if fixed in {None, Sort.DOCUMENT} else fixed
        return after(scope, sort, text, own=own)

    new = rewritten(document, place, change)
    if new == document:
        return None
    return canonical(new).decode() if fixed is Sort.DOCUMENT else new


def _papers(conn: Connection, meet_id: MeetId, scope: Scope) -> Iterator[str]:
    papers = all_tables().tables["papers"]
    asked = select(papers.c.id, papers.c.facts).where(papers.c.meet_id == meet_id)
    for row in _in_pieces(conn, asked):
        if scope.is_whole or (isinstance(scope, OnePerson) and _tells(row, scope)):
            yield row.id


def _tells(row: AnyRow, scope: OnePerson) -> bool:
    """Whether a paper was drawn from facts that tell of the person."""
    return any(scope.names.are_in(text) for _place, text in texts_of(row.facts, "papers.facts"))


def _pictures(conn: Connection, meet_id: MeetId, scope: Scope) -> tuple[list[str], list[str]]:
    """The originals and the copies that go.

    With an official go the originals that this official sent: a camera writes into the file whose
    it is and where it was. The copies, drawn anew from the pixels alone, stay as evidence.
    """
    tables = all_tables().tables
    pictures = tables["pictures"]
    going: list[list[str]] = []
    for name in PICTURES:
        files = tables[name]
        asked = (
            select(files.c.picture_id, pictures.c.official_id)
            .join(pictures, pictures.c.id == files.c.picture_id)
            .where(pictures.c.meet_id == meet_id)
            .order_by(files.c.picture_id)
        )
        is_original = name == PICTURES[0]
        rows = conn.execute(asked)
        going.append([row.picture_id for row in rows if _goes(row, scope, original=is_original)])
    return going[0], going[1]


def _goes(row: AnyRow, scope: Scope, *, original: bool) -> bool:
    if not isinstance(scope, OnePerson):
        return scope.is_whole
    sent_it = row.official_id in scope.officials
    return row.picture_id in scope.pictures or (original and sent_it)


def _bodies(conn: Connection, meet_id: MeetId) -> Iterator[AnyRow]:
    entries, bodies = (all_tables().tables[name] for name in ("record_entries", BODIES))
    same = and_(entries.c.meet_id == bodies.c.meet_id, entries.c.seq == bodies.c.seq)
    asked = (
        select(entries.c.seq, entries.c.kind, entries.c.subject, bodies.c.body)
        .join(bodies, same)
        .where(entries.c.meet_id == meet_id)
        .order_by(entries.c.seq)
    )
    yield from _in_pieces(conn, asked)


def _look_at_bodies(conn: Connection, meet_id: MeetId, scope: Scope, plan: Plan) -> None:
    for row in _bodies(conn, meet_id):
        body = json.loads(row.body)
        if row.kind == Kind.ERASED.value:
            if scope.names.are_in(f"{body['because']}\n{body['by']}"):
                plan.entries.append(row.seq)
                plan.named.update(body["entries"])
                plan.keys_revoked += body.get("keys_revoked", ())
                plan.keys += body["keys"]
                plan.announced += body.get("announced", ())
                plan.left_as += body.get("left_as", ())
                plan.rows_left |= body.get("rows_left", {})
                for what in TOLD_AGAIN:
                    plan.told_before[what].update(body.get(what, ()))
        elif _body_goes(row, body, scope):
            plan.entries.append(row.seq)
            plan.digests.add(str(body.get("statement_sha256")))
            if row.kind == Kind.KEY_REGISTERED.value:
                plan.keys.append({name: body.get(name) for name in OF_KEYS})
            if row.kind == Kind.ANNOUNCEMENT.value:
                plan.announced.append(result_kept(row.subject, body))
            plan.keys_revoked += _revocations_in(row.kind, body)


def _revocations_in(kind: str, body: Any) -> list[dict[str, object]]:
    """Which keys a body revokes, and from when on: without it what they signed would pass as good,
    whenever it was signed.
    """
    told = [body] if kind == Kind.KEY_REVOKED.value else body.get("keys_revoked", ())
    return [{name: one.get(name) for name in OF_REVOCATIONS} for one in told]


def _body_goes(row: AnyRow, body: Any, scope: Scope) -> bool:
    own = scope.is_whole or (
        isinstance(scope, OnePerson)
        and not scope.officials.isdisjoint({row.subject, str(body.get("official"))})
    )
    return any(
        after(scope, sort_of(place), text, own=own) != text
        for place, text in texts_of(body, f"{BODIES}.{row.kind}")
    )


def tables_walked() -> list[str]:
    """All tables in which something can go."""
    tables = all_tables().sorted_tables
    apart = {*PICTURES, "papers", BODIES}
    return [table.name for table in tables if table.name in apart or _walked(table)]
