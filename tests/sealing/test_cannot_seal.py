"""A disk or a file fails: acts go on, papers wait, and no server starts that could not seal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import update

from app.cli import main
from app.sealing.key_store import KeyStore
from app.sealing.seals import Seals
from app.sealing.stamping import Stamping
from app.sealing.tables import seals
from app.store.engine import open_engines
from tests.builders import MeetAtHand, a_meet, a_problem
from tests.running import Service
from tests.sealing.test_key_store import NO_KEYS
from tests.sealing.test_papers import a_ruled_case

Change = Callable[[str, object], None]
AUTHORITY = "http://127.0.0.1:9/"  # RFC 863's port: nobody answers, and nobody is asked


@pytest.fixture
def change(service: Service) -> Iterator[Change]:
    """Put something else in place of a part of the server's seals, until the test is over."""
    used: Seals = service.app.state.services.seals
    before = {name: getattr(used, name) for name in ("_keys", "_stamping")}
    opened = dict(used._open)

    def put(name: str, other: object) -> None:
        setattr(used, name, other)
        used._open.clear()

    yield put
    for name, part in before.items():
        setattr(used, name, part)
    used._open.clear()
    used._open.update(opened)


def no_folder(folder: Path) -> Path:
    """Where a folder of seals cannot be, for root neither: a file stands in its place."""
    taken = folder / "taken"
    taken.write_text("a file")
    return taken


@pytest.mark.parametrize("content", [None, b"no certificate", b"\xff\xfe"])
def test_a_result_is_announced_though_the_evidence_cannot_be_read(
    service: Service, change: Change, tmp_path: Path, content: bytes | None
) -> None:
    file, meet = tmp_path / "evidence.pem", a_meet(service)
    if content is not None:
        file.write_bytes(content)
    change("_stamping", Stamping(AUTHORITY, file))
    meet.start()
    assert meet.load_result().status_code == 201
    assert meet.announce(despite="No post has called in this test.").status_code == 201
    ruling = a_ruled_case(meet)
    told = a_problem(meet.referee.get(f"rulings/{ruling['id']}/form.pdf"), 503, "unavailable")
    assert "ZONEDOCKET_TIMESTAMP_EVIDENCE" in told["detail"]
    assert str(tmp_path) not in told["detail"]


def test_a_meet_is_made_though_its_key_cannot_be_kept(
    service: Service, change: Change, tmp_path: Path
) -> None:
    change("_keys", KeyStore(no_folder(tmp_path), "quay lantern"))
    meet = a_meet(service)
    ruling = a_ruled_case(meet)
    told = a_problem(meet.referee.get(f"rulings/{ruling['id']}/form.pdf"), 503, "unavailable")
    assert "ZONEDOCKET_SEAL_FOLDER" in told["detail"]
    assert str(tmp_path) not in told["detail"]


def test_a_key_that_cannot_be_read_stops_no_act(
    meet: MeetAtHand, change: Change, tmp_path: Path
) -> None:
    (seal,) = meet.service.http.get(f"/api/meets/{meet.id}/seals").json()["seals"]
    (tmp_path / f"{meet.id}-{seal['fingerprint']}.p12").mkdir()
    change("_keys", KeyStore(tmp_path, "quay lantern"))
    meet.start()
    assert meet.load_result().status_code == 201
    assert meet.announce(despite="No post has called in this test.").status_code == 201


@pytest.mark.parametrize("make", NO_KEYS[:2] + NO_KEYS[4:])
def test_a_paper_whose_key_cannot_be_read_is_told_in_words(
    meet: MeetAtHand, change: Change, tmp_path: Path, make: Callable[[Path], None]
) -> None:
    """And does not wait, where a pipe stands in the place of the key."""
    ruling = a_ruled_case(meet)
    (seal,) = meet.service.http.get(f"/api/meets/{meet.id}/seals").json()["seals"]
    make(tmp_path / f"{meet.id}-{seal['fingerprint']}.p12")
    change("_keys", KeyStore(tmp_path, "quay lantern"))
    told = a_problem(meet.referee.get(f"rulings/{ruling['id']}/form.pdf"), 503, "unavailable")
    assert "cannot be read" in told["detail"]
    assert str(tmp_path) not in told["detail"]


def test_a_key_that_signs_other_heads_than_was_published_signs_none(
    meet: MeetAtHand, change: Change
) -> None:
    """As a program does that derives them otherwise: what was printed would count as forged."""
    ruling = a_ruled_case(meet)
    engines = open_engines(meet.service.database_url)
    with engines.writing.connect() as conn, conn.begin():
        mine = seals.c.meet_id == meet.id
        conn.execute(update(seals).where(mine).values(verifier_key="zone-docket/other+0+AA=="))
    engines.dispose()
    change("_stamping", Stamping())
    told = a_problem(meet.referee.get(f"rulings/{ruling['id']}/form.pdf"), 503, "unavailable")
    assert "was published" in told["detail"]


@pytest.fixture
def start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], int]]:
    """Starts a server with a passphrase, over a database that is not there yet."""
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'meet.db'}")
    monkeypatch.setenv("ZONEDOCKET_SEAL_FOLDER", str(tmp_path / "seal"))
    monkeypatch.setenv("ZONEDOCKET_SEAL_PASSPHRASE", "quay lantern")
    yield lambda: main(["serve", "--port", "0"])
    assert not (tmp_path / "meet.db").exists()


def test_a_server_that_cannot_keep_keys_does_not_start(
    start: Callable[[], int],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("ZONEDOCKET_SEAL_FOLDER", str(no_folder(tmp_path)))
    assert start() == 1
    assert "ZONEDOCKET_SEAL_FOLDER" in capsys.readouterr().err


@pytest.mark.parametrize("content", [None, "no certificate"])
def test_a_server_whose_evidence_cannot_be_read_does_not_start(
    start: Callable[[], int],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    content: str | None,
) -> None:
    file = tmp_path / "evidence.pem"
    if content is not None:
        file.write_text(content)
    monkeypatch.setenv("ZONEDOCKET_TIMESTAMP_URL", AUTHORITY)
    monkeypatch.setenv("ZONEDOCKET_TIMESTAMP_EVIDENCE", str(file))
    assert start() == 1
    assert "ZONEDOCKET_TIMESTAMP_EVIDENCE" in capsys.readouterr().err


def test_trying_the_folder_leaves_nothing_in_it(tmp_path: Path) -> None:
    KeyStore(tmp_path / "seal", "quay lantern").insist_writable()
    assert list((tmp_path / "seal").iterdir()) == []
