"""The closed list of what can stand in a record: each kind, its sentence, and who may follow it.

The live feed shows an entry to those roles only, and never its body. Umpires follow what concerns
heats and announcements; the desk follows flags and rulings besides; that something was reported,
returned or withdrawn stays with the head official, but for the question to the report's own umpire.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from app.roles import Role

HEAD = frozenset({Role.REFEREE, Role.CHIEF_UMPIRE})
DESK = frozenset({*HEAD, Role.RESULTS, Role.ORGANISER})
CREW = frozenset(Role)
PLANNERS = frozenset({Role.ORGANISER, Role.CHIEF_UMPIRE})
JURY = frozenset({Role.JURY})
COURT = frozenset({*HEAD, Role.RESULTS, Role.JURY})


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
    CREW_WISHES_SET = "crew wishes set"
    ZONES_MEASURED = "zones measured"
    HEAT_NOW = "heat now"
    HEAT_STARTED = "heat started"
    HEAT_HELD_BACK = "heat held back"
    HEAT_NOT_HELD = "heat not held"
    REHEARSAL_MADE = "rehearsal made"
    REHEARSAL_ENDED = "rehearsal ended"
    CALL = "call"
    REPORT_WRITTEN = "report written"
    REPORT_RETURNED = "report returned"
    REPORT_WITHDRAWN = "report withdrawn"
    PICTURE_ADDED = "picture added"
    RULING = "ruling"
    RESULT_LOADED = "result loaded"
    ANNOUNCEMENT = "announcement"
    ROUND_SET = "round set"
    LOTS_DRAWN = "lots drawn"
    PROTEST_LODGED = "protest lodged"
    PROTEST_DECIDED = "protest decided"
    PROTEST_WITHDRAWN = "protest withdrawn"
    ADVICE_GIVEN = "advice given"
    APPEAL_LODGED = "appeal lodged"
    DEPOSIT_RECEIVED = "deposit received"
    APPEAL_ADMITTED = "appeal admitted"
    APPEAL_TURNED_AWAY = "appeal turned away"
    PANEL_NAMED = "panel named"
    MEMBER_WITHDREW = "member withdrew"
    VOTE_CAST = "vote cast"
    APPEAL_DECIDED = "appeal decided"
    APPEAL_WITHDRAWN = "appeal withdrawn"
    APPEAL_REOPENED = "appeal reopened"
    ANNOUNCEMENT_TIME_CORRECTED = "announcement time corrected"
    PROTEST_CORRECTED = "protest corrected"
    APPEAL_CORRECTED = "appeal corrected"
    MEET_ENDED = "meet ended"
    END_OF_MEET_CORRECTED = "end of the meet corrected"
    SEAL_MADE = "seal made"
    PAPER_SEALED = "paper sealed"
    KEY_REGISTERED = "key registered"
    KEY_REVOKED = "key revoked"
    DECISION_SIGNED = "decision signed"
    ERASED = "erased"
    RECORD_RESTORED = "record restored"


CHANGES_ACCESS = frozenset(
    {Kind.OFFICIAL_CHANGED, Kind.LINK_REVOKED, Kind.JOINED, Kind.LEFT, Kind.PIN_CLEARED}
)
"""After one of these, what was known of a session of the meet may be so no longer."""

STILL_WRITTEN = frozenset(
    {
        *(Kind.ERASED, Kind.SEAL_MADE, Kind.PAPER_SEALED, Kind.RECORD_RESTORED),
        *(Kind.LINK_ISSUED, Kind.LINK_REVOKED, Kind.JOINED, Kind.LEFT),
        *(Kind.PIN_REFUSED, Kind.PIN_CLEARED, Kind.KEY_REVOKED),
    }
)
"""What is still done in a meet that was erased: whoever may read it joins, and prints its papers.
None of these says anything of a person but an id."""


@dataclass(frozen=True, slots=True)
class KindFacts:
    """A kind's sentence for people, the roles that may follow it live, and what makes its subject
    somebody's own: they follow it too.
    """

    sentence: str
    followers: frozenset[Role]
    own_by: Kind | None = None


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
    Kind.CREW_WISHES_SET: KindFacts("It was set what the crew is planned from.", PLANNERS),
    Kind.ZONES_MEASURED: KindFacts("The lines of take-over zones were measured.", CREW),
    Kind.HEAT_NOW: KindFacts("The head official said which heat is now.", CREW),
    Kind.HEAT_STARTED: KindFacts("A heat was started.", CREW),
    Kind.HEAT_HELD_BACK: KindFacts(
        "A heat was held back: its start was recalled, or it is to run again.", CREW
    ),
    Kind.HEAT_NOT_HELD: KindFacts("A heat was taken out of the draw: it is not held.", CREW),
    Kind.REHEARSAL_MADE: KindFacts("A rehearsal was made: nothing in it counts.", CREW),
    Kind.REHEARSAL_ENDED: KindFacts("A rehearsal was ended, its cases closed unruled.", CREW),
    Kind.CALL: KindFacts("A post showed its flag.", DESK),
    Kind.REPORT_WRITTEN: KindFacts("A report was written.", HEAD),
    Kind.REPORT_RETURNED: KindFacts(
        "A report was returned to its umpire.", HEAD, own_by=Kind.REPORT_WRITTEN
    ),
    Kind.REPORT_WITHDRAWN: KindFacts("A report was withdrawn.", HEAD),
    Kind.PICTURE_ADDED: KindFacts("A picture was added to a report.", HEAD),
    Kind.RULING: KindFacts("A case was ruled on.", DESK),
    Kind.RESULT_LOADED: KindFacts("A heat's finish list was loaded.", DESK),
    Kind.ANNOUNCEMENT: KindFacts("A result was announced.", CREW),
    Kind.ROUND_SET: KindFacts("It was set who goes on from a round, or what it scores.", CREW),
    Kind.LOTS_DRAWN: KindFacts("Lots were drawn for places in the next round.", CREW),
    Kind.PROTEST_LODGED: KindFacts("A protest was lodged.", COURT),
    Kind.PROTEST_DECIDED: KindFacts("The referee decided a protest.", COURT),
    Kind.PROTEST_WITHDRAWN: KindFacts("A protest was withdrawn.", COURT),
    Kind.ADVICE_GIVEN: KindFacts("Protesters were told that nothing is amended.", COURT),
    Kind.APPEAL_LODGED: KindFacts("An appeal was lodged.", COURT),
    Kind.DEPOSIT_RECEIVED: KindFacts("The deposit for an appeal was received.", COURT),
    Kind.APPEAL_ADMITTED: KindFacts("The jury admitted an appeal.", COURT),
    Kind.APPEAL_TURNED_AWAY: KindFacts("The jury turned an appeal away.", COURT),
    Kind.PANEL_NAMED: KindFacts("The panel for an appeal was named.", COURT),
    Kind.MEMBER_WITHDREW: KindFacts("A member of the jury withdrew from an appeal.", COURT),
    Kind.VOTE_CAST: KindFacts("A member of the jury voted.", JURY),
    Kind.APPEAL_DECIDED: KindFacts("The jury decided an appeal.", COURT),
    Kind.APPEAL_WITHDRAWN: KindFacts("An appeal was withdrawn.", COURT),
    Kind.APPEAL_REOPENED: KindFacts("The jury reopened an appeal.", COURT),
    Kind.ANNOUNCEMENT_TIME_CORRECTED: KindFacts(
        "The time of an announcement was corrected: it had been typed wrongly.", CREW
    ),
    Kind.PROTEST_CORRECTED: KindFacts(
        "The time of a protest, or of the advice on it, was corrected: it had been typed wrongly.",
        COURT,
    ),
    Kind.APPEAL_CORRECTED: KindFacts(
        "The time of an appeal, or its deposit's, or the receipt was corrected: it had been typed "
        "wrongly.",
        COURT,
    ),
    Kind.MEET_ENDED: KindFacts("The meet has ended.", CREW),
    Kind.END_OF_MEET_CORRECTED: KindFacts(
        "The time at which the meet ended was corrected: it had been typed wrongly.", CREW
    ),
    Kind.SEAL_MADE: KindFacts("The meet got a seal: a certificate and a key for its record.", DESK),
    Kind.PAPER_SEALED: KindFacts("A paper was sealed.", DESK),
    Kind.KEY_REGISTERED: KindFacts("An official registered a device's key.", DESK),
    Kind.KEY_REVOKED: KindFacts("A device's key was revoked.", DESK),
    Kind.DECISION_SIGNED: KindFacts("A decision was signed by one more official.", COURT),
    Kind.ERASED: KindFacts("Personal data was erased.", DESK),
    Kind.RECORD_RESTORED: KindFacts(
        "The record was restored from a copy: what was done after that was taken is not in it.",
        DESK,
    ),
}
