"""The closed list of what can stand in a record: each kind, its sentence, and who may follow it.

The live feed shows an entry to those roles only, and never its body. Umpires follow what concerns
heats and announcements; the desk follows flags and rulings besides; that something was reported,
returned or withdrawn stays with the head official.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from app.roles import Role

HEAD = frozenset({Role.REFEREE, Role.CHIEF_UMPIRE})
DESK = frozenset({*HEAD, Role.RESULTS, Role.ORGANISER})
CREW = frozenset(Role)


class Kind(StrEnum):
    """What was done."""

    MEET_MADE = "meet made"
    MEET_CHANGED = "meet changed"
    OFFICIAL_NAMED = "official named"
    OFFICIAL_CHANGED = "official changed"
    LINK_ISSUED = "join link issued"
    LINK_REVOKED = "join link revoked"
    JOINED = "joined"
    LEFT = "left"
    PIN_REFUSED = "PIN refused"
    PIN_CLEARED = "PIN cleared"
    START_LISTS_LOADED = "start lists loaded"
    CREW_PLANNED = "crew planned"
    HEAT_STARTED = "heat started"
    HEAT_HELD_BACK = "heat held back"
    CALL = "call"
    REPORT_WRITTEN = "report written"
    REPORT_RETURNED = "report returned"
    REPORT_WITHDRAWN = "report withdrawn"
    RULING = "ruling"
    RESULT_LOADED = "result loaded"
    ANNOUNCEMENT = "announcement"
    ANNOUNCEMENT_TIME_CORRECTED = "announcement time corrected"
    MEET_ENDED = "meet ended"


@dataclass(frozen=True, slots=True)
class KindFacts:
    """A kind's sentence for people, and the roles that may follow it live."""

    sentence: str
    followers: frozenset[Role]


KINDS: dict[Kind, KindFacts] = {
    Kind.MEET_MADE: KindFacts("The meet was set up.", DESK),
    Kind.MEET_CHANGED: KindFacts("The meet's settings were changed.", DESK),
    Kind.OFFICIAL_NAMED: KindFacts("An official was named.", DESK),
    Kind.OFFICIAL_CHANGED: KindFacts("An official's name or roles were changed.", DESK),
    Kind.LINK_ISSUED: KindFacts("A personal link was issued.", DESK),
    Kind.LINK_REVOKED: KindFacts("A personal link was revoked.", DESK),
    Kind.JOINED: KindFacts("An official joined with a device.", DESK),
    Kind.LEFT: KindFacts("A device's session was ended.", DESK),
    Kind.PIN_REFUSED: KindFacts("A wrong PIN was given.", DESK),
    Kind.PIN_CLEARED: KindFacts("An official's PIN was cleared.", DESK),
    Kind.START_LISTS_LOADED: KindFacts("Start lists were loaded.", CREW),
    Kind.CREW_PLANNED: KindFacts("The crew plan was set.", CREW),
    Kind.HEAT_STARTED: KindFacts("A heat was started.", CREW),
    Kind.HEAT_HELD_BACK: KindFacts(
        "A heat was held back: its start was recalled, or it is to run again.", CREW
    ),
    Kind.CALL: KindFacts("A post showed its flag.", DESK),
    Kind.REPORT_WRITTEN: KindFacts("A report was written.", HEAD),
    Kind.REPORT_RETURNED: KindFacts("A report was returned to its umpire.", HEAD),
    Kind.REPORT_WITHDRAWN: KindFacts("A report was withdrawn.", HEAD),
    Kind.RULING: KindFacts("A case was ruled on.", DESK),
    Kind.RESULT_LOADED: KindFacts("A heat's finish list was loaded.", DESK),
    Kind.ANNOUNCEMENT: KindFacts("A result was announced.", CREW),
    Kind.ANNOUNCEMENT_TIME_CORRECTED: KindFacts(
        "The time of an announcement was corrected: it had been typed wrongly.", CREW
    ),
    Kind.MEET_ENDED: KindFacts("The meet has ended.", CREW),
}
