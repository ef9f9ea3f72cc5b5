"""A browser's session: the token in a cookie that scripts cannot read, one cookie a meet.

Browsers send cookies by themselves, also with what another site makes them send. So whatever
changes something and comes with a cookie must come from a page of this very server: by its
`Sec-Fetch-Site` (Fetch Metadata, W3C), and where a browser sends none, as to plain http, by its
`Origin`. A token in the Authorization header needs no such look: no other site can set it.
"""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import Response

from app.access.joining import SESSION_LASTS
from app.config import Settings
from app.ids import MeetId
from app.refusals import CrossSite

SAFE = frozenset({"GET", "HEAD"})


@dataclass(frozen=True, slots=True)
class CameWith:
    """The headers of a request that say who sends it, and from where."""

    authorization: str = ""
    cookie: str = ""
    site: str = ""
    origin: str = ""
    host: str = ""


def insist_own_page(method: str, came: CameWith) -> None:
    """CrossSite for a change that no page of this server sent."""
    if method in SAFE:
        return
    if came.site:
        is_own = came.site == "same-origin"
    else:
        is_own = bool(came.host) and came.origin.partition("://")[2] == came.host
    if not is_own:
        raise CrossSite(
            "This was sent from another site, so nothing was done. Open the page of this server "
            "and do it there."
        )


def is_secure(settings: Settings) -> bool:
    """Whether browsers reach this server by https, as it is told to phones."""
    return settings.address.startswith("https://")


def cookie_name(meet_id: str, *, secure: bool) -> str:
    """Its name; `__Host-` (RFC 6265bis, 4.1.3.2) binds it to this very host on https."""
    return f"{'__Host-' if secure else ''}session-{meet_id.lower()}"


def token_in_cookie(came: CameWith, meet_id: str, *, secure: bool) -> str:
    """The session's token of this meet, or an empty text."""
    wanted = cookie_name(meet_id, secure=secure)
    for pair in came.cookie.split(";"):
        name, _, value = pair.strip().partition("=")
        if name == wanted:
            return value
    return ""


def keep_session(response: Response, meet_id: MeetId, token: str, *, secure: bool) -> None:
    """Give the browser its session."""
    response.set_cookie(
        cookie_name(meet_id, secure=secure),
        token,
        max_age=int(SESSION_LASTS.total_seconds()),
        path="/",
        secure=secure,
        httponly=True,
        samesite="lax",
    )


def forget_session(response: Response, meet_id: MeetId, *, secure: bool) -> None:
    """Take it back."""
    response.delete_cookie(
        cookie_name(meet_id, secure=secure),
        path="/",
        secure=secure,
        httponly=True,
        samesite="lax",
    )
