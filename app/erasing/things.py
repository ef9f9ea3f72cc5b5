"""Which report, ruling, protest or paper is it that goes? In the officials' words, for whoever
looks before erasing one person: by its number, its team, its lane and its heat; none is a name.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from app.erasing.plan import Change, Plan
from app.schema import all_tables

WORDS = {
    "announcements": "announcement",
    "appeals": "appeal",
    "calls": "flag",
    "decisions": "decision",
    "lanes": "start list",
    "lots": "lots that were drawn",
    "protests": "protest",
    "reports": "report",
    "results": "finish list",
    "rulings": "ruling",
}
"""What a row is; others, as sessions, are told by their number alone."""
OF_PAPERS = {f"{table[:-1]}": table for table in WORDS if table.endswith("s")}
"""Where what a paper tells of lies, by the paper's kind."""

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Thing:
    """What goes or loses something, and from which columns where it stays itself."""

    words: str
    columns: tuple[str, ...] = ()


def things_in(conn: Connection, plan: Plan) -> list[Thing]:
    """The things of a plan, sort by sort."""
    changed = sorted((one for one in plan.changes if one.table.name in WORDS), key=_sort)
    return [*(_changed(conn, one) for one in changed), *_pictures(conn, plan), *_papers(conn, plan)]


def _sort(change: Change) -> str:
    return WORDS[change.table.name]


def _changed(conn: Connection, change: Change) -> Thing:
    row = _row(conn, change.table.name, change.key)
    columns = tuple(f"{change.table.name}.{name}" for name in change.values)
    return Thing(_in_words(conn, change.table.name, row), columns)


def _pictures(conn: Connection, plan: Plan) -> Iterator[Thing]:
    whole = set(plan.copies)
    for ident in plan.pictures:
        report = _row(conn, "pictures", {"id": ident})["report_id"]
        which = "picture" if ident in whole else "picture as it came (what is shown of it stays)"
        yield Thing(f"{which}, to the {_by_id(conn, 'reports', report)}")


def _papers(conn: Connection, plan: Plan) -> Iterator[Thing]:
    found: defaultdict[str, int] = defaultdict(int)
    for ident in plan.papers:
        row = _row(conn, "papers", {"id": ident})
        table = OF_PAPERS.get(row["kind"], "")
        of = _by_id(conn, table, row["subject"]) if table else row["kind"]
        found[of] += 1
    for of, count in sorted(found.items()):
        times = f" ({count} of them)" if count > 1 else ""
        yield Thing(f"sealed paper{times} of the {of}")


def _by_id(conn: Connection, table: str, ident: str) -> str:
    return _in_words(conn, table, _row(conn, table, {"id": ident}))


def _row(conn: Connection, table: str, key: Mapping[str, object]) -> Row:
    of = all_tables().tables[table]
    here = [of.c[name] == value for name, value in key.items()]
    kept = [one for one in of.columns if one.name in TOLD]
    found = conn.execute(select(*kept).where(*here)).mappings().first()
    return dict(found) if found is not None else {}


TOLD = frozenset(
    {
        *("number", "lane", "team_id", "heat_id", "case_id", "report_id", "kind", "subject"),
        *("event_id", "round", "name", "protest_id", "appeal_id"),
    }
)
"""The columns by which a thing is known to people."""


def _in_words(conn: Connection, table: str, row: Row) -> str:
    words = WORDS[table] + (f" {row['number']}" if row.get("number") else "")
    told = [words + _decided_on(conn, row)]
    if case := row.get("case_id"):
        told.append(f"case {_row(conn, 'cases', {'id': case})['number']}")
    if team := row.get("team_id"):
        told.append(str(_row(conn, "teams", {"id": team})["name"]))
    if row.get("lane"):
        told.append(f"lane {row['lane']}")
    if heat := row.get("heat_id"):
        told.append(_heat(conn, heat))
    return ", ".join(told)


def _decided_on(conn: Connection, row: Row) -> str:
    """On what a decision was made; nothing for whatever else."""
    for key, table in (("appeal_id", "appeals"), ("protest_id", "protests")):
        if ident := row.get(key):
            return f" on {WORDS[table]} {_row(conn, table, {'id': ident})['number']}"
    return ""


def _heat(conn: Connection, ident: str) -> str:
    heat = _row(conn, "heats", {"id": ident})
    event = _row(conn, "events", {"id": heat["event_id"]})
    return f"{event['name']}, {heat['round']}, heat {heat['number']}"
