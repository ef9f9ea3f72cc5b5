"""Reading officials, links and sessions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, select

from app.access.tables import join_links, officials, sessions
from app.access.wire import LinkOut, OfficialOut
from app.ids import LinkId, MeetId, OfficialId, SessionId
from app.refusals import NotFound
from app.roles import Role
from app.store.prepared import Prepared
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Caller:
    """Who sent a request: an official of one meet, through one session."""

    official_id: OfficialId
    meet_id: MeetId
    session_id: SessionId
    roles: frozenset[Role]
    name: str = ""

    def holds(self, *roles: Role) -> bool:
        return not self.roles.isdisjoint(roles)

    @property
    def tries_key(self) -> str:
        """What wrong PINs are counted by: this person on this device."""
        return f"pin:{self.official_id}:{self.session_id}"


@dataclass(frozen=True, slots=True)
class Session:
    """A session that has not been ended, and until when it lasts."""

    caller: Caller
    expires_at: datetime


_SESSION = Prepared(
    select(
        sessions.c.id,
        sessions.c.meet_id,
        sessions.c.official_id,
        sessions.c.expires_at,
        officials.c.roles,
        officials.c.name,
    )
    .join(officials, officials.c.id == sessions.c.official_id)
    .where(
        sessions.c.secret_hash == bindparam("secret_hash"),
        sessions.c.ended_at.is_(None),
        officials.c.active,
    )
)
_OFFICIAL = select(officials).where(
    officials.c.meet_id == bindparam("meet"), officials.c.id == bindparam("official")
)
_OFFICIALS = (
    select(officials)
    .where(officials.c.meet_id == bindparam("meet"))
    .order_by(officials.c.name, officials.c.id)
)
_LINK = select(join_links).where(join_links.c.id == bindparam("link"))


def session_of(conn: Connection, secret_hash: str) -> Session | None:
    """The session with this token's hash, None where it is unknown or has been ended."""
    row = _SESSION.first(conn, {"secret_hash": secret_hash})
    if row is None:
        return None
    roles = frozenset(Role(role) for role in row.roles)
    caller = Caller(row.official_id, row.meet_id, row.id, roles, row.name)
    return Session(caller, row.expires_at)


def official_row(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> AnyRow:
    """One official of this meet; NotFound for any other id."""
    row = conn.execute(_OFFICIAL, {"meet": meet_id, "official": official_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such official at this meet.")
    return row


def official(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> OfficialOut:
    """One official of this meet; NotFound for any other id."""
    return _official_out(official_row(conn, meet_id, official_id))


def is_official(conn: Connection, official_id: OfficialId) -> bool:
    """Whether an id names an official, in whatever meet."""
    return (
        conn.execute(select(officials.c.id).where(officials.c.id == official_id)).first()
        is not None
    )


def officials_of(conn: Connection, meet_id: MeetId) -> list[OfficialOut]:
    """All officials of a meet, by name."""
    return [_official_out(row) for row in conn.execute(_OFFICIALS, {"meet": meet_id})]


def official_names(conn: Connection, meet_id: MeetId) -> Mapping[OfficialId, str]:
    """Names by id, for papers and pages."""
    return {row.id: row.name for row in conn.execute(_OFFICIALS, {"meet": meet_id})}


def _official_out(row: AnyRow) -> OfficialOut:
    return OfficialOut(
        id=row.id,
        name=row.name,
        affiliation=row.affiliation,
        roles=[Role(role) for role in row.roles],
        active=row.active,
        has_pin=row.pin_hash is not None,
        version=row.version,
    )


def link_row(conn: Connection, link_id: LinkId) -> AnyRow | None:
    """A personal link by its id, in whatever meet."""
    return conn.execute(_LINK, {"link": link_id}).one_or_none()


def link_out(row: AnyRow, token: str | None = None) -> LinkOut:
    """A link as it goes over HTTP; with its token only where it has just been made."""
    return LinkOut(
        id=row.id,
        official=row.official_id,
        token=token,
        issued_at=row.issued_at,
        expires_at=row.expires_at,
        used_at=row.used_at,
        revoked_at=row.revoked_at,
    )
