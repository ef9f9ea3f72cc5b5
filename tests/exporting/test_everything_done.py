"""A meet in which everything was done, exported over HTTP before and after it is erased: nothing in
it contradicts anything else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from zipfile import ZipFile

import pytest

from app.exporting.check_export import Report
from tests.builders import Person
from tests.conftest import NewDatabase
from tests.erasing.played import BECAUSE, BY, a_stopped_service, afterwards, erase, let_in
from tests.exporting.tampering import Files, checked, lines_in, of_kind


@dataclass(frozen=True)
class Exported:
    before: Files
    after: Files


@pytest.fixture(scope="module")
def done(new_database: NewDatabase, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Exported]:
    """One folder of seals serves before and after."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("ZONEDOCKET_SEAL_FOLDER", str(tmp_path_factory.mktemp("seal")))
        patched.setenv("ZONEDOCKET_SEAL_PASSPHRASE", "for tests")
        with a_stopped_service(new_database, "sqlite") as played:
            with afterwards(played) as again:
                before = exported(let_in(again)["referee"])
            gone = erase(played.service, played.meet.id, "--all", "--because", BECAUSE, "--by", BY)
            assert gone == 0
            with afterwards(played) as again:
                yield Exported(before, exported(let_in(again)["referee"]))


def exported(referee: Person) -> Files:
    answer = referee.get("record.zip")
    assert answer.status_code == 200, answer.text
    with ZipFile(BytesIO(answer.content)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def found(report: Report) -> list[str]:
    """What does not agree, but for a seal of which only a row tells, that the played meet has."""
    return [one for one in report.mismatches if not one.startswith("certificates/")]


def test_all_that_can_be_done_is_exported_and_agrees(done: Exported) -> None:
    report = checked(done.before)
    assert (found(report), report.unchecked) == ([], [])
    for folder in ("announcements", "facts", "papers", "pictures"):
        assert any(name.startswith(f"{folder}/") for name in done.before), folder
    assert not any("show no head" in one for one in report.told)


def test_after_its_erasure_it_agrees_still_and_tells_what_went(done: Exported) -> None:
    report = checked(done.after)
    assert found(report) == []
    (erasure,) = of_kind(lines_in(done.after), "erased")
    assert erasure.body is not None
    assert len(erasure.body["announced"])
    assert any("what went with this erasure cannot be checked" in one for one in report.unchecked)
