"""Builders: a meet at hand, its officials joined, and documents with sensible defaults.

All names here are invented for the tests.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import count
from typing import Any

import httpx

from app.access.guard import FOUNDER
from app.ids import MeetId, new_id
from app.store.action import Actor
from tests.people import PIN, Newcomer, join, welcome
from tests.running import SETUP_KEY, Service

TEAMS = ("Tern", "Gull", "Heron", "Plover", "Curlew", "Puffin", "Dunlin", "Petrel")
ROLES = ("umpire", "chief_umpire", "referee", "results", "jury", "organiser")
INNARDS = (
    *("Traceback", 'File "', "sqlalchemy", "psycopg", "sqlite3", "pydantic", "starlette"),
    *("Input ", "Value ", "String should", "List should", "validation", "Unable to"),
)

Json = dict[str, Any]

_event_numbers = count(1)
_loaded: Counter[str] = Counter()


@dataclass
class Person:
    """A joined official who sends requests."""

    id: str
    name: str
    token: str
    http: httpx.Client
    meet: str

    def send(
        self,
        method: str,
        path: str,
        *,
        json: Any = None,
        content: bytes | str | None = None,
        headers: Mapping[str, str] | None = None,
        etag: str | None = None,
        params: Mapping[str, str] | None = None,
    ) -> httpx.Response:
        """A request to a path below the meet."""
        sent = {"Authorization": f"Bearer {self.token}", **(headers or {})}
        if etag is not None:
            sent["If-Match"] = etag
        address = path if path.startswith("/") else f"/api/meets/{self.meet}/{path}"
        return self.http.request(
            method, address, json=json, content=content, headers=sent, params=params
        )

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self.send("GET", path, **more)

    def put(self, path: str, json: Any = None, **more: Any) -> httpx.Response:
        return self.send("PUT", path, json=json, **more)

    def post(self, path: str, json: Any = None, **more: Any) -> httpx.Response:
        return self.send("POST", path, json=json, **more)

    def delete(self, path: str, **more: Any) -> httpx.Response:
        return self.send("DELETE", path, **more)


@dataclass
class MeetAtHand:
    """A meet with one official of each role, further umpires by name, and its posts."""

    service: Service
    id: str
    people: dict[str, Person] = field(default_factory=dict)
    posts: dict[str, str] = field(default_factory=dict)
    heats: list[Json] = field(default_factory=list)

    def __getitem__(self, name: str) -> Person:
        return self.people[name]

    @property
    def umpire(self) -> Person:
        return self.people["umpire"]

    @property
    def referee(self) -> Person:
        return self.people["referee"]

    @property
    def desk(self) -> Person:
        return self.people["results"]

    @property
    def organiser(self) -> Person:
        return self.people["organiser"]

    def person(self, official: str, name: str, token: str) -> Person:
        """A joined official of this meet."""
        return Person(official, name, token, self.service.http, self.id)

    def heat(self, number: int = 0) -> str:
        """The id of a heat, in the order of the programme."""
        return str(self.heats[number]["id"])

    def head(self) -> Json:
        """The record's size and root: it moves with whatever is stored."""
        answer = self.service.http.get(f"/api/meets/{self.id}/record/head")
        return dict(answer.json())

    def start(self, number: int = 0) -> None:
        """The heat runs."""
        seen = self.referee.get(f"heats/{self.heat(number)}")
        answer = self.referee.post(f"heats/{self.heat(number)}/start", etag=seen.headers["ETag"])
        assert answer.status_code == 200, answer.text

    def hold_back(self, number: int = 0) -> None:
        """The heat's start is recalled, or the heat is to run again, with a word where it needs
        one.
        """
        seen = self.referee.get(f"heats/{self.heat(number)}")
        address = f"heats/{self.heat(number)}/hold-back"
        answer = self.referee.post(address, etag=seen.headers["ETag"])
        if answer.status_code == 409 and answer.json()["type"] == "/problems/needs-word":
            word = {"despite": "The referee has ordered it."}
            answer = self.referee.post(address, word, etag=seen.headers["ETag"])
        assert answer.status_code == 200, answer.text

    def call(
        self, flag: str = "white", *, by: str = "umpire", heat: int = 0, **changes: Any
    ) -> httpx.Response:
        """Show a flag at one's own post."""
        post = changes.pop("post", self.posts.get(by))
        return self[by].put(
            f"calls/{changes.pop('id', new_id())}", a_call(self.heat(heat), post, flag, **changes)
        )

    def case(self, case: str) -> Json:
        """A case as the referee reads it."""
        answer = self.referee.get(f"cases/{case}")
        assert answer.status_code == 200, answer.text
        return dict(answer.json())

    def open_cases(self, heat: int = 0) -> list[str]:
        """The ids of a heat's cases on the docket, oldest first."""
        return [line["id"] for line in self.docket() if line["heat"] == self.heat(heat)]

    def docket(self) -> list[Json]:
        """All cases on the docket, page by page."""
        lines: list[Json] = []
        page: Json = {"next": ""}
        while page["next"] is not None:
            place = {"after": page["next"]} if page["next"] else None
            page = self.referee.get("docket", params=place).json()
            lines += page["cases"]
        return lines

    def report(self, *, by: str = "umpire", heat: int = 0, **changes: Any) -> Json:
        """Write a report and return it as stored."""
        post = changes.pop("post", self.posts.get(by))
        sent = a_report(self.heat(heat), post, **changes)
        answer = self[by].put(f"reports/{new_id()}", sent)
        assert answer.status_code == 201, answer.text
        return dict(answer.json())

    def rule(self, case: str, *, by: str = "referee", **changes: Any) -> httpx.Response:
        """Rule on a case as it stands."""
        seen = self[by].get(f"cases/{case}")
        etag = seen.headers.get("ETag", '"v1"')
        return self[by].put(f"cases/{case}/rulings/{new_id()}", a_ruling(**changes), etag=etag)

    def draw_lanes(self, lanes: Mapping[int, int], heat: int = 0) -> httpx.Response:
        """Load the heat's start list again, with teams moved from lane to lane."""
        known = self.heats[heat]
        rows = [
            f"{known['event_name']},{known['round']},{known['number']},"
            f"{lanes.get(lane['lane'], lane['lane'])},{lane['name']},{lane['affiliation']},"
            f"{lane['bib']}"
            for lane in known["lanes"]
        ]
        header = "event,round,heat,lane,team,affiliation,bib"
        return self.organiser.post("start-lists", content="\n".join([header, *rows]))

    def load_result(self, heat: int = 0, content: str | None = None) -> httpx.Response:
        """Load a finish list for a heat; by default all teams finish in lane order."""
        lanes = [lane["lane"] for lane in self.heats[heat]["lanes"]]
        rows = [f"{lane},{42 + lane / 10:.2f}" for lane in lanes]
        return self.desk.put(
            f"heats/{self.heat(heat)}/result", content=content or "\n".join(["lane,time", *rows])
        )

    def annotations(self, heat: int = 0) -> dict[int, str]:
        """What stands beside the lanes of a heat's result; without a list, all finished."""
        address = f"heats/{self.heat(heat)}/result"
        if self.desk.get(address).status_code == 404:
            assert self.load_result(heat).status_code == 201
        lines = self.desk.get(address).json()["lines"]
        return {line["lane"]: line["annotation"] for line in lines if line["annotation"]}

    def announce(self, heat: int = 0, *, by: str = "results", **changes: Any) -> httpx.Response:
        """Announce a heat's result as it stands."""
        seen = self.desk.get(f"heats/{self.heat(heat)}/result")
        sent = {"heat": self.heat(heat), "pin": PIN, **changes}
        return self[by].put(
            f"announcements/{new_id()}", sent, etag=seen.headers.get("ETag", '"v1"')
        )


def a_problem(answer: httpx.Response, status: int, slug: str) -> Json:
    """The problem document (RFC 9457) of a refused request, checked for its form."""
    assert answer.status_code == status, (answer.status_code, answer.text)
    assert answer.headers["content-type"] == "application/problem+json"
    told: Json = answer.json()
    assert told["type"] == f"/problems/{slug}", told
    assert told["status"] == status
    assert told["title"]
    assert told["detail"].endswith((".", "?")), told["detail"]
    assert told["instance"] == f"urn:uuid:{answer.headers['x-request-id']}"
    assert not [word for word in INNARDS if word in answer.text], answer.text
    return told


def founder(service: Service) -> dict[str, str]:
    """The header of whoever holds the setup key."""
    return {"Authorization": f"Bearer {SETUP_KEY}"}


def a_meet_document(**changes: Any) -> Json:
    """A meet as the organiser sends it."""
    return {
        "name": "Harbour Relays",
        "venue": "Tidewater Stadium",
        "first_day": "2026-06-13",
        "last_day": "2026-06-14",
        "time_zone": "Europe/Paris",
        "edition": "world-athletics-2025",
        "organiser": {"id": new_id(), "name": "Olive Organiser"},
        **changes,
    }


def a_phone_clock(**changes: Any) -> Json:
    """A phone's clock as it goes with a call or report."""
    at = datetime.now(UTC).isoformat().replace("+00:00", "Z")
    return {"at": at, "offset_ms": 120, "error_ms": 40, **changes}


def a_report(heat: str, post: str | None, **changes: Any) -> Json:
    """A report: lane 4, the pass completed beyond the zone, 1.2 m past its end."""
    observation = {
        "seen": "pass_completed_beyond_zone",
        "baton": {"metres": 1.2, "uncertainty": 0.3},
    }
    return {
        "heat": heat,
        "post": post,
        "lane": 4,
        "observation": observation,
        "words": "Both hands on the baton at the line.",
        "clock": a_phone_clock(),
        **changes,
    }


def a_call(heat: str, post: str, flag: str = "white", **changes: Any) -> Json:
    """A flag shown for a heat."""
    return {"heat": heat, "post": post, "flag": flag, "clock": a_phone_clock(), **changes}


def a_ruling(**changes: Any) -> Json:
    """A ruling that confirms."""
    return {"verdict": "confirmed", "reasons": "Seen clearly by the umpire.", "pin": PIN, **changes}


def a_start_list(
    heats: int = 2, event: str = "Women 4x100 m", lanes: Sequence[int] = range(1, 9)
) -> str:
    """A start list as CSV: the same teams in every heat would be odd, so each has its own."""
    rows = ["event,round,heat,lane,team,affiliation,bib"]
    for heat in range(1, heats + 1):
        rows += [
            f"{event},heats,{heat},{lane},{TEAMS[lane - 1]} {heat},Club {lane},{heat}{lane:02d}"
            for lane in lanes
        ]
    return "\n".join(rows)


def a_post(post: str, official: str, **changes: Any) -> Json:
    """A post: the end of the first zone, lanes 3 and 4."""
    return {
        "id": post,
        "official": official,
        "take_over": 1,
        "edge": "end",
        "lanes": [3, 4],
        **changes,
    }


def a_bare_meet(service: Service, **changes: Any) -> MeetAtHand:
    """A meet with its organiser and nothing else."""
    meet, document = new_id(), a_meet_document(**changes)
    made = service.http.put(f"/api/meets/{meet}", json=document, headers=founder(service))
    assert made.status_code == 201, made.text
    hand = MeetAtHand(service, meet)
    organiser = document["organiser"]
    token = service.do(join(service.store, MeetId(meet), FOUNDER, organiser["id"]))
    hand.people["organiser"] = hand.person(organiser["id"], organiser["name"], token)
    return hand


def add_official(hand: MeetAtHand, name: str, *roles: str, affiliation: str = "") -> Person:
    """Name an official and join as them."""
    add_officials(hand, Newcomer(name, roles, affiliation))
    return hand[name]


def add_officials(hand: MeetAtHand, *newcomers: Newcomer) -> None:
    """Name officials and join as each of them."""
    organiser = Actor(hand.organiser.id, frozenset({"organiser"}))
    tokens = hand.service.do(welcome(hand.service.store, MeetId(hand.id), organiser, newcomers))
    for one, token in zip(newcomers, tokens, strict=True):
        hand.people[one.name] = hand.person(one.id, one.name, token)


def a_meet(
    service: Service,
    *,
    roles: Sequence[str] = ROLES[:-1],
    umpires: Sequence[str] = ("second",),
    heats: int = 2,
    start_list: str = "",
    **changes: Any,
) -> MeetAtHand:
    """A meet with one official of each role, named by the role, more umpires, and two heats, or
    those of a start list.

    `umpire` watches the end of the first zone for lanes 3 and 4, `second` for lanes 4 and 5.
    """
    hand = a_bare_meet(service, **changes)
    ranks = [(role, role) for role in roles] + [(name, "umpire") for name in umpires]
    add_officials(hand, *(Newcomer(name, (role,)) for name, role in ranks))
    loaded = hand.organiser.post("start-lists", content=start_list or a_start_list(heats))
    assert loaded.status_code == 200, loaded.text
    hand.heats = hand.organiser.get("heats").json()["heats"]
    if "umpire" in roles:
        _plan_crew(hand, umpires)
    return hand


def _plan_crew(hand: MeetAtHand, umpires: Sequence[str]) -> None:
    hand.posts = {"umpire": new_id(), **{name: new_id() for name in umpires}}
    places = [a_post(hand.posts["umpire"], hand["umpire"].id)]
    places += [a_post(hand.posts[name], hand[name].id, lanes=[4, 5]) for name in umpires]
    planned = hand.organiser.put("crew", {"posts": places})
    assert planned.status_code == 201, planned.text


def with_own_heats(hand: MeetAtHand, heats: int = 2) -> MeetAtHand:
    """The same meet and people, seen from heats and teams that no other test touches."""
    event = f"Women 4x100 m no {next(_event_numbers)}"
    loaded = hand.organiser.post("start-lists", content=a_start_list(heats, event))
    assert loaded.status_code == 200, loaded.text
    # New heats come last: whatever was loaded here before need not be read again.
    found = [heat for heat in all_heats(hand, _loaded[hand.id]) if heat["event_name"] == event]
    _loaded[hand.id] += heats
    return replace(hand, people=dict(hand.people), posts=dict(hand.posts), heats=found)


def all_heats(hand: MeetAtHand, after: int | None = 0) -> Iterator[Json]:
    """All heats of the meet in the order of the programme, page by page."""
    while after is not None:
        page = hand.organiser.get("heats", params={"after": str(after)}).json()
        yield from page["heats"]
        after = page["next"]
