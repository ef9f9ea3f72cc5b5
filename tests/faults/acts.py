"""What do the people of a meet send while its server is killed? One act after another.

Whoever sends a thing chooses its id, so each act is known by what the record will call it and by
that id, before it is sent. What is written names that id, so that no two accounts are the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random

from app.ids import new_id
from app.record.kinds import Kind
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    Person,
    a_call,
    a_meet,
    a_report,
    a_ruling,
)
from tests.running import Service

UMPIRES = ("umpire", "second", "third", "fourth", "fifth")
PHONES = len(UMPIRES) + 3
HEATS, WITH_RESULT = 5, 2
SEEN = "pass_completed_beyond_zone"

Key = tuple[Kind, str]


@dataclass(frozen=True, slots=True)
class Act:
    """One request of one person, and what the record will say of it."""

    kind: Kind
    subject: str
    method: str
    path: str
    token: str
    body: Json
    etag: str | None = None

    @property
    def key(self) -> Key:
        return self.kind, self.subject


@dataclass(frozen=True, slots=True)
class Told:
    """An answer: its status, its document, and the version that it names."""

    status: int
    document: Json
    etag: str | None = None


Ask = Callable[[str, str], Told]
"""What reads for a person, by their token and an address: a referee looks before ruling."""
Acts = Iterator[Act]


@dataclass(frozen=True, slots=True)
class Crowd:
    """A meet whose heats run, and those of its people who send; `size` is its record's so far, and
    `known` a report that it holds."""

    meet: str
    size: int
    known: Act
    organiser: Person
    referee: Person
    desk: Person
    umpires: tuple[tuple[Person, str], ...]
    heats: tuple[Json, ...]


def a_crowd(service: Service) -> Crowd:
    """A meet in which everybody is ready to send."""
    hand: MeetAtHand = a_meet(service, umpires=UMPIRES[1:], heats=HEATS)
    for number in range(HEATS):
        hand.start(number)
    for number in range(WITH_RESULT):
        assert hand.load_result(number).status_code == 201
    known = _a_known_report(hand)
    return Crowd(
        meet=hand.id,
        size=hand.head()["size"],
        known=known,
        organiser=hand.organiser,
        referee=hand.referee,
        desk=hand.desk,
        umpires=tuple((hand[name], hand.posts[name]) for name in UMPIRES),
        heats=tuple(hand.heats),
    )


def _a_known_report(hand: MeetAtHand) -> Act:
    report, sent = new_id(), a_report(hand.heat(), hand.posts["umpire"])
    assert hand.umpire.put(f"reports/{report}", sent).status_code == 201
    path = f"/api/meets/{hand.id}/reports/{report}"
    return Act(Kind.REPORT_WRITTEN, report, "PUT", path, hand.umpire.token, sent)


class Acting:
    """Who sends what next, by chance alone, when they can read what they must know."""

    def __init__(self, crowd: Crowd, chance: Random, ask: Ask) -> None:
        self._crowd, self._chance, self._ask = crowd, chance, ask

    def acts_of(self, phone: int) -> Acts:
        """A few acts of a phone that belong together. The first phones are the umpires', then come
        one who withdraws, the referee's and the desk's.
        """
        if phone < len(self._crowd.umpires):
            return self._by_umpire(*self._crowd.umpires[phone])
        others = (self._taken_back, self._by_referee, self._at_desk)
        return others[phone - len(self._crowd.umpires)]()

    def _by_umpire(self, person: Person, post: str) -> Acts:
        written = self._report(person, post)
        report = written.body
        flag = a_call(report["heat"], post, "yellow", lane=report["lane"], report=written.subject)
        match self._chance.choice(("white", "flag first", "account alone")):
            case "white":
                white = a_call(report["heat"], post)
                yield self._put(Kind.CALL, new_id(), "calls", person, white)
            case "flag first":
                yield self._put(Kind.CALL, new_id(), "calls", person, flag)
                yield written
            case _:
                yield written

    def _report(self, person: Person, post: str) -> Act:
        heat, lane = self._chance.choice(self._crowd.heats)["id"], self._chance.randint(1, 8)
        report = new_id()
        words = f"Both hands on the baton at the line, says {report}."
        sent = a_report(heat, post, lane=lane, words=words)
        return self._put(Kind.REPORT_WRITTEN, report, "reports", person, sent)

    def _taken_back(self) -> Acts:
        written = self._report(*self._crowd.umpires[0])
        yield written
        reason = {"reason": f"Lane {written.body['lane'] % 8 + 1} it was."}
        path = f"{written.path}/withdraw"
        kind = Kind.REPORT_WITHDRAWN
        yield Act(kind, written.subject, "POST", path, written.token, reason, '"v1"')

    def _by_referee(self) -> Acts:
        referee = self._crowd.referee
        docket = self._ask(referee.token, f"/api/meets/{self._crowd.meet}/docket")
        if cases := docket.document["cases"]:
            case = self._chance.choice(cases)
            verdict, seen = self._chance.choice((("confirmed", SEEN), ("dismissed", None)))
            ruling, sent = new_id(), a_ruling(verdict=verdict, infringement=seen)
            path = f"{self._address('cases', case['id'])}/rulings/{ruling}"
            version = f'"v{case["version"]}"'
            yield Act(Kind.RULING, ruling, "PUT", path, referee.token, sent, version)
        official = new_id()
        named = {"name": f"Newcomer {official}", "affiliation": "", "roles": ["umpire"]}
        organiser = self._crowd.organiser
        yield self._put(Kind.OFFICIAL_NAMED, official, "officials", organiser, named)

    def _at_desk(self) -> Acts:
        desk, heat = self._crowd.desk, self._chance.choice(self._crowd.heats)
        protest = new_id()
        lodged = {
            "heat": heat["id"],
            "team": self._chance.choice(heat["lanes"])["team"],
            "about": "placing",
            "lodged_by": "Mira Anchor",
            "words": f"The baton was inside the zone, says {protest}.",
        }
        yield self._put(Kind.PROTEST_LODGED, protest, "protests", desk, lodged)
        heat = self._chance.choice(self._crowd.heats[:WITH_RESULT])
        seen = self._ask(desk.token, f"{self._address('heats', heat['id'])}/result")
        announced = {"heat": heat["id"], "despite": "No telephone.", "remark": "", "pin": PIN}
        announcement = new_id()
        path = self._address("announcements", announcement)
        yield Act(Kind.ANNOUNCEMENT, announcement, "PUT", path, desk.token, announced, seen.etag)

    def _put(self, kind: Kind, ident: str, what: str, person: Person, sent: Json) -> Act:
        return Act(kind, ident, "PUT", self._address(what, ident), person.token, sent)

    def _address(self, what: str, ident: str) -> str:
        return f"/api/meets/{self._crowd.meet}/{what}/{ident}"
