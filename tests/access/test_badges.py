"""Badges over HTTP: a new link for each official, which stands on the paper and nowhere else."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from app.access.actions import LINK_LASTS
from app.ids import new_id
from app.record.tables import record_entries
from app.schema import all_tables
from tests.builders import PIN, MeetAtHand, Person, a_bare_meet, a_problem, add_official
from tests.forms.pdf_reading import count_pages, read_text
from tests.forms.test_badge_sheet import codes_on
from tests.running import PUBLIC_URL, Service


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    hand = a_bare_meet(service)
    for name in ("Bo Halyard", "Cleo Anchor"):
        add_official(hand, name, "umpire", affiliation="Saltmarsh Harriers")
    return hand


def ask(meet: MeetAtHand, *officials: str, **changes: Any) -> httpx.Response:
    return meet.organiser.post("badges.pdf", {"officials": list(officials), **changes})


def join(meet: MeetAtHand, code: str, pin: str = PIN) -> httpx.Response:
    document = {"token": code, "session": new_id(), "pin": pin}
    return meet.service.http.post("/api/join", json=document)


def kinds_since(meet: MeetAtHand, size: int) -> list[tuple[str, str]]:
    """Kind and actor of what the record has gained."""
    since = record_entries.c.seq > size
    asked = select(record_entries.c.entry).where(record_entries.c.meet_id == meet.id, since)
    with meet.service.store.engines.reading.connect() as conn:
        entries = [json.loads(row.entry) for row in conn.execute(asked)]
    return [(entry["kind"], entry["actor"]) for entry in entries]


def names_on(meet: MeetAtHand, codes: list[str]) -> set[str]:
    answers = [meet.service.http.post("/api/join/look", json={"token": one}) for one in codes]
    return {answer.json()["name"] for answer in answers}


def test_the_code_on_a_badge_joins_the_official_whom_it_names(meet: MeetAtHand) -> None:
    bo = meet["Bo Halyard"]
    answer = ask(meet, bo.id)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    (code,) = codes_on(answer.content)
    assert code.startswith(f"{PUBLIC_URL}/join#")
    joined = join(meet, code)
    assert joined.json()["official"] == bo.id
    told = read_text(answer.content)
    assert "Bo Halyard" in told
    assert "Saltmarsh Harriers" in told


def test_a_badge_works_once_and_until_it_says(meet: MeetAtHand, service: Service) -> None:
    service.clock.stand_at(datetime(2026, 11, 27, 8, 40, 12, tzinfo=UTC))
    paper = ask(meet, meet["Bo Halyard"].id).content
    told = " ".join(read_text(paper).split())
    assert "Scan to join. Works once, until 11 December 2026, 09:40:12 CET." in told
    assert "links issued: 2026-11-27 09:40:12 CET (Europe/Paris)" in told
    (first,), (second,) = codes_on(paper), codes_on(ask(meet, meet["Bo Halyard"].id).content)
    assert join(meet, first).status_code == 200
    a_problem(join(meet, first), 403, "join-refused")
    service.clock.move(LINK_LASTS)
    a_problem(join(meet, second), 403, "join-refused")


def test_who_has_joined_stays_joined_and_lets_in_a_further_device_with_the_same_pin(
    meet: MeetAtHand,
) -> None:
    bo = meet["Bo Halyard"]
    (code,) = codes_on(ask(meet, bo.id).content)
    a_problem(join(meet, code, "907315"), 403, "pin-refused")
    assert join(meet, code).status_code == 200
    assert bo.get("/api/me").status_code == 200


def test_nobody_named_means_all_who_are_active(meet: MeetAtHand) -> None:
    gone = new_id()
    document = {"name": "Ina Gone", "roles": ["umpire"], "active": False}
    assert meet.organiser.put(f"officials/{gone}", document).status_code == 201
    answer = ask(meet)
    assert answer.status_code == 200, answer.text
    names = names_on(meet, codes_on(answer.content))
    assert names == {"Olive Organiser", "Bo Halyard", "Cleo Anchor"}


def test_each_link_has_an_entry_of_its_own_by_the_organiser(meet: MeetAtHand) -> None:
    size = meet.head()["size"]
    assert ask(meet).status_code == 200
    assert kinds_since(meet, size) == [("join link issued", meet.organiser.id)] * 3


@pytest.mark.parametrize("paper", ["A4", "Letter", "letter"])
def test_badges_lie_in_the_order_asked_for_on_the_paper_asked_for(
    meet: MeetAtHand, paper: str
) -> None:
    answer = ask(meet, meet["Cleo Anchor"].id, meet["Bo Halyard"].id, paper=paper)
    assert answer.status_code == 200, answer.text
    told = read_text(answer.content)
    assert told.index("Cleo Anchor") < told.index("Bo Halyard")
    assert count_pages(answer.content) == 1


def test_a_paper_nobody_has_is_refused(meet: MeetAtHand) -> None:
    size = meet.head()
    told = a_problem(ask(meet, paper="A3"), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/paper"
    assert meet.head() == size


@pytest.mark.parametrize("twice", [True, False])
def test_a_stranger_or_somebody_named_twice_is_refused_and_no_link_issued(
    meet: MeetAtHand, twice: bool
) -> None:
    before, bo = meet.head(), meet["Bo Halyard"].id
    told = a_problem(ask(meet, bo, bo if twice else new_id()), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/officials/1"
    assert told["detail"].endswith("No link was issued.")
    assert meet.head() == before


def test_an_official_of_another_meet_is_a_stranger(meet: MeetAtHand, service: Service) -> None:
    other = a_bare_meet(service)
    a_problem(ask(meet, other.organiser.id), 422, "malformed")


def test_an_inactive_official_gets_no_badge(meet: MeetAtHand) -> None:
    gone = new_id()
    document = {"name": "Ina Gone", "roles": ["umpire"], "active": False}
    assert meet.organiser.put(f"officials/{gone}", document).status_code == 201
    before = meet.head()
    told = a_problem(ask(meet, meet["Bo Halyard"].id, gone), 409, "conflict")
    assert "Ina Gone is inactive" in told["detail"]
    assert meet.head() == before


def test_a_link_stands_on_its_badge_and_nowhere_else(
    meet: MeetAtHand, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(0)
    answer = ask(meet, meet["Bo Halyard"].id)
    assert "no-store" in answer.headers["cache-control"]
    (code,) = codes_on(answer.content)
    secret = code.rpartition(".")[2]
    assert len(secret) == 43  # 256 bits in base64url (RFC 4648)
    assert secret not in caplog.text
    assert secret not in str(answer.headers)
    assert secret.encode() not in answer.content
    assert secret not in everything_stored(meet)


def everything_stored(meet: MeetAtHand) -> str:
    """All rows of all tables, as text."""
    with meet.service.store.engines.reading.connect() as conn:
        tables = all_tables().sorted_tables
        return "".join(str(conn.execute(table.select()).all()) for table in tables)


@pytest.mark.parametrize("role", ["umpire", "chief_umpire", "referee", "results", "jury"])
def test_only_the_organiser_has_badges_made(meet: MeetAtHand, role: str) -> None:
    person: Person = add_official(meet, role, role)
    before = meet.head()
    answer = person.post("badges.pdf", {"officials": [person.id]})
    a_problem(answer, 403, "role-missing")
    assert meet.head() == before


def test_no_badges_are_made_by_a_request_that_does_not_say_whose(meet: MeetAtHand) -> None:
    before = meet.head()
    told = a_problem(meet.organiser.post("badges.pdf", {}), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/officials"
    assert meet.head() == before
