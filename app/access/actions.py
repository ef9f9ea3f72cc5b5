"""What is done about officials, their links, sessions and PINs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

from sqlalchemy import ColumnElement, bindparam, insert, select, update

from app.access.queries import link_out, link_row, official, official_row
from app.access.revoking import revoke_keys_of
from app.access.secrets import hash_secret, new_secret
from app.access.tables import join_links, officials, sessions
from app.access.tries import clear_tries, count_wrong_try
from app.access.wire import LeftOut, LinkOut, OfficialIn, OfficialOut, RevokedOut
from app.ids import LinkId, OfficialId, SessionId
from app.record.kinds import Kind
from app.refusals import CHANGE_IT, IdTaken, NotFound, Stale, StateConflict
from app.roles import Role
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow

LINK_LASTS = timedelta(days=14)

_ANYWHERE = Prepared(select(officials).where(officials.c.id == bindparam("official")))
_ADD_OFFICIAL = Prepared(insert(officials))
_ADD_LINK = Prepared(insert(join_links))


def name_official(official_id: OfficialId, sent: OfficialIn) -> Action[Put[OfficialOut]]:
    """Add an official to the meet. The same again is the same; other content is refused."""

    def act(unit: Unit) -> Done[Put[OfficialOut]]:
        known = _ANYWHERE.first(unit.conn, {"official": official_id})
        if known is not None:
            if known.meet_id != unit.meet_id or not _says_the_same(known, sent):
                raise IdTaken("an official", official_id, CHANGE_IT)
            return Done(Put(official(unit.conn, unit.meet_id, official_id), created=False), None)
        add_official(unit, official_id, sent)
        out = official(unit.conn, unit.meet_id, official_id)
        return Done(Put(out, created=True), Deed(Kind.OFFICIAL_NAMED, official_id, _facts(sent)))

    return act


def add_official(unit: Unit, official_id: OfficialId, sent: OfficialIn) -> None:
    """Store a new official."""
    facts = {"id": official_id, "meet_id": unit.meet_id, "pin_hash": None, "version": 1}
    _ADD_OFFICIAL.run(unit.conn, facts | _columns(sent))


def change_official(official_id: OfficialId, sent: OfficialIn, version: int) -> Action[OfficialOut]:
    """Change an official's name or roles; takes effect with the next request they send."""

    def act(unit: Unit) -> Done[OfficialOut]:
        known = official_row(unit.conn, unit.meet_id, official_id)
        if known.version != version:
            raise Stale("This official was changed meanwhile. Read it again, then decide.")
        _keep_an_organiser(unit, known, sent)
        unit.conn.execute(
            update(officials)
            .where(officials.c.id == official_id)
            .values(version=version + 1, **_columns(sent))
        )
        out = official(unit.conn, unit.meet_id, official_id)
        return Done(out, Deed(Kind.OFFICIAL_CHANGED, official_id, _facts(sent)))

    return act


def _keep_an_organiser(unit: Unit, known: AnyRow, sent: OfficialIn) -> None:
    if unit.actor.id == known.id and (Role.ORGANISER not in sent.roles or not sent.active):
        raise StateConflict("Nobody takes the organiser's role from themselves; let another do it.")


def _columns(sent: OfficialIn) -> dict[str, object]:
    return {
        "name": sent.name,
        "affiliation": sent.affiliation,
        "roles": sorted(set(sent.roles)),
        "active": sent.active,
    }


def _says_the_same(known: AnyRow, sent: OfficialIn) -> bool:
    return all(getattr(known, column) == value for column, value in _columns(sent).items())


def _facts(sent: OfficialIn) -> dict[str, object]:
    return sent.model_dump(mode="json")


def issue_link(official_id: OfficialId, link_id: LinkId) -> Action[Put[LinkOut]]:
    """Issue a personal link. Its token is told once; ask for another link if it got lost.

    StateConflict for an inactive official, who could not use it.
    """

    def act(unit: Unit) -> Done[Put[LinkOut]]:
        person = official_row(unit.conn, unit.meet_id, official_id)
        known = link_row(unit.conn, link_id)
        if known is not None:
            if known.official_id != official_id:
                raise IdTaken("a personal link", link_id)
            return Done(Put(link_out(known), created=False), None)
        if not person.active:
            raise StateConflict(
                f"{person.name} is inactive and could not join: make them active first."
            )
        secret = new_secret()
        facts = {
            "id": link_id,
            "meet_id": unit.meet_id,
            "official_id": official_id,
            "secret_hash": hash_secret(secret),
            "issued_at": unit.now,
            "expires_at": unit.now + LINK_LASTS,
            "used_at": None,
            "revoked_at": None,
        }
        _ADD_LINK.run(unit.conn, facts)
        made = link_row(unit.conn, link_id)
        out = link_out(made, token=f"{link_id}.{secret}") if made else None
        if out is None:
            raise NotFound("There is no such personal link.")
        return Done(
            Put(out, created=True), Deed(Kind.LINK_ISSUED, link_id, {"official": official_id})
        )

    return act


def revoke_link(official_id: OfficialId, link_id: LinkId) -> Action[LinkOut]:
    """Take a personal link back, end the session it opened, and revoke that session's keys."""

    def act(unit: Unit) -> Done[LinkOut]:
        known = link_row(unit.conn, link_id)
        if known is None or known.official_id != official_id or known.meet_id != unit.meet_id:
            raise NotFound("There is no such personal link at this meet.")
        if known.revoked_at is not None:
            return Done(link_out(known), None)
        unit.conn.execute(
            update(join_links).where(join_links.c.id == link_id).values(revoked_at=unit.now)
        )
        revoked = _end_sessions(unit, sessions.c.link_id == link_id)
        out = link_out(known).model_copy(update={"revoked_at": unit.now})
        body = {"official": official_id, **revoked}
        return Done(out, Deed(Kind.LINK_REVOKED, link_id, body))

    return act


def _end_sessions(unit: Unit, which: ColumnElement[bool]) -> Mapping[str, Sequence[Any]]:
    """End sessions, and revoke the keys of them all; returns what the record keeps of that."""
    unit.conn.execute(
        update(sessions).where(which, sessions.c.ended_at.is_(None)).values(ended_at=unit.now)
    )
    return revoke_keys_of(unit, which)


def leave(session_id: SessionId) -> Action[LeftOut]:
    """End the caller's own session on this device, and revoke the keys that it registered."""

    def act(unit: Unit) -> Done[LeftOut]:
        revoked = _end_sessions(unit, sessions.c.id == session_id)
        keys = [
            RevokedOut(key=one["key"], revoked_from=one["revoked_from"])
            for one in revoked.get("keys_revoked", ())
        ]
        out = LeftOut(session=session_id, keys_revoked=keys)
        return Done(out, Deed(Kind.LEFT, unit.actor.id, {"session": session_id, **revoked}))

    return act


def clear_pin(official_id: OfficialId) -> Action[OfficialOut]:
    """Forget an official's PIN, end their sessions, and revoke their keys and the links that nobody
    has used; they choose a new PIN when they join with a new link.

    Without a PIN a link lets in whoever has it: one that was handed to somebody else, or lies on a
    lost phone, would make its finder that official.
    """

    def act(unit: Unit) -> Done[OfficialOut]:
        official_row(unit.conn, unit.meet_id, official_id)
        unit.conn.execute(
            update(officials).where(officials.c.id == official_id).values(pin_hash=None)
        )
        revoked = _end_sessions(unit, sessions.c.official_id == official_id)
        body = {**revoked, **_revoke_unused_links(unit, official_id)}
        out = official(unit.conn, unit.meet_id, official_id)
        return Done(out, Deed(Kind.PIN_CLEARED, official_id, body))

    return act


def _revoke_unused_links(unit: Unit, official_id: OfficialId) -> Mapping[str, Sequence[str]]:
    """Take back an official's links that nobody has used; returns what the record keeps of that."""
    unused = (
        join_links.c.official_id == official_id,
        join_links.c.used_at.is_(None),
        join_links.c.revoked_at.is_(None),
    )
    known = select(join_links.c.id).where(*unused).order_by(join_links.c.id)
    idents = list(unit.conn.execute(known).scalars())
    unit.conn.execute(update(join_links).where(*unused).values(revoked_at=unit.now))
    return {"links_revoked": idents} if idents else {}


def refuse_pin(key: str) -> Action[None]:
    """Count a wrong PIN. It stands in the record: somebody tried to sign, or to join, as this
    person. TooManyTries, and nothing counted, while a wait runs.
    """

    def act(unit: Unit) -> Done[None]:
        count_wrong_try(unit.conn, key, unit.now)
        return Done(None, Deed(Kind.PIN_REFUSED, unit.actor.id, {"counted_by": key}))

    return act


def accept_pin(key: str) -> Action[None]:
    """A right PIN: its tries are counted anew. TooManyTries while a wait runs."""

    def act(unit: Unit) -> Done[None]:
        clear_tries(unit.conn, key, unit.now)
        return Done(None, None)

    return act
