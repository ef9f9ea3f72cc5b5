"""On PostgreSQL a meet is erased while servers write into it and show it."""

from __future__ import annotations

import asyncio

import pytest
from sqlalchemy import select

from app.erasing import actions as erasing
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.tables import record_bodies
from app.store.action import Deed, Done, Unit
from tests.builders import MeetAtHand, a_meet, a_problem, a_report
from tests.conftest import NewDatabase
from tests.erasing.looking import dump_of
from tests.erasing.played import erase
from tests.running import Service, a_service
from tests.test_backups import HEATS, pouring

WORDS = a_report("", None)["words"]
WHY = ("--because", "asked for it", "--by", "the committee")


@pytest.mark.slow
def test_what_pours_in_meanwhile_is_erased_or_refused(new_database: NewDatabase) -> None:
    url = new_database("postgresql")
    with a_service(url) as service, a_service(url) as another:
        meet = a_meet(service, heats=HEATS)
        with pouring(meet, another.address) as load:
            assert erase(service, meet.id, "--all", *WHY) == 0
        assert load.answered
        assert WORDS.encode() not in dump_of(url)
        for worker in (service, another):
            report = worker.http.get(f"/api/meets/{meet.id}/officials/{meet.umpire.id}")
            assert report.status_code == 401
            bearer = {"Authorization": f"Bearer {meet.umpire.token}"}
            a_problem(worker.http.get("/api/me", headers=bearer), 401, "not-joined")


def test_no_server_goes_on_showing_a_name(new_database: NewDatabase) -> None:
    """Sessions, officials and heats as every worker tells them, also those it told before."""
    url = new_database("postgresql")
    with a_service(url) as service, a_service(url) as another:
        meet = a_meet(service, umpires=("Bo Halyard",))
        paths = ("officials", "crew", f"heats/{meet.heat()}/posts")
        bearer = {"Authorization": f"Bearer {meet['Bo Halyard'].token}"}
        organiser = {"Authorization": f"Bearer {meet.organiser.token}"}
        for worker in (service, another):
            assert worker.http.get("/api/me", headers=bearer).json()["name"] == "Bo Halyard"
            told = [tell(worker.http, meet.id, path, organiser) for path in paths]
            assert "Bo Halyard" in "".join(told)
        assert erase(service, meet.id, "--name", "Bo Halyard", *WHY) == 0
        for worker in (service, another):
            a_problem(worker.http.get("/api/me", headers=bearer), 401, "not-joined")
            told = [tell(worker.http, meet.id, path, organiser) for path in paths]
            assert "Bo Halyard" not in "".join(told)


def tell(http: object, meet: str, path: str, bearer: dict[str, str]) -> str:
    answer = http.get(f"/api/meets/{meet}/{path}", headers=bearer)  # type: ignore[attr-defined]
    assert answer.status_code == 200, answer.text
    return str(answer.text)


def test_what_was_told_in_the_same_group_before_an_erasure_goes_with_it(service: Service) -> None:
    while not told_and_erased_in_one_group(service, a_meet(service)):
        pass  # the writer was so quick that it took the first one alone
    bodies = service.store.read_now(
        lambda conn: [row.body for row in conn.execute(select(record_bodies)) if row.body]
    )
    assert bodies
    assert not [body for body in bodies if "Mole-Quay" in str(body)]


def told_and_erased_in_one_group(service: Service, meet: MeetAtHand) -> bool:
    store = service.store

    def tell(_unit: Unit) -> Done[None]:
        return Done(None, Deed(Kind.CALL, meet.id, {"told_by": "Ferry Mole-Quay"}))

    async def together() -> None:
        wanted = erasing.Wanted(because="it was asked for", by="the organiser")
        acts = (tell, erasing.erase(wanted))
        told = [store.act(MeetId(meet.id), erasing.OPERATOR, act) for act in acts]
        await asyncio.gather(*told)

    before = store.load.groups
    asyncio.run(together())
    return store.load.groups == before + 1
