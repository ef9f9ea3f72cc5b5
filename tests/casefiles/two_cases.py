"""Two teams in one heat, each reported, disqualified, protesting and appealing, with words of its
own in every field that takes any: what belongs to one can be told from what belongs to the other.
"""

from __future__ import annotations

import io
import secrets
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from PIL import Image
from PIL.PngImagePlugin import PngInfo
from pypdf import PdfReader

from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    announced,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
    team,
)
from tests.builders import (
    Json,
    MeetAtHand,
    Newcomer,
    a_bare_meet,
    a_call,
    a_post,
    a_report,
    add_officials,
)
from tests.forms.pdf_reading import read_text
from tests.running import Service

JURY = ("jury", "juror 2", "juror 3")
FORMS = ("rulings", "reports", "protests", "appeals", "decisions")


@dataclass
class Side:
    """One team's case: the words and the ids that belong to it alone; `hidden` stands in the file
    of a picture, and is not shown.
    """

    name: str
    lane: int
    said: list[str] = field(default_factory=list)
    hidden: str = ""
    ids: dict[str, list[str]] = field(default_factory=dict)
    pictures: list[bytes] = field(default_factory=list)
    umpires: tuple[str, str] = ("", "")
    team: str = ""

    def word(self) -> str:
        """A word that stands nowhere else; short, so that it stands on one line of any column."""
        self.said.append(f"{self.name}{secrets.token_hex(3)}")
        return self.said[-1]

    def keep(self, kind: str, ident: str) -> str:
        self.ids.setdefault(kind, []).append(ident)
        return ident

    @property
    def all_ids(self) -> list[str]:
        return [one for kind in self.ids.values() for one in kind]

    def address(self, kind: str, ending: str = "file.pdf") -> str:
        return f"{kind}/{self.ids[kind][0]}/{ending}"


@dataclass
class TwoCases:
    """The meet, and the two who were reported in its heat."""

    meet: MeetAtHand
    a: Side
    b: Side

    def get(self, address: str, by: str = "jury", **params: str) -> bytes:
        answer = self.meet[by].get(address, params=params)
        assert answer.status_code == 200, answer.text
        return answer.content


def two_cases(service: Service) -> TwoCases:
    """All of it played: A's appeal is upheld, B's rejected; every form was sealed once."""
    meet = a_bare_meet(service)
    played = TwoCases(meet, Side("Alfa", 4), Side("Bravo", 5))
    sides = (played.a, played.b)
    _set_up(meet, sides)
    played.meet = meet = replace(meet, heats=meet.organiser.get("heats").json()["heats"])
    for side in sides:
        side.team = side.keep("teams", team(meet, side.lane))
    meet.start()
    rulings = {side.name: _reported_and_ruled(meet, side) for side in sides}
    assert meet.load_result().status_code == 201
    announced(meet)
    for side, verdict in zip(sides, ("upheld", "rejected"), strict=True):
        _protested_and_appealed(meet, side, rulings[side.name], verdict)
    announced(meet)
    for side in sides:
        _seal_forms(meet, side)
    return played


def _set_up(meet: MeetAtHand, sides: tuple[Side, Side]) -> None:
    for side in sides:
        side.umpires = (side.word(), side.word())
    umpires = [name for side in sides for name in side.umpires]
    named = [(role, role) for role in ("chief_umpire", "referee", "results")]
    named += [(name, "jury") for name in JURY] + [(name, "umpire") for name in umpires]
    add_officials(meet, *(Newcomer(name, (role,)) for name, role in named))
    rows = ["event,round,heat,lane,team,affiliation,bib", "Women 4x100 m,heats,1,3,Tern,Far,31"]
    rows += [
        f"Women 4x100 m,heats,1,{side.lane},{side.word()},{side.word()},{side.lane}1"
        for side in sides
    ]
    rows.append("Women 4x100 m,heats,1,6,Gull,Near,61")
    loaded = meet.organiser.post("start-lists", content="\n".join(rows))
    assert loaded.status_code == 200, loaded.text
    lanes = {name: side.lane for side in sides for name in side.umpires}
    meet.posts = {name: new_id() for name in umpires}
    places = [
        a_post(meet.posts[name], meet[name].id, lanes=[lanes[name]], edge=edge)
        for side in sides
        for name, edge in zip(side.umpires, ("end", "start"), strict=True)
    ]
    planned = meet.organiser.put("crew", {"posts": places})
    assert planned.status_code == 201, planned.text


def _reported_and_ruled(meet: MeetAtHand, side: Side) -> Json:
    """A flag, a report that is returned and written again, a picture, a report that is withdrawn,
    and the ruling.
    """
    first, second = side.umpires
    for name in side.umpires:
        side.keep("officials", meet[name].id)
    report = side.keep("reports", new_id())
    call = side.keep("calls", new_id())
    sent = a_call(meet.heat(), meet.posts[first], "yellow", lane=side.lane, report=report)
    assert meet[first].put(f"calls/{call}", sent).status_code == 201
    written = _write(meet, side, first, report)
    asked = {"reason": side.word()}
    returned = meet.referee.post(f"reports/{report}/return", asked, etag=_etag(meet, written))
    assert returned.status_code == 200, returned.text
    written = _write(meet, side, first, report)
    _add_picture(meet, side, first, report)
    gone = _write(meet, side, second, side.keep("reports", new_id()))
    address = f"reports/{gone['id']}/withdraw"
    taken = meet[second].post(address, {"reason": side.word()}, etag=_etag(meet, gone))
    assert taken.status_code == 200, taken.text
    case = side.keep("cases", written["case"])
    ruled = meet.rule(case, reasons=f"Seen {side.word()} twice.")
    assert ruled.status_code == 201, ruled.text
    side.keep("rulings", ruled.json()["id"])
    return dict(ruled.json())


def _etag(meet: MeetAtHand, report: Json) -> str:
    return str(meet.referee.get(f"reports/{report['id']}").headers["ETag"])


def _write(meet: MeetAtHand, side: Side, by: str, report: str) -> Json:
    document = a_report(meet.heat(), meet.posts[by], lane=side.lane, words=side.word())
    seen = meet[by].get(f"reports/{report}")
    answer = meet[by].put(f"reports/{report}", document, etag=seen.headers.get("ETag"))
    assert answer.status_code in {200, 201}, answer.text
    return dict(answer.json())


def _add_picture(meet: MeetAtHand, side: Side, by: str, report: str) -> None:
    picture, info = Image.new("RGB", (800, 600), (side.lane * 40, 90, 60)), PngInfo()
    side.hidden = side.word()
    info.add_text("Comment", side.hidden)
    out = io.BytesIO()
    picture.save(out, "PNG", pnginfo=info)
    address = f"reports/{report}/pictures/{side.keep('pictures', new_id())}"
    headers = {"Content-Type": "image/png"}
    answer = meet[by].put(address, content=out.getvalue(), headers=headers)
    assert answer.status_code == 201, answer.text
    side.pictures.append(meet["jury"].get(f"{address}/copy.jpg").content)


def _protested_and_appealed(meet: MeetAtHand, side: Side, ruling: Json, verdict: str) -> None:
    about = {"team": side.team, "lodged_by": side.word(), "words": side.word()}
    protest = lodge(meet, a_protest(meet, ruling, **about))
    side.keep("protests", protest["id"])
    out = decided(meet, protest, reasons=f"By {side.word()}.")
    side.keep("decisions", out["decision"]["id"])
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    deposit = {"amount": 100, "currency": "USD", "receipt": side.word()}
    lodged = appeal(meet, out, lodged_by=side.word(), words=side.word(), deposit=deposit)
    side.keep("appeals", lodged["id"])
    assert name_panel(meet, lodged, JURY).status_code == 200
    for name in JURY:
        assert cast(meet, lodged, name, verdict).status_code == 201
    orders: Json = {"orders": set_aside(ruling)} if verdict == "upheld" else {}
    answer = jury_decides(meet, lodged, JURY[0], verdict, reasons=f"So {side.word()}.", **orders)
    assert answer.status_code == 201, answer.text
    side.keep("decisions", answer.json()["decision"]["id"])


def _seal_forms(meet: MeetAtHand, side: Side) -> None:
    for kind in FORMS:
        for ident in side.ids[kind]:
            answer = meet["jury"].get(f"{kind}/{ident}/form.pdf")
            assert answer.status_code == 200, answer.text


def squeezed(text: str) -> str:
    """Without white space: a word of a narrow column may stand on two lines."""
    return "".join(text.split())


def words_of(pdf: bytes) -> str:
    return squeezed(read_text(pdf))


def streams_of(pdf: bytes) -> Iterator[bytes]:
    """Every stream of a PDF, inflated where it is packed so; pictures as they lie in it."""
    reader = PdfReader(io.BytesIO(pdf))
    for number in range(1, int(reader.trailer["/Size"])):
        one: Any = reader.get_object(number)
        if hasattr(one, "get_data"):
            yield one._data if one.get("/Subtype") == "/Image" else one.get_data()


def pieces_of(content: bytes) -> Iterator[tuple[str, bytes]]:
    """Every file of a ZIP as it is; of a PDF also its words and its streams."""
    with zipfile.ZipFile(io.BytesIO(content)) as opened:
        for name in opened.namelist():
            file = opened.read(name)
            yield name, file
            if name.endswith(".pdf"):
                yield f"{name}, its words", words_of(file).encode()
                for stream in streams_of(file):
                    yield f"{name}, a stream", stream
