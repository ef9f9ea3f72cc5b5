"""On PostgreSQL a meet is erased while servers write into it and show it."""

from __future__ import annotations

import pytest

from tests.builders import a_meet, a_problem, a_report
from tests.conftest import NewDatabase
from tests.erasing.looking import dump_of
from tests.erasing.played import erase
from tests.running import a_service
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
