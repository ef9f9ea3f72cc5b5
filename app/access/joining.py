"""Joining: a personal link, opened on purpose, gives a device its session.

Looking at a link does not use it up, so a messenger's preview cannot burn it. The phone chooses
the session's id: when the answer to joining was lost, it sends the same again and gets a fresh
token for the same session, and the link still counts as used once.
"""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import Connection, insert, select, update

from app.access.queries import link_row, official_row
from app.access.secrets import hash_secret, new_secret, same_secret
from app.access.tables import join_links, officials, sessions
from app.access.tries import clear_tries, count_try
from app.access.wire import JoinIn, JoinOut
from app.ids import LinkId, MeetId, OfficialId, SessionId, canonical_id
from app.record.kinds import Kind
from app.refusals import JoinRefused, StateConflict
from app.roles import Role
from app.store.action import Action, Deed, Done, Unit
from app.store.rows import AnyRow

SESSION_LASTS = timedelta(days=7)

NOT_GOOD = "This personal link is not good. Ask the organiser for a new one."


def split_token(token: str) -> tuple[LinkId, str]:
    """The link's id and its secret; JoinRefused where the text is no token.

    The whole link is as good as the token in its fragment.
    """
    link, _, secret = token.strip().rpartition("#")[2].partition(".")
    try:
        return LinkId(canonical_id(link)), secret
    except ValueError as error:
        raise JoinRefused(NOT_GOOD) from error


def is_link_token(text: str) -> bool:
    """Whether this is a personal link, or its token, good or not."""
    try:
        split_token(text)
    except JoinRefused:
        return False
    return True


def look_up(conn: Connection, token: str) -> tuple[AnyRow, AnyRow]:
    """The link and its official, whether or not it was used; JoinRefused for a wrong token."""
    link_id, secret = split_token(token)
    link = link_row(conn, link_id)
    if link is None or not same_secret(link.secret_hash, secret):
        raise JoinRefused(NOT_GOOD)
    return link, official_row(conn, MeetId(link.meet_id), OfficialId(link.official_id))


def tries_key(link_id: LinkId) -> str:
    """What wrong tries with a link are counted by: the link, which is one person's."""
    return f"join:{link_id}"


def count_join_try(link_id: LinkId) -> Action[None]:
    """Count a try before it is looked at."""

    def act(unit: Unit) -> Done[None]:
        count_try(unit.conn, tries_key(link_id), unit.now)
        return Done(None, None)

    return act


def join(sent: JoinIn, checked: str | None, pin_hash: str) -> Action[JoinOut]:
    """Use the link up and open the session.

    The PIN was looked at before, outside the transaction: against `checked`, the stored hash, or,
    where there was none, it became `pin_hash`.
    """

    def act(unit: Unit) -> Done[JoinOut]:
        link, person = look_up(unit.conn, sent.token)
        again = _same_session(unit.conn, link.id, sent)
        _insist_usable(link, person, unit, again=again)
        if person.pin_hash != checked:
            raise StateConflict("The PIN was changed meanwhile. Join again.")
        clear_tries(unit.conn, tries_key(link.id))
        secret = new_secret()
        if again:
            _renew(unit, sent, secret)
        else:
            _open(unit, link, sent, secret)
        if checked is None:
            unit.conn.execute(
                update(officials).where(officials.c.id == person.id).values(pin_hash=pin_hash)
            )
        out = _joined(person, sent, secret, unit)
        return Done(out, Deed(Kind.JOINED, person.id, {"session": sent.session, "link": link.id}))

    return act


def _same_session(conn: Connection, link_id: str, sent: JoinIn) -> bool:
    row = conn.execute(
        select(sessions.c.link_id, sessions.c.ended_at).where(sessions.c.id == sent.session)
    ).one_or_none()
    if row is not None and (row.link_id != link_id or row.ended_at is not None):
        raise StateConflict("This session id has been used before. Choose a new one.")
    return row is not None


def _insist_usable(link: AnyRow, person: AnyRow, unit: Unit, *, again: bool) -> None:
    if link.revoked_at is not None or not person.active:
        raise JoinRefused("This personal link was taken back. Ask the organiser for a new one.")
    if link.used_at is not None and not again:
        raise JoinRefused(
            "This personal link has been used. If that was not you, tell the organiser at once."
        )
    if unit.now >= link.expires_at:
        raise JoinRefused("This personal link has expired. Ask the organiser for a new one.")


def _open(unit: Unit, link: AnyRow, sent: JoinIn, secret: str) -> None:
    unit.conn.execute(
        insert(sessions).values(
            id=sent.session,
            secret_hash=hash_secret(secret),
            meet_id=link.meet_id,
            official_id=link.official_id,
            link_id=link.id,
            device=sent.device,
            joined_at=unit.now,
            expires_at=unit.now + SESSION_LASTS,
        )
    )
    unit.conn.execute(update(join_links).where(join_links.c.id == link.id).values(used_at=unit.now))


def _renew(unit: Unit, sent: JoinIn, secret: str) -> None:
    unit.conn.execute(
        update(sessions)
        .where(sessions.c.id == sent.session)
        .values(secret_hash=hash_secret(secret), expires_at=unit.now + SESSION_LASTS)
    )


def _joined(person: AnyRow, sent: JoinIn, secret: str, unit: Unit) -> JoinOut:
    return JoinOut(
        session=SessionId(sent.session),
        token=secret,
        meet=unit.meet_id,
        official=person.id,
        name=person.name,
        roles=[Role(role) for role in person.roles],
        expires_at=unit.now + SESSION_LASTS,
    )
