"""The ids of things, typed, so that a heat is never taken for a team.

Ids are RFC 9562 UUIDs in their canonical text form. Whoever creates a thing chooses its id: a
phone without a network can name its report before the server has heard of it, and may send it
as often as it likes. Version 7 sorts by time and is what this program makes itself; version 4
is accepted from callers whose tools make nothing else.
"""

from __future__ import annotations

import re
from typing import Annotated, NewType

from pydantic import AfterValidator, WithJsonSchema
from uuid_utils import uuid7

MeetId = NewType("MeetId", str)
EventId = NewType("EventId", str)
TeamId = NewType("TeamId", str)
HeatId = NewType("HeatId", str)
OfficialId = NewType("OfficialId", str)
LinkId = NewType("LinkId", str)
SessionId = NewType("SessionId", str)
PostId = NewType("PostId", str)
CallId = NewType("CallId", str)
ReportId = NewType("ReportId", str)
CaseId = NewType("CaseId", str)
RulingId = NewType("RulingId", str)
DisqualificationId = NewType("DisqualificationId", str)
AnnouncementId = NewType("AnnouncementId", str)
WindowId = NewType("WindowId", str)
RoundId = NewType("RoundId", str)
LotsId = NewType("LotsId", str)
ProtestId = NewType("ProtestId", str)
DecisionId = NewType("DecisionId", str)
AppealId = NewType("AppealId", str)
VoteId = NewType("VoteId", str)
CorrectionId = NewType("CorrectionId", str)
PictureId = NewType("PictureId", str)
SealId = NewType("SealId", str)
PaperId = NewType("PaperId", str)
KeyId = NewType("KeyId", str)
SignatureId = NewType("SignatureId", str)

ACCEPTED_ID = r"[0-9a-f]{8}-[0-9a-f]{4}-[47][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}"
"""RFC 9562, section 4 and 5: the text form, version 4 or 7, and the variant of that RFC."""

_ACCEPTED = re.compile(ACCEPTED_ID)
_IN_ANY_CASE = ACCEPTED_ID.replace("a-f", "a-fA-F").replace("[89ab]", "[89abAB]")


def new_id() -> str:
    """A fresh UUIDv7 in canonical text form."""
    return str(uuid7())


def canonical_id(text: str) -> str:
    """The canonical form of an id that a caller chose; ValueError says what an id looks like."""
    lowered = text.lower()
    if _ACCEPTED.fullmatch(lowered) is None:
        raise ValueError(
            "an id is a UUID of version 7 (version 4 is accepted), "
            "such as 01936f2e-7b1c-7cc3-98c4-dc0c0c07398f"
        )
    return lowered


ChosenId = Annotated[
    str,
    AfterValidator(canonical_id),
    WithJsonSchema({"type": "string", "format": "uuid", "pattern": f"^{_IN_ANY_CASE}$"}),
]
"""An id in a path or a body, chosen by the caller."""
