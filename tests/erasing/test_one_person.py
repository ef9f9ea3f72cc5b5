"""Erasing one person: their name, what tells it, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import select

from app.checking.database import check_meet
from app.ids import MeetId, new_id
from app.record.check import check_lines
from app.record.queries import export_lines
from app.schema import all_tables
from tests.appeals.desk import a_protest, an_announced_disqualification, decided, lodge
from tests.builders import MeetAtHand, a_meet, a_problem, add_official
from tests.conftest import ENGINES, NewDatabase
from tests.erasing.looking import dump_of, found_in, pictures_in, relations_of
from tests.erasing.played import (
    a_stopped_service,
    afterwards,
    answers,
    erase,
    files_of,
    let_in,
)
from tests.forms.pdf_reading import read_text
from tests.pictures.photographs import a_photograph
from tests.running import Service, a_service
from tests.sealing.changing import put, stored

RUNNER, OTHER, UMPIRE = "Mira Bollard-Ness", "Ines Kompass", "Bo Halyárd"
WHY = ("--because", "asked for it", "--by", "the organiser")
NOTE = re.compile(r"erased on \d{4}-\d\d-\d\d, by the organiser, for: asked for it")
STARTS = f"""event,round,heat,lane,team,leg1,leg2
Men 4x100 m,heats,1,3,Tern,{RUNNER},{OTHER}
Men 4x100 m,heats,1,4,Gull,{OTHER},"""


def other_ruling(story: Story) -> str:
    """The form of the ruling on a case in which another umpire reported."""
    return f"rulings/{story.told['id']}/form.pdf"


class Story:
    """A meet with a runner and an umpire who are to be erased, in their various places."""

    def __init__(self, service: Service) -> None:
        self.meet = a_meet(service)
        self.pictures: list[str] = []
        self.umpire = add_official(self.meet, UMPIRE, "umpire", affiliation="Quay AC")
        loaded = self.meet.organiser.post("start-lists", content=STARTS.encode())
        assert loaded.status_code == 200, loaded.text
        self.told = an_announced_disqualification(self.meet)
        self.written = self._report(f"{RUNNER.upper()} let go of it.", lane=5)
        self.other = self._report("Lane 6 it was.", lane=6)
        self.protest = lodge(
            self.meet, a_protest(self.meet, lodged_by=RUNNER, words=f"As {OTHER} saw.")
        )
        decided(self.meet, self.protest, reasons=f"{UMPIRE} stood right there.")

    def _report(self, words: str, lane: int) -> str:
        document = {"heat": self.meet.heat(), "post": None, "lane": lane, "words": words}
        seen = {"seen": "pass_completed_beyond_zone", "baton": {"metres": 1.0, "uncertainty": 0.1}}
        clock = {"at": "2026-06-13T12:00:00Z", "offset_ms": 0, "error_ms": 40}
        report = new_id()
        sent = document | {"observation": seen, "clock": clock}
        answer = self.umpire.put(f"reports/{report}", sent)
        assert answer.status_code == 201, answer.text
        self.pictures.append(new_id())
        address = f"reports/{report}/pictures/{self.pictures[-1]}"
        picture = self.umpire.put(address, content=a_photograph())
        assert picture.status_code == 201, picture.text
        return report

    def after(self, service: Service) -> None:
        """The same meet, seen through the service that runs after the erasure."""
        self.meet.service = service
        for person in self.meet.people.values():
            person.http = service.http


@pytest.fixture(params=ENGINES)
def erased(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Any]:
    """Gives what erases in a played meet and the story as it is then."""
    url = new_database(request.param)
    with a_service(url) as service:
        story = Story(service)
        if request.param == "postgresql":
            yield lambda *who: _erased(story, *who)
            return
    before = bytes_of(url)
    assert RUNNER.encode() in before
    assert UMPIRE.encode() in before
    started: list[Any] = []

    def run(*who: str) -> Story:
        _erased(story, *who)
        again = a_service(url)
        story.after(again.__enter__())
        started.append(again)
        return story

    yield run
    for again in started:
        again.__exit__(None, None, None)


def _erased(story: Story, *who: str) -> Story:
    meant = {"umpire": story.umpire.id, "the first picture": story.pictures[0]}
    who = tuple(meant.get(one, one) for one in who)
    assert erase(story.meet.service, story.meet.id, *who, *WHY) == 0
    return story


def bytes_of(url: str) -> bytes:
    if url.startswith("sqlite"):
        return b"".join(path.read_bytes() for path in files_of(url))
    return dump_of(url) + relations_of(url)


def checks(meet: MeetAtHand) -> bool:
    lines = meet.service.store.read_now(lambda conn: list(export_lines(conn, MeetId(meet.id))))
    return check_lines(lines).is_good


def test_a_runner_is_erased_by_name_and_nobody_else(erased: Any) -> None:
    story: Story = erased("--name", RUNNER)
    meet = story.meet
    content = bytes_of(meet.service.database_url)
    for name in (RUNNER, RUNNER.upper()):
        assert name.encode() not in content
        assert name.encode("utf-16-le") not in content
    assert UMPIRE.encode() in content
    heats = meet.organiser.get("heats").json()["heats"]
    legs = [lane["legs"] for heat in heats for lane in heat["lanes"] if any(lane["legs"])]
    assert ["(name erased)", OTHER] in legs
    protest = meet.referee.get(f"protests/{story.protest['id']}").json()
    assert protest["lodged_by"] == "(name erased)"
    assert protest["words"] == f"As {OTHER} saw."
    assert NOTE.fullmatch(meet.referee.get(f"reports/{story.written}").json()["words"])
    assert meet.referee.get(f"reports/{story.other}").json()["words"] == "Lane 6 it was."
    paper = meet.referee.get(f"protests/{story.protest['id']}/form.pdf")
    assert paper.status_code == 200
    assert RUNNER not in read_text(paper.content)
    assert checks(meet)


@pytest.mark.parametrize("who", [("--official", "umpire"), ("--name", "BO  HALYÁRD")])
def test_an_official_is_erased_with_contact_and_what_lets_them_in(
    erased: Any, who: tuple[str, str]
) -> None:
    story: Story = erased(*who)
    meet = story.meet
    content = bytes_of(meet.service.database_url)
    assert UMPIRE.encode() not in content
    assert pictures_in(content) == []  # the originals, which tell whose camera it was
    row = meet.organiser.get(f"officials/{story.umpire.id}").json()
    assert (row["name"], row["affiliation"]) == ("(name erased)", "erased")
    a_problem(story.umpire.get("/api/me"), 401, "not-joined")
    report = meet.referee.get(f"reports/{story.written}").json()
    assert report["official_name"] == "(name erased)"
    assert report["words"] == f"{RUNNER.upper()} let go of it."  # it is evidence
    form = meet.referee.get(f"reports/{story.written}/form.pdf")
    told = " ".join(read_text(form.content).split())
    said = re.compile(rf"Names or words were {NOTE.pattern}\.")
    assert said.search(told)
    assert "The SHA-256 of the statement is of what was signed before." in told
    assert "(name erased) · own observation" in told
    assert "(name erased) · Umpire" not in told, "a line for ink that nobody can sign on"
    of_others = " ".join(read_text(meet.referee.get(other_ruling(story)).content).split())
    assert "(name erased)" not in of_others
    assert not said.search(of_others)
    picture = report["pictures"][0]
    assert meet.referee.get(picture["copy_path"]).status_code == 200
    decision = meet.referee.get(f"protests/{story.protest['id']}").json()
    assert NOTE.search(str(decision["decision"]))
    assert meet.referee.get("/api/me").status_code == 200
    assert meet.report(lane=7)["words"]  # the meet goes on
    assert checks(meet)


def test_looking_names_the_things_that_go_as_officials_call_them(
    new_database: NewDatabase, capsys: pytest.CaptureFixture[str]
) -> None:
    with a_service(new_database("sqlite")) as service:
        story = Story(service)
        assert story.umpire.get(f"reports/{story.written}/form.pdf").status_code == 200
        assert erase(service, story.meet.id, "--name", RUNNER, *WHY, "--look") == 0
        of_runner = capsys.readouterr().out
        assert erase(service, story.meet.id, "--official", story.umpire.id, *WHY, "--look") == 0
        of_umpire = capsys.readouterr().out
    where = "Women 4x100 m, heats, heat 1"
    for line in (
        f"protest 1, Plover 1, {where}: names, what was sent in",
        f"decision on protest 1, {where}: what their form tells",
        f"sealed paper of the report, case 2, Curlew 1, lane 5, {where}",
        "start list, Tern, lane 3, Men 4x100 m, heats, heat 1: names",
    ):
        assert f"  {line}\n" in of_runner
    assert f"to the report, case 3, Puffin 1, lane 6, {where}" in of_umpire
    for told in (of_runner, of_umpire):
        assert RUNNER not in told
        assert UMPIRE not in told
        assert not re.search(r"\w_\w|[a-z]\.[a-z]", told), "no tables, no columns"


def test_a_name_that_an_official_had_before_goes_too(new_database: NewDatabase) -> None:
    url = new_database("sqlite")
    with a_service(url) as service:
        story = Story(service)
        address = f"officials/{story.umpire.id}"
        seen = story.meet.organiser.get(address)
        document = {"name": "Bo Anker", "affiliation": "", "roles": ["umpire"]}
        changed = story.meet.organiser.put(address, document, etag=seen.headers["ETag"])
        assert changed.status_code == 200, changed.text
    _erased(story, "--name", "Bo Anker")
    for name in ("Bo Anker", UMPIRE):
        assert name.encode() not in bytes_of(url)


def test_a_picture_that_shows_them_goes_when_it_is_named(erased: Any) -> None:
    story: Story = erased("--picture", "the first picture")
    meet = story.meet
    shown = f"reports/{story.written}/pictures/{story.pictures[0]}"
    for file in ("copy.jpg", "original"):
        a_problem(meet.referee.get(f"{shown}/{file}"), 404, "not-found")
    kept = f"reports/{story.other}/pictures/{story.pictures[1]}"
    assert meet.referee.get(f"{kept}/original").status_code == 200
    assert checks(meet)


@pytest.mark.parametrize("engine", ENGINES)
def test_a_name_is_erased_from_wherever_it_can_stand(
    engine: str, new_database: NewDatabase
) -> None:
    """Every text that a request can carry tells the name, which all marks begin with."""
    with a_stopped_service(new_database, engine) as story:
        asked = ("--name", "mörkel", *WHY)
        assert erase(story.service, story.meet.id, *asked) == 0
        content = bytes_of(story.service.database_url)
        left = found_in(content, story.erased_marks)
        assert not left, sorted(story.marks[mark] for mark in left)
        with afterwards(story) as again:
            now = dict(answers(again.service, again.meet.id, let_in(again)))
            for address, before in story.answered.items():
                if address in now or "/papers/" not in address:  # those that told it are gone
                    assert now[address].status_code == before, (address, now[address].text)
            assert checks(again.meet)


def test_a_form_is_sealed_as_the_erasure_left_it_and_not_otherwise(erased: Any) -> None:
    story: Story = erased("--official", "umpire")
    meet = story.meet
    told = meet.referee.get(f"protests/{story.protest['id']}").json()
    decision = told["decision"]["id"]
    address = f"decisions/{decision}/form.pdf"
    assert "erased on" in read_text(meet.referee.get(address).content)
    facts = dict(stored(meet, "decisions", decision)["form_facts"])
    put(meet, "decisions", decision, form_facts={**facts, "verdict": "upheld"})
    a_problem(meet.referee.get(address, params={"paper": "letter"}), 503, "not-as-signed")
    put(meet, "decisions", decision, form_facts=facts)
    assert meet.referee.get(address, params={"paper": "letter"}).status_code == 200


@pytest.mark.parametrize("who", [("--name", RUNNER), ("--official", "umpire")])
def test_a_check_of_the_database_takes_what_an_erasure_explains(
    erased: Any, who: tuple[str, str]
) -> None:
    story: Story = erased(*who)
    assert amiss(story.meet) == []


def test_a_signature_is_held_as_the_erasure_left_it_and_not_otherwise(erased: Any) -> None:
    story: Story = erased("--official", "umpire")
    meet = story.meet
    decision = meet.referee.get(f"protests/{story.protest['id']}").json()["decision"]["id"]
    rows = all_tables().tables["signatures"]
    asked = select(rows.c.id, rows.c.statement).where(rows.c.subject == decision)
    row = meet.service.store.read_now(lambda conn: conn.execute(asked).one())
    assert "erased on" in row.statement
    put(meet, "signatures", row.id, strength="device key")
    assert f"the signature {row.id}: the record tells it otherwise" in "".join(amiss(meet))
    a_problem(meet.referee.get(f"decisions/{decision}/form.pdf"), 503, "not-as-signed")


def amiss(meet: MeetAtHand) -> list[str]:
    """What a check of the database finds in a meet."""
    found = meet.service.store.read_now(lambda conn: check_meet(conn, MeetId(meet.id)))
    return list(found.mismatches)
