"""What happened when, by whose clock: the acts that a case file is about, in the record's order.

Of what a phone wrote stand the time that it showed and how far it was off, as it was measured; the
time that counts is by the server's clock. That the heat was started and its result announced stands
between them; what else those entries say does not, since they tell of all teams.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from app.access.names import NamesThen
from app.casefiles.around import Around
from app.casefiles.scope import Scope
from app.clock import at_the_meet
from app.exporting.queries import Recorded
from app.forms.case_file import Moment
from app.meets.queries import MeetFacts
from app.record.kinds import KINDS, Kind
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.wire import PhoneClock

NONE = "\N{EN DASH}"
OTHERS = {"server": "the server", "founder": "whoever set up the meet"}
ERASED = "What was done has been erased."
TYPED = {
    Kind.PROTEST_LODGED: "lodged_at",
    Kind.APPEAL_LODGED: "lodged_at",
    Kind.ADVICE_GIVEN: "advised_at",
    Kind.DEPOSIT_RECEIVED: "received_at",
}
"""Under which name a time stands that somebody typed, since it was told to them."""
LISTED_ELSEWHERE = frozenset({Kind.PAPER_SEALED})


def moments_of(
    conn: Connection, meet: MeetFacts, scope: Scope, called: Mapping[str, str]
) -> tuple[Moment, ...]:
    """The time line; `called` says what reports, protests and appeals are called, by their ids."""
    names = NamesThen(conn, meet.id)
    teller = Teller(meet.time_zone, names, called, _written_again(scope.entries))
    own = {one.seq: teller.told(one) for one in scope.entries if one.kind not in LISTED_ELSEWHERE}
    around = {one.entry.seq: teller.around(one) for one in scope.around}
    moments = {**own, **around}
    return tuple(moments[seq] for seq in sorted(moments))


def _written_again(entries: Iterable[Recorded]) -> frozenset[int]:
    """The entries with which reports were written that had been written before."""
    known: set[str] = set()
    again = set()
    for one in entries:
        if one.kind is Kind.REPORT_WRITTEN:
            if one.subject in known:
                again.add(one.seq)
            known.add(one.subject)
    return frozenset(again)


@dataclass(frozen=True, slots=True)
class Teller:
    """Tells entries in words: with the times of the meet's zone, and with the officials' names."""

    zone: str
    names: NamesThen
    called: Mapping[str, str]
    again: frozenset[int]

    def told(self, one: Recorded) -> Moment:
        """An entry of the record as a row of the time line."""
        entry, body = json.loads(one.entry), said_in(one.body)
        at = datetime.fromisoformat(entry["at"])
        clock = _clock(body)
        happened = _corrected(clock) if clock is not None else _typed(one.kind, body) or at
        return Moment(
            entry=str(one.seq),
            happened=self._local(happened),
            phone=self._phone(clock, happened),
            received=self._local(at),
            who=self._who(entry),
            what=self._what(one),
        )

    def around(self, one: Around) -> Moment:
        """What was done to the whole heat."""
        entry = json.loads(one.entry.entry)
        return Moment(
            entry=str(one.entry.seq),
            happened=self._local(one.at),
            phone=NONE,
            received=self._local(datetime.fromisoformat(entry["at"])),
            who=self._who(entry),
            what=one.words,
        )

    def _who(self, entry: Mapping[str, str]) -> str:
        actor, at = entry["actor"], datetime.fromisoformat(entry["at"])
        return self.names.told(actor, at, self.zone) or OTHERS.get(actor, actor)

    def _local(self, instant: datetime) -> str:
        return at_the_meet(instant, self.zone)

    def _phone(self, clock: PhoneClock | None, happened: datetime) -> str:
        """What the phone's own clock showed, with the day where that was another; and how far it
        was off.
        """
        if clock is None:
            return NONE
        local, truly = (one.astimezone(ZoneInfo(self.zone)) for one in (clock.at, happened))
        day = "" if local.date() == truly.date() else f"{local:%Y-%m-%d} "
        shown = f"{day}{local:%H:%M:%S}.{local.microsecond // 10_000:02}"
        if clock.offset_ms is None:
            return f"{shown}, never compared with the server's"
        side = "behind" if clock.offset_ms >= 0 else "ahead"
        # Rounded up: an error is not told smaller than it was measured.
        error = "" if clock.error_ms is None else f" ±{math.ceil(clock.error_ms / 10) / 100:.2f} s"
        return f"{shown}, {abs(clock.offset_ms) / 1000:.2f} s {side}{error}"

    def _what(self, one: Recorded) -> str:
        about = self.called.get(one.subject, "")
        before = f"{about}: " if about else ""
        if one.text is None:
            return f"{before}{KINDS[one.kind].sentence} {ERASED}"
        again = " Again: it had been returned." if one.seq in self.again else ""
        more = _more(one.kind, said_in(one.body))
        return f"{before}{KINDS[one.kind].sentence}{again}{more}"


def said_in(body: Mapping[str, Any]) -> Mapping[str, Any]:
    """What an act says: beside its signature or within the statement that was signed."""
    return {**(body.get("statement") or {}), **body}


def _clock(body: Mapping[str, Any]) -> PhoneClock | None:
    said = body.get("clock")
    return PhoneClock.model_validate(said) if said else None


def _corrected(clock: PhoneClock) -> datetime:
    return clock.at + timedelta(milliseconds=clock.offset_ms or 0)


def _typed(kind: Kind, body: Mapping[str, Any]) -> datetime | None:
    said = body.get(TYPED.get(kind, ""))
    return datetime.fromisoformat(str(said)) if said else None


def _more(kind: Kind, body: Mapping[str, Any]) -> str:
    """What the kind's sentence leaves open, in a few words."""
    if kind is Kind.CALL:
        lane = f", lane {body['lane']}" if body.get("lane") else ""
        return f" It was {body.get('flag', '')}{lane}."
    if kind is Kind.REPORT_WRITTEN:
        seen = (body.get("observation") or {}).get("seen")
        return f" Seen: {title_of(Infringement(seen))}." if seen else ""
    if kind is Kind.RULING:
        return f" {str(body.get('verdict', '')).capitalize()}: {body.get('effect', '')}."
    if kind in {Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED}:
        return f" {str(body.get('verdict', '')).capitalize()}."
    return ""
