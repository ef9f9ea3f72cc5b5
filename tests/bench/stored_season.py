"""How does a store come to hold thousands of meets in minutes? Meets that were played, copied.

Two meets are played over HTTP: a quiet one, in which some heats run, cases wait and something was
protested and appealed, and one that has come to its end. Every further meet is a copy of all their
rows in all tables, the record among them, with other ids and some days earlier: one in so many of
the quiet one, the others of the one that has ended. What stands inside documents and the record is
copied as it is: nothing that is measured reads a copy.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy import Column, Connection, String, Table, create_engine, make_url, text
from sqlalchemy.pool import NullPool

from app.schema import all_tables
from app.store.columns import ID_LENGTH, Instant
from tests.appeals.desk import (
    a_panel,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    jury_decides,
    set_aside,
)
from tests.builders import PIN, Json, MeetAtHand, a_meet, all_heats
from tests.running import Service, a_service

LANES = (2, 3, 4, 5, 6)
PROTESTING = 4
"""The lane of the team that protests."""
UMPIRES = ("umpire", "second")
REPORTS_A_HEAT = len(LANES) * len(UMPIRES)
RUNNING = 3
"""Of the quiet meet's heats: nobody has ruled there on anything."""
LEAST_HEATS = RUNNING + 2
ONE_QUIET_IN = 20
"""Of so many meets of a season one goes on."""
AT_ONCE = 50
"""So many meets are copied in one transaction."""
PARTS_A_DAY = round(86_400_000 / 2**16)
"""The first eight digits of a UUID of version 7 count parts of 65.536 seconds (RFC 9562, 5.7)."""
_OF_HEATS = "heat_id IN (SELECT id FROM heats WHERE meet_id = :meet)"
BY_OTHERS = {
    "meets": "id = :meet",
    **dict.fromkeys(("lanes", "run_lanes", "heat_posts"), _OF_HEATS),
    "tellings": "announcement_id IN (SELECT id FROM announcements WHERE meet_id = :meet)",
    **dict.fromkeys(("tries", "picture_copies", "picture_originals"), None),
}
"""Which rows are a meet's in tables that do not say it: in some nobody has left any."""
UNIQUE_SECRETS = {("sessions", "secret_hash")}


@dataclass(frozen=True, slots=True)
class Quiet:
    """The quiet meet: the heats that were announced and those that run, and who reads it."""

    id: str
    announced: tuple[str, ...]
    running: tuple[str, ...]
    umpire: str
    post: str
    referee: str
    desk: str


@dataclass(frozen=True, slots=True)
class Played:
    """The two meets that a season is made of."""

    quiet: Quiet
    ended: str


def play(database_url: str, reports_a_meet: int) -> Played:
    """Both meets, each with so many reports, at least those of a few heats."""
    heats = max(reports_a_meet // REPORTS_A_HEAT, LEAST_HEATS)
    with a_service(database_url) as service:
        meet = _a_quiet_meet(service, heats)
        ids = tuple(str(heat["id"]) for heat in meet.heats)
        quiet = Quiet(
            id=meet.id,
            announced=ids[: heats - RUNNING],
            running=ids[heats - RUNNING : heats],
            umpire=meet.umpire.token,
            post=meet.posts["umpire"],
            referee=meet.referee.token,
            desk=meet.desk.token,
        )
        return Played(quiet, _an_ended_meet(service, heats))


def _a_quiet_meet(service: Service, heats: int) -> MeetAtHand:
    """One more heat is to come."""
    meet = a_meet(service, heats=heats + 1, name="The quiet meet")
    meet.heats = list(all_heats(meet))
    rulings = [_settle(meet, number, _run(meet, number)) for number in range(heats - RUNNING)]
    for number in range(heats - RUNNING, heats):
        _run(meet, number)
    _something_is_appealed(meet, rulings[0][LANES.index(PROTESTING)])
    return meet


def _an_ended_meet(service: Service, heats: int) -> str:
    meet = a_meet(service, heats=heats, name="The meet that has ended")
    meet.heats = list(all_heats(meet))
    for number in range(heats):
        _settle(meet, number, _run(meet, number))
    ended = meet.referee.put("end", {"pin": PIN})
    assert ended.status_code == 201, ended.text
    return meet.id


def _run(meet: MeetAtHand, number: int) -> list[str]:
    """A heat runs, and two umpires report each of some lanes, though one had seen nothing at first;
    gives the cases.
    """
    meet.start(number)
    assert meet.call(heat=number).status_code == 201
    reports = [meet.report(by=name, heat=number, lane=lane) for lane in LANES for name in UMPIRES]
    return list(dict.fromkeys(one["case"] for one in reports))


def _settle(meet: MeetAtHand, number: int, cases: Sequence[str]) -> list[Json]:
    """All cases of a heat are ruled on, every other one confirmed, and its result is announced;
    gives the rulings.
    """
    rulings = []
    for place, case in enumerate(cases):
        ruled = meet.rule(case, verdict="dismissed" if place % 2 else "confirmed")
        assert ruled.status_code == 201, ruled.text
        rulings.append(dict(ruled.json()))
    assert meet.load_result(number).status_code == 201
    announced(meet, number)
    return rulings


def _something_is_appealed(meet: MeetAtHand, ruling: Json) -> None:
    """About the first heat: a protest rejected, an appeal upheld, and the new result announced."""
    protest = a_rejected_protest(meet, ruling)
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    done = jury_decides(meet, lodged, names[0], orders=set_aside(ruling))
    assert done.status_code == 201, done.text
    announced(meet)


def fill(database_url: str, played: Played, meets: int) -> None:
    """Bring a store to so many meets."""
    copies = meets - 2
    with _filling(database_url) as conn:
        quiet, ended = _staged(conn, played.quiet.id, "q"), _staged(conn, played.ended, "e")
        for first in range(copies, 0, -AT_ONCE):
            with conn.begin():
                # The earliest first: ids and times grow as they do where meets are held.
                for days in range(first, max(first - AT_ONCE, 0), -1):
                    (ended if days % ONE_QUIET_IN else quiet).copy(conn, days)
        _settle_down(conn)


@contextmanager
def _filling(database_url: str) -> Iterator[Connection]:
    """A connection that trusts what it is given, and waits for no disk."""
    url = make_url(database_url)
    is_sqlite = url.get_backend_name() == "sqlite"
    engine = create_engine(
        url if is_sqlite else url.set(drivername="postgresql+psycopg"), poolclass=NullPool
    )
    trusting = (
        ("PRAGMA synchronous=OFF", "PRAGMA cache_size=-400000", "PRAGMA temp_store=MEMORY")
        if is_sqlite
        # Foreign keys are held by triggers there.
        else ("SET session_replication_role = replica", "SET synchronous_commit = off")
    )
    with engine.connect() as conn:
        for word in trusting:
            conn.exec_driver_sql(word)
        conn.commit()
        yield conn
    engine.dispose()


def _settle_down(conn: Connection) -> None:
    """What PostgreSQL does by itself within minutes; SQLite is left as the service leaves it."""
    if conn.dialect.name == "sqlite":
        conn.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        return
    conn.commit()
    conn.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql("VACUUM ANALYZE")
    conn.exec_driver_sql("CHECKPOINT")


@dataclass(frozen=True, slots=True)
class Staged:
    """All rows of a meet, laid aside, and what makes another meet's rows of them."""

    part: int
    """What its ids begin with, as a number."""
    inserts: tuple[str, ...]

    def copy(self, conn: Connection, days: int) -> None:
        """The same meet, so many days earlier."""
        part = f"{self.part - days * PARTS_A_DAY:08x}"
        values = {"part": part, "back": f"-{days} days"}
        for insert in self.inserts:
            conn.execute(text(insert), values)


def _staged(conn: Connection, meet_id: str, mark: str) -> Staged:
    inserts = []
    with conn.begin():
        for table in all_tables().sorted_tables:
            whose = _of_meet(table)
            if whose is None:
                continue
            aside = f"{mark}_{table.name}"
            rows = f"CREATE TEMPORARY TABLE {aside} AS SELECT * FROM {table.name} WHERE {whose}"
            conn.exec_driver_sql(rows.replace(":meet", f"'{meet_id}'"))
            if conn.exec_driver_sql(f"SELECT count(*) FROM {aside}").scalar():
                inserts.append(_insert(conn.dialect.name, table, aside))
    return Staged(int(meet_id[:8], 16), tuple(inserts))


def _of_meet(table: Table) -> str | None:
    """Which rows of a table are a meet's; None where none is."""
    if "meet_id" in table.c:
        return "meet_id = :meet"
    return BY_OTHERS[table.name]


def _insert(dialect: str, table: Table, aside: str) -> str:
    columns = ", ".join(f'"{column.name}"' for column in table.c)
    made = ", ".join(_moved(dialect, column) for column in table.c)
    return f"INSERT INTO {table.name} ({columns}) SELECT {made} FROM {aside}"


def _moved(dialect: str, column: Column[object]) -> str:
    """A column of another meet's row: another id, an earlier time, or what it was."""
    name = f'"{column.name}"'
    if isinstance(column.type, Instant):
        return _earlier(dialect, name)
    other = f"CAST(:part AS text) || substr({name}, 9)"
    if (column.table.name, column.name) in UNIQUE_SECRETS:
        return other
    if isinstance(column.type, String) and column.type.length == ID_LENGTH:
        return other
    if column.name == "subject":  # of an entry: an id, mostly
        return f"CASE WHEN length({name}) = {ID_LENGTH} THEN {other} ELSE {name} END"
    return name


def _earlier(dialect: str, name: str) -> str:
    if dialect == "sqlite":
        return f"date(substr({name}, 1, 10), :back) || substr({name}, 11)"
    return f"{name} + CAST(:back AS interval)"
