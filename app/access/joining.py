"""Joining: a personal link, opened on purpose, gives a device its session.

Looking at a link does not use it up, so a messenger's preview cannot burn it. The phone chooses
the session's id: when the answer to joining was lost, it sends the same again, as often as it
likes and at the same time, and gets the same answer; the link counts as used once.

1. Look at the link and its secret. Nobody guesses 256 bits, so no wrong one is counted: whoever
   knows a link's id only, which stands in the record, slows nobody who holds the link.
2. Take the turn of the link, and insist that no wait runs.
3. Look at the PIN, in a thread; a wrong one is counted by the link, and stands in the record.
4. Open the session. Where another device of the same official has chosen the PIN meanwhile, begin
   again at 3.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlalchemy import Connection, bindparam, insert, select, update

from app.access.actions import refuse_pin
from app.access.pin_threads import hashed, is_right
from app.access.queries import link_row, official_row
from app.access.secrets import (
    hash_secret,
    is_guessable,
    new_secret,
    same_secret,
    session_token,
)
from app.access.tables import join_links, officials, sessions
from app.access.tries import clear_tries, insist_no_wait, turn_of
from app.access.wire import JoinIn, JoinOut
from app.ids import LinkId, MeetId, OfficialId, SessionId, canonical_id
from app.record.kinds import Kind
from app.record.queries import is_closed
from app.refusals import JoinRefused, Malformed, PinRefused, StateConflict
from app.roles import Role
from app.store.action import Action, Actor, Deed, Done, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.store.store import Store

SESSION_LASTS = timedelta(days=7)

_SESSION = Prepared(
    select(sessions.c.link_id, sessions.c.ended_at, sessions.c.salt, sessions.c.expires_at).where(
        sessions.c.id == bindparam("session")
    )
)

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


USED = "This personal link has been used. If that was not you, tell the organiser at once."


def is_link_token(text: str) -> bool:
    """Whether this is a personal link, or its token, good or not."""
    try:
        split_token(text)
    except JoinRefused:
        return False
    return True


def look_up(conn: Connection, token: str, now: datetime) -> tuple[AnyRow, AnyRow]:
    """The link and its official, whether or not it was used.

    JoinRefused for a wrong token, and for a link that was taken back or has expired: it tells
    nobody any more whose it was.
    """
    link_id, secret = split_token(token)
    link = link_row(conn, link_id)
    if link is None or not same_secret(link.secret_hash, secret):
        raise JoinRefused(NOT_GOOD)
    person = official_row(conn, MeetId(link.meet_id), OfficialId(link.official_id))
    if link.revoked_at is not None or not person.active:
        raise JoinRefused("This personal link was taken back. Ask the organiser for a new one.")
    if now >= link.expires_at:
        raise JoinRefused("This personal link has expired. Ask the organiser for a new one.")
    return link, person


async def join_with(store: Store, sent: JoinIn) -> JoinOut:
    """Use a personal link: the device gets its session, the official their PIN.

    JoinRefused for a link that is not good, PinRefused for a wrong PIN, TooManyTries after several.
    """
    link, _person = await store.read(lambda conn: look_up(conn, sent.token, store.clock.now()))
    key = _tries_key(link)
    async with turn_of(key):
        joined = None
        while joined is None:
            joined = await _try_to_join(store, sent, key)
    return joined


async def _try_to_join(store: Store, sent: JoinIn, key: str) -> JoinOut | None:
    """None where the official's PIN is no longer the one that this one was looked at against."""
    now = store.clock.now()
    await store.read(lambda conn: insist_no_wait(conn, key, now))
    link, person = await store.read(lambda conn: look_up(conn, sent.token, now))
    if link.used_at is not None:
        # Before any PIN is looked at: a used link must not tell right ones from wrong ones.
        await store.read(lambda conn: _insist_on_its_session(conn, link, sent))
    meet_id, actor = MeetId(link.meet_id), Actor(person.id)
    stored = person.pin_hash
    if stored is None:
        fresh = await hashed(_insist_good(sent.pin))
        return await store.act(meet_id, actor, _join(sent, None, fresh))
    if not await is_right(stored, sent.pin):
        await store.act(meet_id, actor, refuse_pin(key))
        raise PinRefused(
            "This is not the PIN you chose when you joined first. Try again. If it is forgotten, "
            "the organiser lets you choose a new one."
        )
    return await store.act(meet_id, actor, _join(sent, stored, stored))


def _insist_good(pin: str) -> str:
    if is_guessable(pin):
        raise Malformed(
            "This PIN is the first that anybody would try. Choose another: not one digit "
            "repeated, nor digits that count up or down.",
            field="/pin",
        )
    return pin


def _tries_key(link: AnyRow) -> str:
    """What wrong PINs at joining are counted by: the link, which is one person's."""
    return f"join:{link.id}"


def _join(sent: JoinIn, checked: str | None, pin_hash: str) -> Action[JoinOut | None]:
    """Use the link up and open the session; None where the PIN's hash is no longer `checked`.

    The PIN was looked at before, outside the transaction: against `checked`, or, where there was
    none, it became `pin_hash`.
    """

    def act(unit: Unit) -> Done[JoinOut | None]:
        link, person = look_up(unit.conn, sent.token, unit.now)
        if person.pin_hash != checked:
            return Done(None, None)
        session = _session(unit.conn, link, sent)
        if session is None and link.used_at is not None:
            raise JoinRefused(USED)
        clear_tries(unit.conn, _tries_key(link), unit.now)
        secret = split_token(sent.token)[1]
        if session is not None and unit.now < session.expires_at:
            token = session_token(secret, session.salt)
            return Done(_joined(person, sent, token, unit, session.expires_at), None)
        salt, expires_at = new_secret(), unit.now + SESSION_LASTS
        token = session_token(secret, salt)
        lasting = {"secret_hash": hash_secret(token), "salt": salt, "expires_at": expires_at}
        if session is None:
            _open(unit, link, sent, lasting)
        else:
            unit.conn.execute(update(sessions).where(sessions.c.id == sent.session).values(lasting))
        if checked is None:
            unit.conn.execute(
                update(officials).where(officials.c.id == person.id).values(pin_hash=pin_hash)
            )
        out = _joined(person, sent, token, unit, expires_at)
        return Done(out, Deed(Kind.JOINED, person.id, {"session": sent.session, "link": link.id}))

    return act


def _insist_on_its_session(conn: Connection, link: AnyRow, sent: JoinIn) -> None:
    if _session(conn, link, sent) is None:
        raise JoinRefused(USED)


def _session(conn: Connection, link: AnyRow, sent: JoinIn) -> AnyRow | None:
    """The session that this joining repeats; StateConflict where its id stands for another."""
    row: AnyRow | None = _SESSION.first(conn, {"session": sent.session})
    if row is not None and (row.link_id != link.id or row.ended_at is not None):
        raise StateConflict("This session id has been used before. Choose a new one.")
    return row


def _open(unit: Unit, link: AnyRow, sent: JoinIn, lasting: Mapping[str, object]) -> None:
    """Open it; in a meet that was erased without the device's name, which tells whose it is."""
    unit.conn.execute(
        insert(sessions).values(
            id=sent.session,
            meet_id=link.meet_id,
            official_id=link.official_id,
            link_id=link.id,
            device="" if is_closed(unit.conn, unit.meet_id) else sent.device,
            joined_at=unit.now,
            **lasting,
        )
    )
    unit.conn.execute(update(join_links).where(join_links.c.id == link.id).values(used_at=unit.now))


def _joined(person: AnyRow, sent: JoinIn, token: str, unit: Unit, expires_at: datetime) -> JoinOut:
    return JoinOut(
        session=SessionId(sent.session),
        token=token,
        meet=unit.meet_id,
        official=person.id,
        name=person.name,
        roles=[Role(role) for role in person.roles],
        expires_at=expires_at,
    )
