"""Officials, links, joining and sessions as they go over HTTP."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import Field

from app.forms.paper import Paper
from app.ids import ChosenId, KeyId, LinkId, MeetId, OfficialId, SessionId
from app.roles import Role
from app.sheets.problems import Problem
from app.wire import Name, OptionalName, Pin, Wire, shown


class OfficialIn(Wire):
    """An official as the organiser names them."""

    model_config = shown(
        {"name": "Bo Halyard", "affiliation": "Saltmarsh Harriers", "roles": ["umpire"]}
    )

    name: Name
    affiliation: OptionalName = ""
    roles: Annotated[list[Role], Field(min_length=1, max_length=len(Role))]
    active: bool = True


class OfficialOut(Wire):
    """An official as stored."""

    id: OfficialId
    name: str
    affiliation: str
    roles: list[Role]
    active: bool
    has_pin: bool
    version: int


class OfficialsListOut(Wire):
    """What a list of officials holds, and what taking it over does (or would do)."""

    stored: bool
    officials: int
    added: list[str]
    changed: list[str] = Field(description="known officials whose roles or affiliation change")
    unchanged: int
    ignored_columns: list[str]
    problems: list[Problem]


class LinkOut(Wire):
    """A personal link. `token` is told once, when the link is issued; only its hash is kept."""

    id: LinkId
    official: OfficialId
    token: str | None = None
    issued_at: datetime
    expires_at: datetime
    used_at: datetime | None = None
    revoked_at: datetime | None = None


class BadgesIn(Wire):
    """Whose badges are wanted, each with a new personal link."""

    model_config = shown(
        {"officials": ["01890a5d-ac96-774b-bcce-b302099a8057"], "paper": "A4"},
        {"officials": [], "paper": "letter"},
    )

    officials: Annotated[list[ChosenId], Field(max_length=500)] = Field(
        description="in the order in which their badges are to lie; empty means all who are active"
    )
    paper: Paper = Paper.A4


class LookIn(Wire):
    """A personal link's token, to see whose it is before using it."""

    model_config = shown({"token": "01890a5d-ac96-774b-bcce-b302099a8057.the-secret-of-the-link"})

    token: Annotated[str, Field(max_length=200)]


class LookOut(Wire):
    """Whose link this is. Looking does not use it up."""

    meet: MeetId
    meet_name: str
    official: OfficialId
    name: str
    roles: list[Role]
    has_pin: bool
    is_used: bool = Field(
        description="true: a device has joined with it, and no other one can; ask for a new link"
    )


class JoinIn(LookIn):
    """Joining with a personal link. Send the same `session` again if the answer was lost."""

    model_config = shown(
        {
            "token": "01890a5d-ac96-774b-bcce-b302099a8057.the-secret-of-the-link",
            "session": "01890a5d-ac96-7ab2-80e2-4536629c90de",
            "pin": "480213",
            "device": "Bo's phone",
        }
    )

    session: ChosenId
    pin: Pin
    device: OptionalName = Field(
        default="", description="whose device it is; not kept in a meet that was erased"
    )


class JoinOut(Wire):
    """A joined device. `token` goes into the Authorization header: Bearer."""

    session: SessionId
    token: str
    meet: MeetId
    official: OfficialId
    name: str
    roles: list[Role]
    expires_at: datetime


class RevokedOut(Wire):
    """A key that was revoked with the session it was registered in."""

    key: KeyId
    revoked_from: datetime


class LeftOut(Wire):
    """A session that has ended, and what that did to the device's keys."""

    session: SessionId
    keys_revoked: list[RevokedOut] = Field(
        description="the keys that were registered in it and counted until now: what they signed "
        "before stays good, and they sign nothing more. A key of another session of yours stays; "
        "revoke it apart (`POST …/me/keys/{key}/revoke`), where the device is given away"
    )


class SelfOut(Wire):
    """Who the caller is."""

    meet: MeetId
    official: OfficialId
    name: str
    roles: list[Role]
    session: SessionId
