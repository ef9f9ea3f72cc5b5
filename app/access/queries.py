"""Reading officials, links and sessions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, func, select

from app.access.sign_wire import KeyOut, SignedActOut
from app.access.tables import device_keys, join_links, officials, sessions, signatures
from app.access.wire import LinkOut, OfficialOut
from app.ids import KeyId, LinkId, MeetId, OfficialId, SessionId, SignatureId
from app.refusals import NotFound
from app.roles import Role
from app.store.prepared import Prepared, Question
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
_OFFICIAL = Prepared(
    select(officials).where(
        officials.c.meet_id == bindparam("meet"), officials.c.id == bindparam("official")
    )
)
_OFFICIALS = (
    select(officials)
    .where(officials.c.meet_id == bindparam("meet"))
    .order_by(officials.c.name, officials.c.id)
)
_KEY = select(device_keys).where(
    device_keys.c.meet_id == bindparam("meet"), device_keys.c.id == bindparam("key")
)
_KEYS = (
    select(device_keys)
    .where(
        device_keys.c.meet_id == bindparam("meet"),
        device_keys.c.official_id == bindparam("official"),
    )
    .order_by(device_keys.c.registered_at, device_keys.c.id)
)
_COUNT_LIVE = (
    select(func.count())
    .select_from(device_keys)
    .where(
        device_keys.c.meet_id == bindparam("meet"),
        device_keys.c.official_id == bindparam("official"),
        device_keys.c.revoked_from.is_(None),
    )
)
_REVOKED = select(device_keys.c.id, device_keys.c.revoked_from).where(
    device_keys.c.id.in_(bindparam("keys", expanding=True)), device_keys.c.revoked_from.is_not(None)
)
_SINCE = (signatures.c.key_id == bindparam("key")) & (signatures.c.signed_at >= bindparam("since"))
_SIGNED_SINCE = (
    select(signatures.c.act, signatures.c.subject, signatures.c.signed_at)
    .where(_SINCE)
    .order_by(signatures.c.signed_at, signatures.c.id)
    .limit(100)
)
_COUNT_SINCE = select(func.count()).select_from(signatures).where(_SINCE)
_SIGNATURES = (
    select(
        signatures,
        device_keys.c.device,
        device_keys.c.revoked_from,
        officials.c.name.label("official_name"),
        officials.c.version.label("official_version"),
    )
    .join(officials, officials.c.id == signatures.c.official_id)
    .outerjoin(device_keys, device_keys.c.id == signatures.c.key_id)
    .where(
        signatures.c.meet_id == bindparam("meet"),
        signatures.c.subject.in_(bindparam("subjects", expanding=True)),
        signatures.c.act == bindparam("act"),
    )
    .order_by(signatures.c.signed_at, signatures.c.id)
)
_SIGNATURES_ABOUT = select(signatures).where(
    signatures.c.meet_id == bindparam("meet"), signatures.c.subject == bindparam("subject")
)
_LINK = Prepared(select(join_links).where(join_links.c.id == bindparam("link")))


def session_asked(secret_hash: str) -> Question:
    """What is asked about the session with this token's hash."""
    return _SESSION, {"secret_hash": secret_hash}


def session_of(conn: Connection, secret_hash: str) -> Session | None:
    """The session with this token's hash, None where it is unknown or has been ended."""
    asked, where = session_asked(secret_hash)
    row = asked.first(conn, where)
    if row is None:
        return None
    roles = frozenset(Role(role) for role in row.roles)
    caller = Caller(row.official_id, row.meet_id, row.id, roles, row.name)
    return Session(caller, row.expires_at)


def has_ended(conn: Connection, session_id: SessionId) -> bool:
    """Whether a session was ended: left, or with the personal link that opened it."""
    ended = select(sessions.c.ended_at).where(sessions.c.id == session_id)
    return conn.execute(ended).scalar() is not None


def official_row(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> AnyRow:
    """One official of this meet; NotFound for any other id."""
    row: AnyRow | None = _OFFICIAL.first(conn, {"meet": meet_id, "official": official_id})
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
    row: AnyRow | None = _LINK.first(conn, {"link": link_id})
    return row


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


def session_salt(conn: Connection, session_id: SessionId) -> str:
    """A session's salt, which never leaves the server."""
    salt: str = conn.execute(
        select(sessions.c.salt).where(sessions.c.id == session_id)
    ).scalar_one()
    return salt


def key_row(conn: Connection, meet_id: MeetId, key_id: KeyId) -> AnyRow | None:
    """A device's key of this meet, None for any other id."""
    return conn.execute(_KEY, {"meet": meet_id, "key": key_id}).one_or_none()


def keys_of(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> list[KeyOut]:
    """An official's keys, first to last, also those that were revoked; NotFound for an id that is
    no official's of this meet.
    """
    official_row(conn, meet_id, official_id)
    rows = conn.execute(_KEYS, {"meet": meet_id, "official": official_id}).all()
    return [_key_out(conn, row) for row in rows]


def key_out(conn: Connection, meet_id: MeetId, key_id: KeyId) -> KeyOut:
    """One key; NotFound for any other id."""
    row = key_row(conn, meet_id, key_id)
    if row is None:
        raise NotFound("There is no such key at this meet.")
    return _key_out(conn, row)


def count_live_keys(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> int:
    """How many keys of an official have not been revoked."""
    asked = {"meet": meet_id, "official": official_id}
    return conn.execute(_COUNT_LIVE, asked).scalar_one()


def revoked_of(conn: Connection, keys: Sequence[KeyId]) -> Mapping[KeyId, datetime]:
    """Of these keys those that were revoked, and from when on."""
    if not keys:
        return {}
    return {row.id: row.revoked_from for row in conn.execute(_REVOKED, {"keys": list(keys)})}


def _key_out(conn: Connection, row: AnyRow) -> KeyOut:
    since, in_all = _signed_since(conn, row)
    return KeyOut(
        id=row.id,
        official=row.official_id,
        kind=row.kind,
        public_key=row.public_key,
        credential=row.credential or None,
        device=row.device,
        registered_at=row.registered_at,
        revoked_at=row.revoked_at,
        revoked_from=row.revoked_from,
        signed_since=since,
        signed_since_in_all=in_all,
    )


def _signed_since(conn: Connection, row: AnyRow) -> tuple[list[SignedActOut], int]:
    """What a revoked key has signed from that time on: the first of it, and how much in all."""
    if row.revoked_from is None:
        return [], 0
    which = {"key": row.id, "since": row.revoked_from}
    listed = [
        SignedActOut(act=one.act, subject=one.subject, signed_at=one.signed_at)
        for one in conn.execute(_SIGNED_SINCE, which)
    ]
    return listed, conn.execute(_COUNT_SINCE, which).scalar_one()


def signature_row(conn: Connection, signature_id: SignatureId) -> AnyRow | None:
    """A signature by its id, in whatever meet."""
    asked = select(signatures).where(signatures.c.id == signature_id)
    return conn.execute(asked).one_or_none()


def signatures_on(
    conn: Connection, meet_id: MeetId, act: str, subjects: Sequence[str]
) -> list[AnyRow]:
    """The signatures of such acts on these things, first to last, with the signer's name of today,
    the device whose key it was, and from when on that was revoked.
    """
    which = {"meet": meet_id, "act": act, "subjects": list(subjects)}
    return list(conn.execute(_SIGNATURES, which))


def signatures_about(conn: Connection, meet_id: MeetId, subject: str) -> list[dict[str, Any]]:
    """All signatures on a thing, as they are stored."""
    rows = conn.execute(_SIGNATURES_ABOUT, {"meet": meet_id, "subject": subject})
    return [dict(row) for row in rows.mappings()]
