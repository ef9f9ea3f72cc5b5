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
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from app.access.names import NamesThen
from app.casefiles.around import Around
from app.casefiles.scope import Scope
from app.clock import at_the_meet
from app.crew.queries import expected_posts
from app.exporting.queries import Recorded
from app.exporting.wanted import REVOKING
from app.forms.case_file import Moment
from app.meets.queries import MeetFacts, heat
from app.record.kinds import KINDS, Kind
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.wire import PhoneClock

NONE = "\N{EN DASH}"
OTHERS = {"server": "the server", "founder": "whoever set up the meet"}
ERASED = "What this entry said was erased"
WORDS = {
    Kind.REPORT_WRITTEN: "{It} was written.",
    Kind.REPORT_RETURNED: "{It} was returned to its umpire.",
    Kind.REPORT_WITHDRAWN: "{It} was withdrawn.",
    Kind.PICTURE_ADDED: "A picture was added to {it}.",
    Kind.RULING: "{It} was ruled on.",
    Kind.PROTEST_LODGED: "{It} was lodged.",
    Kind.PROTEST_DECIDED: "The referee decided {it}.",
    Kind.PROTEST_WITHDRAWN: "{It} was withdrawn.",
    Kind.PROTEST_CORRECTED: "A time of {it}, typed wrongly, was corrected.",
    Kind.ADVICE_GIVEN: "Those who lodged {it} were told that nothing is amended.",
    Kind.APPEAL_LODGED: "{It} was lodged.",
    Kind.DEPOSIT_RECEIVED: "The deposit for {it} was received.",
    Kind.APPEAL_ADMITTED: "The jury admitted {it}.",
    Kind.APPEAL_TURNED_AWAY: "The jury turned {it} away.",
    Kind.PANEL_NAMED: "The panel for {it} was named.",
    Kind.MEMBER_WITHDREW: "A member of the jury withdrew from {it}.",
    Kind.VOTE_CAST: "A member of the jury voted on {it}.",
    Kind.APPEAL_DECIDED: "The jury decided {it}.",
    Kind.APPEAL_WITHDRAWN: "{It} was withdrawn.",
    Kind.APPEAL_REOPENED: "The jury reopened {it}.",
    Kind.APPEAL_CORRECTED: "What had been typed wrongly of {it} was corrected.",
}
"""What is said of a thing that has a name; of any other, the kind's own sentence."""
TYPED = {
    Kind.PROTEST_LODGED: "lodged_at",
    Kind.APPEAL_LODGED: "lodged_at",
    Kind.ADVICE_GIVEN: "advised_at",
    Kind.DEPOSIT_RECEIVED: "received_at",
}
"""Under which name a time stands that somebody typed, since it was told to them."""
OF_KEYS = frozenset({Kind.KEY_REGISTERED, *REVOKING})
LISTED_ELSEWHERE = frozenset({Kind.PAPER_SEALED, Kind.SEAL_MADE})


def moments_of(
    conn: Connection, meet: MeetFacts, scope: Scope, called: Mapping[str, str]
) -> tuple[Moment, ...]:
    """The time line; `called` says what reports, protests and appeals are called, by their ids."""
    own, run = [*scope.entries, *scope.needed], heat(conn, meet.id, scope.heat)
    teller = Teller(
        zone=meet.time_zone,
        names=NamesThen(conn, meet.id),
        called=called,
        again=_written_again(scope.entries),
        beside=Beside.among(scope.needed),
        posts={one.id: one.words for one in expected_posts(conn, meet.id, run)},
    )
    told = {one.seq: teller.told(one) for one in own if one.kind not in LISTED_ELSEWHERE}
    around = {one.entry.seq: teller.around(one) for one in scope.around}
    moments = {**told, **around}
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
class Beside:
    """What the entries beside a file's own say: of keys by their ids, and of what was erased."""

    keys: Mapping[str, Mapping[str, Any]]
    erasures: tuple[Recorded, ...]

    @classmethod
    def among(cls, needed: Iterable[Recorded]) -> Beside:
        """Found among the entries that the file's own need."""
        found = tuple(needed)
        keys = {one.subject: one.body for one in found if one.kind is Kind.KEY_REGISTERED}
        return cls(keys, tuple(one for one in found if one.kind is Kind.ERASED))


@dataclass(frozen=True, slots=True)
class Teller:
    """Tells entries in words: with the times of the meet's zone, and with the officials' names."""

    zone: str
    names: NamesThen
    called: Mapping[str, str]
    again: frozenset[int]
    beside: Beside
    posts: Mapping[str, str]

    def told(self, one: Recorded) -> Moment:
        """An entry of the record as a row of the time line."""
        entry, body = json.loads(one.entry), said_in(one.body)
        at = datetime.fromisoformat(entry["at"])
        clock = _clock(body)
        happened = clock.by_the_server() if clock is not None else _typed(one.kind, body) or at
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
        return self._name(entry["actor"], datetime.fromisoformat(entry["at"]))

    def _name(self, actor: str, at: datetime) -> str:
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
        if one.kind in OF_KEYS and one.text is not None:
            return self._of_keys(one)
        said = self._sentence(one)
        if one.text is None:
            return f"{said} {self._erased(one)}"
        if one.kind is Kind.CALL:
            return self._flag(one.body)
        return f"{said}{_more(one.kind, said_in(one.body))}"

    def _sentence(self, one: Recorded) -> str:
        """What was done, with the name of what it was done to where that has one."""
        it = self.called.get(one.subject, "")
        if one.kind not in WORDS or not it:
            return KINDS[one.kind].sentence
        if one.seq in self.again:
            return f"{it} was written again: it had been returned."
        return WORDS[one.kind].format(It=it, it=f"{it[:1].lower()}{it[1:]}")

    def _flag(self, said: Mapping[str, Any]) -> str:
        """Which flag, for which lane, and at which post as the heat knows it."""
        lane = f" for lane {said['lane']}" if said.get("lane") else ""
        post = self.posts.get(str(said.get("post")), "")
        at = f": {post}" if post else ""
        return f"A {said.get('flag', '')} flag was shown{lane}{at}."

    def _erased(self, gone: Recorded) -> str:
        """That what an entry said was erased: when, by whom, and for what."""
        by_whom = (
            f" on {self._local(_at(one))}, by {one.body['by']}, for: {one.body['because']}"
            for one in reversed(self.beside.erasures)
            if gone.seq in one.body.get("entries", ())
        )
        return f"{ERASED}{next(by_whom, '')}."

    def _of_keys(self, one: Recorded) -> str:
        """A key that signed here was registered, or revoked: by itself or with a session."""
        if one.kind is Kind.KEY_REGISTERED:
            device = f": {one.body['device']}" if one.body.get("device") else ""
            return f"{_begin(self._key(one.body, _at(one)))} was registered{device}."
        if one.kind is Kind.KEY_REVOKED:
            reason = f" {one.body['reason']}" if one.body.get("reason") else ""
            return f"{_begin(self._revoked(one.body, _at(one)))}{reason}"
        with_it = (
            self._revoked(revoked, _at(one))
            for revoked in one.body.get("keys_revoked", ())
            if revoked["key"] in self.beside.keys
        )
        return " ".join((KINDS[one.kind].sentence, *(f"With it {words}" for words in with_it)))

    def _revoked(self, said: Mapping[str, Any], at: datetime) -> str:
        since = self._local(datetime.fromisoformat(said["revoked_from"]))
        return f"{self._key(said, at)} was revoked, from {since} on."

    def _key(self, said: Mapping[str, Any], at: datetime) -> str:
        kind = self.beside.keys.get(str(said["key"]), {}).get("kind", "key")
        return f"a {kind} of {self._name(str(said['official']), at)}"


def _begin(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def _at(one: Recorded) -> datetime:
    return datetime.fromisoformat(json.loads(one.entry)["at"])


def said_in(body: Mapping[str, Any]) -> Mapping[str, Any]:
    """What an act says: beside its signature or within the statement that was signed."""
    return {**(body.get("statement") or {}), **body}


def _clock(body: Mapping[str, Any]) -> PhoneClock | None:
    said = body.get("clock")
    return PhoneClock.model_validate(said) if said else None


def _typed(kind: Kind, body: Mapping[str, Any]) -> datetime | None:
    said = body.get(TYPED.get(kind, ""))
    return datetime.fromisoformat(str(said)) if said else None


def _more(kind: Kind, body: Mapping[str, Any]) -> str:
    """What the kind's sentence leaves open, in a few words."""
    if kind is Kind.REPORT_WRITTEN:
        seen = (body.get("observation") or {}).get("seen")
        return f" Seen: {title_of(Infringement(seen))}." if seen else ""
    if kind is Kind.ERASED:
        return f" By {body['by']}, for: {body['because']}"
    if kind is Kind.RULING:
        return f" {str(body.get('verdict', '')).capitalize()}: {body.get('effect', '')}."
    if kind in {Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED}:
        return f" {str(body.get('verdict', '')).capitalize()}."
    return ""
