"""What whoever owns a database can do: change what is stored, behind the server's back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy import Executable, Table, select, update

from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.schema import all_tables
from app.sealing.actions import SERVER
from app.store.action import Actor, Deed, Done
from app.store.engine import open_engines
from tests.builders import MeetAtHand

Change = Callable[[Any], Any]


def run(meet: MeetAtHand, *statements: Executable) -> None:
    """Run statements on the database of a meet's service."""
    engines = open_engines(meet.service.database_url)
    with engines.writing.connect() as conn, conn.begin():
        for statement in statements:
            conn.execute(statement)
    engines.dispose()


def table(name: str) -> Table:
    return all_tables().tables[name]


def put(meet: MeetAtHand, name: str, ident: str, **values: Any) -> None:
    """Put other values into a row."""
    rows = table(name)
    run(meet, update(rows).where(rows.c.id == ident).values(**values))


def entered(meet: MeetAtHand, kind: Kind, body: Any, subject: str = "", by: Actor = SERVER) -> str:
    """Enter something of this kind into the record; what it is about, the meet for an erasure."""
    about = subject or (meet.id if kind is Kind.ERASED else new_id())

    def act(_unit: Any) -> Done[None]:
        return Done(None, Deed(kind, about, body))

    meet.service.store.act_now(MeetId(meet.id), by, act)
    return about


def stored(meet: MeetAtHand, name: str, ident: str) -> Mapping[str, Any]:
    """A row as it is stored."""
    rows = table(name)
    asked = select(rows).where(rows.c.id == ident)
    return meet.service.store.read_now(lambda conn: conn.execute(asked).one())._mapping
