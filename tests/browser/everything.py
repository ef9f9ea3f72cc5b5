"""A meet in which everything has happened once, its names in many scripts, and the way to each of
its pages.

The pages are those of `WHO_OPENS`: a page that is not led to here fails the walk.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.access.who_may import WHO_OPENS, Who
from app.ids import new_id
from app.roles import Role
from tests.appeals.desk import (
    a_disqualification,
    a_panel,
    a_protest,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    decided,
    jurors,
    jury_decides,
    lodge,
    set_aside,
)
from tests.builders import Json, MeetAtHand, Person, a_call, a_meet
from tests.pictures.photographs import a_photograph
from tests.running import Service

TEAMS = (
    "رصيف الفنار",
    "שובר הגלים",
    "नमक दलदल",
    "Ærøskøbing Øst",
    "Λιμάνι 2",
    "ท่าเรือ",
    "Порт-7",
    "燈台",
)
CLUBS = (
    "نادي المرفأ 9",
    "אגודת המזח",
    "Saltmarsh Harriers",
    "Ølby",
    "ΑΟ Φάρος",
    "Club 6",
    "Маяк",
    "燈",
)
NAMES = (
    "سلمى المرسى",
    "נועה מזח",
    "अन्वी घाट",
    "Åse Ørn",
    "Ελένη Φάρου",
    "Мира Якорь",
    "بدر 3 الشراع",
)
MEET = "سباقات المرفأ 2026"
EVENT = "تتابع 4x100 سيدات"
ROUND = "גמר מוקדם"
WORDS = "كان بعد الخط بـ 1.2 متر، الممر 4."
NO_PAGES = {
    *("/assets/{release}/{name:path}", "/worker.js", "/meets/{meet}/zone/manifest.webmanifest"),
    "/meets/{meet}/start",
}
"""What belongs to pages and is none; and the one that leads on to another."""


def a_start_list() -> str:
    """Two heats whose names run from right to left beside such as do not."""
    rows = ["event,round,heat,lane,team,affiliation,bib"]
    for heat in (1, 2):
        for lane, (team, club) in enumerate(zip(TEAMS, CLUBS, strict=True), 1):
            rows.append(f"{EVENT},{ROUND},{heat},{lane},{team} {heat},{club},{heat}{lane:02d}")
    return "\n".join(rows)


def name_in_many_scripts(meet: MeetAtHand) -> None:
    """Everybody's name, in turn; the builders have named them by their roles."""
    for number, person in enumerate(list(meet.people.values())):
        seen = meet.organiser.get(f"officials/{person.id}")
        sent = {key: seen.json()[key] for key in ("affiliation", "roles", "active")}
        sent["name"] = f"{NAMES[number % len(NAMES)]} {number}"
        answer = meet.organiser.put(f"officials/{person.id}", sent, etag=seen.headers["ETag"])
        assert answer.status_code == 200, answer.text


@dataclass(frozen=True, slots=True)
class WholeMeet:
    """The meet, and the things in it that pages are about."""

    meet: MeetAtHand
    things: Mapping[str, Sequence[str]]


def a_whole_meet(service: Service) -> WholeMeet:
    """A heat with all that can follow, and another that runs."""
    meet = a_meet(service, start_list=a_start_list(), name=MEET, venue="ميناء 5")
    jurors(meet, "نادي 4 بعيد", "אגודה קרובה 2", "")
    name_in_many_scripts(meet)
    meet.start()
    ruling = _a_ruled_case(meet)
    _set_round(meet)
    assert meet.load_result().status_code == 201
    result = announced(meet, remark=WORDS)
    settled, undecided = _protests_and_appeals(meet, ruling)
    _a_running_heat(meet)
    _a_rehearsal(meet)
    cases = [one["id"] for one in meet.docket()]
    things = {
        "announcement": [result["id"]],
        "appeal": [settled["id"], undecided["id"]],
        "case": [ruling["case"], *cases],
        "heat": [meet.heat(0), meet.heat(1)],
        "protest": [settled["protest"], undecided["protest"]],
        "slug": ["needs-word", "stale"],
    }
    return WholeMeet(meet, things)


def _a_ruled_case(meet: MeetAtHand) -> Json:
    report = meet.report(by="second", words=WORDS)
    address = f"reports/{report['id']}/pictures/{new_id()}"
    picture = meet["second"].put(
        address, content=a_photograph(), headers={"Content-Type": "image/jpeg"}
    )
    assert picture.status_code == 201, picture.text
    return a_disqualification(meet)


def _set_round(meet: MeetAtHand) -> None:
    event = meet.heats[0]["event"]
    going_on = {"next_round": "final", "by_place": 2, "by_time": 2, "lanes": 8}
    sent = {"event": event, "round": ROUND, **going_on}
    answer = meet.desk.put(f"rounds/{new_id()}", sent)
    assert answer.status_code == 201, answer.text


def _protests_and_appeals(meet: MeetAtHand, ruling: Json) -> tuple[Json, Json]:
    """An appeal that the jury has upheld, and one that it sits on."""
    settled = appeal(meet, a_rejected_protest(meet, ruling), words=WORDS)
    names = a_panel(meet, settled, secretary="", secretary_official=meet.organiser.id)
    for name in names:
        assert cast(meet, settled, name).status_code == 201
    orders = set_aside(ruling)
    done = jury_decides(meet, settled, names[0], orders=orders, reasons=WORDS)
    assert done.status_code == 201, done.text
    placing = a_protest(meet, team=meet.heats[0]["lanes"][1]["team"], words=WORDS)
    rejected = lodge(meet, placing)
    return settled, _an_appeal_that_waits(meet, rejected, names)


def _an_appeal_that_waits(meet: MeetAtHand, protest: Json, names: Sequence[str]) -> Json:
    decided(meet, protest, reasons=WORDS)
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    lodged = appeal(meet, protest, words=WORDS)
    a_panel(meet, lodged)
    assert cast(meet, lodged, names[1]).status_code == 201
    return lodged


def _a_running_heat(meet: MeetAtHand) -> None:
    meet.start(1)
    meet.report(heat=1, words=WORDS)
    meet.report(heat=1, by="second", words="")
    shown = meet.call("yellow", heat=1, by="second", report=new_id())
    assert shown.status_code == 201, shown.text


def _a_rehearsal(meet: MeetAtHand) -> None:
    rehearsal = new_id()
    made = meet.organiser.put(f"rehearsals/{rehearsal}", {"relay": "4x100"})
    assert made.status_code == 201, made.text
    sent = a_call(rehearsal, meet.posts["umpire"], "yellow", report=new_id())
    assert meet.umpire.put(f"calls/{new_id()}", sent).status_code == 201


@dataclass(frozen=True, slots=True)
class Leaf:
    """A page in one state, and who looks at it."""

    path: str
    who: Person | None
    name: str


LOOKERS = {
    "/meets/{meet}/jury/{appeal}": ("juror 1", "results", "referee"),
    "/meets/{meet}/protests/{protest}": ("results", "referee"),
    "/meets/{meet}/cases/{case}": ("referee", "jury"),
    "/meets/{meet}/zone": ("umpire", "referee"),
    "/meets/{meet}/meet-report": ("umpire", "referee"),
    "/meets/{meet}/desk/heats/{heat}": ("results",),
}
"""Who opens what shows each of them something else; all other pages one role alone opens."""


def leaves(whole: WholeMeet) -> Iterator[Leaf]:
    """Every page of `WHO_OPENS`, by everything that it can be about; by all who see it otherwise
    the first of these.
    """
    for (method, path), who in WHO_OPENS.items():
        if method == "GET" and path not in NO_PAGES:
            names = LOOKERS.get(path) or _first(who)
            for number, address in enumerate(addresses_of(path, whole), 1):
                for name in names if number == 1 else names[:1]:
                    person = None if name == "anyone" else whole.meet[name]
                    yield Leaf(address, person, f"{_title(path)}-{number}-{name.replace(' ', '-')}")
    meet, settled = whole.meet, whole.things["appeal"][0]
    yield Leaf(f"/meets/{meet.id}?screen=hall", None, "hall")
    yield Leaf(f"/meets/{meet.id}/jury/{settled}", meet.organiser, "countersign")


def _first(who: Who) -> Sequence[str]:
    return ("anyone",) if who.public else [role for role in Role if role in who.roles][:1]


def addresses_of(path: str, whole: WholeMeet) -> Iterator[str]:
    """A page's addresses, one for each thing of the meet that it can be about."""
    path = path.replace("{meet}", whole.meet.id)
    thing = re.search(r"\{(\w+)\}", path)
    if thing is None:
        yield path
        return
    for one in whole.things[thing[1]]:
        yield path.replace(thing[0], one)


def _title(path: str) -> str:
    words = path.removeprefix("/meets/{meet}").split("/")
    return "-".join(word.strip("{}") for word in words if word) or (
        "home" if path == "/" else "board"
    )
