"""What an export holds, where it is written, and that the checker finds it good."""

from __future__ import annotations

import json
import random
import re
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from app.access.who_may import WHO_MAY
from app.cli import main
from app.exporting import building
from app.exporting.building import export_to
from app.exporting.check_export import check, lines_of
from app.exporting.files import a_place, a_zip
from app.exporting.wanted import Order
from app.exporting.zipped import write_zip
from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.queries import export_lines
from app.refusals import NotFound, Unavailable
from app.sealing.key_store import KeyStore
from tests.builders import MeetAtHand, a_meet, a_problem
from tests.exporting.conftest import BareMeet, SealedMeet
from tests.running import Service

CHECKER = Path(building.__file__).with_name("check_export.py")


def insist_good(path: Path) -> str:
    report = check(str(path))
    assert (report.mismatches, report.to_explain, report.unchecked) == ([], [], [])
    return "\n".join(lines_of(report))


def names_in(path: Path) -> set[str]:
    return {one.relative_to(path).as_posix() for one in path.rglob("*") if one.is_file()}


def test_an_export_of_a_sealed_meet_agrees_in_everything(exported: Path) -> None:
    told = insist_good(exported)
    assert told.endswith("Everything agrees.")
    assert "4 sealed papers, 1 seal, 14 signed heads, 33 signed acts" in told


def test_a_zip_holds_the_same_files_and_agrees(exported: Path, zipped: Path) -> None:
    insist_good(zipped)
    with zipfile.ZipFile(zipped) as opened:
        assert opened.testzip() is None
        assert set(opened.namelist()) == names_in(exported)
        assert opened.read("record.jsonl") == (exported / "record.jsonl").read_bytes()


def test_an_export_holds_everything_that_the_record_speaks_of(
    sealed: SealedMeet, exported: Path
) -> None:
    names = names_in(exported)
    announced = [one.id for one in sealed.stage.announcements]
    for ident in announced:
        assert {f"announcements/{ident}.{kind}" for kind in ("json", "csv", "txt")} <= names
    assert {"README.txt", "check.py", "manifest.json", "manifest.note", "record.jsonl"} <= names
    assert {"certificates/seal-1.pem", "certificates/seals.json"} <= names
    pictures = [name for name in names if name.startswith("pictures/")]
    assert len(pictures) == 2
    assert any(name.endswith("-shown.jpg") for name in pictures)
    lines = sealed.store.read_now(lambda conn: list(export_lines(conn, sealed.meet)))
    written = (exported / "record.jsonl").read_text("utf-8").splitlines()
    assert written[:-1] == lines[: len(written) - 1]


def test_the_checker_goes_along_word_for_word(exported: Path) -> None:
    assert (exported / "check.py").read_bytes() == CHECKER.read_bytes()


def test_the_words_say_how_to_check_and_what_a_check_cannot_show(
    sealed: SealedMeet, exported: Path, unsealed: BareMeet, tmp_path: Path
) -> None:
    words = (exported / "README.txt").read_text("utf-8")
    assert "python3 -I check.py" in words
    assert "WHAT A CHECK CAN SHOW, AND WHAT IT CANNOT" in words
    assert sealed.meet in words
    assert not re.search(r"\$[a-z{]", words), "all that it names of this export is filled in"
    bare = tmp_path / "bare"
    with a_place(bare, unsealed.store.clock.now()) as place:
        order = Order(unsealed.meet_id, unsealed.store.clock.now())
        unsealed.store.read_now(lambda conn: export_to(conn, order, place))
    assert "nothing in this export is signed" in (bare / "README.txt").read_text("utf-8")
    report = check(str(bare))
    assert (report.mismatches, report.to_explain, report.ends_with) == ([], [], 3)
    (unsigned,) = report.unchecked
    assert "this meet has no seal" in unsigned
    assert not (bare / "manifest.note").exists()


def test_a_sealed_meet_is_not_exported_without_its_key(sealed: SealedMeet, tmp_path: Path) -> None:
    order = Order(sealed.meet, sealed.stage.clock.now())
    with (
        pytest.raises(Unavailable, match="ZONEDOCKET_SEAL_PASSPHRASE"),
        a_place(tmp_path / "export", order.now) as place,
    ):
        sealed.store.read_now(lambda conn: export_to(conn, order, place))
    assert list(tmp_path.iterdir()) == []


def test_an_export_overwrites_nothing_and_appears_only_when_it_is_whole(
    sealed: SealedMeet, tmp_path: Path
) -> None:
    there = tmp_path / "there"
    there.mkdir()
    sealed.export(there)  # an empty folder is taken
    with pytest.raises(ValueError, match="is there already"):
        sealed.export(there)
    (tmp_path / "other.new").touch()
    with pytest.raises(ValueError, match="in the way"):
        sealed.export(tmp_path / "other")
    for name in ("x", "x.zip"):
        with (
            pytest.raises(ZeroDivisionError),
            a_place(tmp_path / name, sealed.stage.clock.now()) as place,
        ):
            place.add("begun.txt", (bytes(1 // number) for number in (1, 0)))
    assert sorted(one.name for one in tmp_path.iterdir()) == ["other.new", "there"]


# A part of the record ----------------------------------------------------------------------------


def seqs_of(exported: Path, *kinds: Kind) -> list[int]:
    lines = (exported / "record.jsonl").read_text("utf-8").splitlines()[:-1]
    entries = [json.loads(json.loads(line)["entry"]) for line in lines]
    return [one["seq"] for one in entries if one["kind"] in kinds]


def test_a_part_of_a_record_is_proved_and_holds_nothing_else(
    sealed: SealedMeet, exported: Path, tmp_path: Path
) -> None:
    (ruling, *_), papers = seqs_of(exported, Kind.RULING), seqs_of(exported, Kind.PAPER_SEALED)
    signed = seqs_of(exported, Kind.DECISION_SIGNED)
    chosen = frozenset({ruling, papers[0], signed[1]})
    part = tmp_path / "part"
    sealed.export(part, chosen)
    assert "chosen from a record of" in insist_good(part)
    needed = seqs_of(exported, Kind.SEAL_MADE)
    held = seqs_of(part, *Kind)
    assert set(held) >= {*chosen, *needed}
    assert len(held) == len(chosen) + 2  # the seal, and the key that signed
    others = set(seqs_of(exported, *Kind)) - set(held)
    whole = [json.loads(line) for line in (exported / "record.jsonl").read_text().splitlines()]
    written = b"".join((part / name).read_bytes() for name in sorted(names_in(part)))
    for seq in others:
        assert whole[seq - 1]["body"].encode() not in written
        assert whole[seq - 1]["salt"].encode() not in written
    assert len([one for one in names_in(part) if one.startswith("papers/")]) == 1
    assert not any(one.startswith(("announcements/", "pictures/")) for one in names_in(part))


def test_a_part_is_held_against_the_heads_of_its_own_sheets(
    sealed: SealedMeet, exported: Path, tmp_path: Path
) -> None:
    papers = seqs_of(exported, Kind.PAPER_SEALED)
    part = tmp_path / "part.zip"
    sealed.export(part, frozenset(papers))
    insist_good(part)
    with zipfile.ZipFile(part) as opened:
        proofs = json.loads(opened.read("proofs.json"))
    for head in proofs["heads"]:
        assert main(["check", str(part), "--head", f"{head['size']} {head['root'][:16]}"]) == 0
        assert main(["check", str(part), "--head", f"{head['size']} {'0' * 16}"]) == 1
    assert main(["check", str(part), "--head", f"3 {'0' * 16}"]) == 1


def test_a_part_of_what_is_not_there_is_refused(sealed: SealedMeet, tmp_path: Path) -> None:
    for entries in (frozenset({10_000}), frozenset({0}), frozenset[int]()):
        with pytest.raises(NotFound):
            sealed.export(tmp_path / "part", entries)


def test_a_part_of_thousands_of_entries_is_read_in_stretches(
    sealed: SealedMeet, exported: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.exporting.queries.AT_ONCE", 7)
    every = frozenset(seqs_of(exported, *Kind))
    sealed.export(tmp_path / "part", every)
    insist_good(tmp_path / "part")
    assert seqs_of(tmp_path / "part", *Kind) == sorted(every)


# Over HTTP and from the command line -------------------------------------------------------------


def test_whoever_reads_the_record_gets_it_as_one_zip(meet: MeetAtHand, tmp_path: Path) -> None:
    answer = meet.referee.get("record.zip")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    assert "record.zip" in answer.headers["content-disposition"]
    path = tmp_path / "record.zip"
    path.write_bytes(answer.content)
    assert main(["check", str(path)]) == 0
    with zipfile.ZipFile(BytesIO(answer.content)) as opened:
        assert json.loads(opened.read("manifest.json"))["meet"] == meet.id


def test_nobody_else_gets_it(meet: MeetAtHand) -> None:
    assert WHO_MAY["GET", "/api/meets/{meet}/record.zip"].public is False
    a_problem(meet.organiser.get("record.zip"), 403, "role-missing")


def test_a_zip_that_cannot_be_made_leaves_nothing_open(
    unsealed: BareMeet, service: Service
) -> None:
    order = Order(MeetId(new_id()), unsealed.store.clock.now())
    with pytest.raises(NotFound):
        unsealed.store.read_now(lambda conn: write_zip(conn, order))


def test_a_download_that_nobody_finishes_leaves_no_file_open(service: Service) -> None:
    """Pictures are large, and the disk is not: whoever hangs up must not keep a copy of a meet."""
    meet = a_meet(service)
    noise = Image.frombytes("RGB", (1200, 1200), random.Random(5).randbytes(1200 * 1200 * 3))
    noise.save(picture := BytesIO(), "PNG")
    added = meet.umpire.put(
        f"reports/{meet.report()['id']}/pictures/{new_id()}", content=picture.getvalue()
    )
    assert added.status_code == 201, added.text
    before = open_files()
    address = f"/api/meets/{meet.id}/record.zip"
    for _ in range(3):
        with meet.referee.http.stream(
            "GET", address, headers={"Authorization": f"Bearer {meet.referee.token}"}
        ) as answer:
            assert answer.status_code == 200
            next(answer.iter_raw(1_000))
    deadline = time.monotonic() + 10
    while open_files() > before and time.monotonic() < deadline:
        time.sleep(0.05)
    assert open_files() <= before


def open_files() -> int:
    """The files without a name that this process has open."""
    names = []
    for one in Path("/proc/self/fd").iterdir():
        with suppress(FileNotFoundError):  # closed meanwhile
            names.append(str(one.readlink()))
    return sum("(deleted)" in name for name in names)


def run_app(database: str, *arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "app", *arguments],
        env={"DATABASE_URL": database, "PATH": "/usr/bin:/bin", **more},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def with_keys(service: Service, tmp_path: Path) -> Iterator[tuple[MeetAtHand, dict[str, str]]]:
    """A meet whose server keeps its keys in a folder, and the settings that open them."""
    seals = service.app.state.services.seals
    kept, seals._keys = seals._keys, KeyStore(tmp_path / "seal", "quay lantern")
    opening = {"ZONEDOCKET_SEAL_FOLDER": str(tmp_path / "seal")}
    yield a_meet(service), {**opening, "ZONEDOCKET_SEAL_PASSPHRASE": "quay lantern"}
    seals._keys = kept


def test_the_command_exports_beside_a_running_server_and_another_checks_it(
    with_keys: tuple[MeetAtHand, dict[str, str]], tmp_path: Path
) -> None:
    meet, opening = with_keys
    path = tmp_path / "export.zip"
    before = meet.head()
    done = run_app(meet.service.database_url, "export", meet.id, str(path), **opening)
    assert (done.returncode, done.stderr) == (0, "")
    assert before["root"] in done.stdout
    assert meet.head() == before
    checked = run_app(meet.service.database_url, "check", str(path))
    assert (checked.returncode, checked.stderr) == (0, "")
    assert checked.stdout.endswith("Everything agrees.\n")
    again = run_app(meet.service.database_url, "export", meet.id, str(path), **opening)
    assert again.returncode == 1
    assert "is there already" in again.stderr


def test_the_command_writes_nothing_unsigned_where_it_cannot_open_the_key(
    meet: MeetAtHand, tmp_path: Path
) -> None:
    done = run_app(meet.service.database_url, "export", meet.id, str(tmp_path / "x"))
    assert (done.returncode, done.stdout) == (1, "")
    assert "set ZONEDOCKET_SEAL_PASSPHRASE as for the server" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_command_refuses_a_database_that_is_not_there(tmp_path: Path) -> None:
    done = run_app(f"sqlite:///{tmp_path / 'no.db'}", "export", new_id(), str(tmp_path / "x"))
    assert done.returncode == 1
    assert "there is no database" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_command_refuses_a_meet_that_is_not_there(meet: MeetAtHand, tmp_path: Path) -> None:
    done = run_app(meet.service.database_url, "export", new_id(), str(tmp_path / "x"))
    assert (done.returncode, done.stdout) == (1, "")
    assert "There is no such meet." in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_heads_and_seals_are_held_against_exports_only(
    exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "record.jsonl").write_bytes((exported / "record.jsonl").read_bytes())
    assert main(["check", str(tmp_path)]) == 0
    assert main(["check", str(tmp_path), "--head", f"3 {'0' * 16}"]) == 1
    assert "is no export" in capsys.readouterr().err


def test_the_zip_bears_the_instant_of_the_export(sealed: SealedMeet) -> None:
    now, written = sealed.stage.clock.now(), BytesIO()
    with a_zip(written, now) as place:
        assert place.add("x.txt", [b"a", b"b"]).size == 2
    with zipfile.ZipFile(written) as opened:
        (info,) = opened.infolist()
        assert info.date_time == (now.year, now.month, now.day, now.hour, now.minute, now.second)
        assert opened.read("x.txt") == b"ab"
