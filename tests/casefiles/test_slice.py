"""The ZIP of a case file is a part of the record that stands for itself: its own checker says so,
and finds whatever was changed.
"""

from __future__ import annotations

import hashlib
import json
import random
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest

from app.exporting.check_export import Asked, check
from tests.casefiles.two_cases import TwoCases, words_of
from tests.forms.pdf_reading import read_pages, read_text
from tests.forms.test_record_head import read_codes
from tests.sealing.reading import seals_in

Json = dict[str, Any]

KINDS = ("cases", "protests", "appeals")


@pytest.fixture
def unpacked(played: TwoCases, tmp_path: Path) -> Path:
    path = tmp_path / "slice.zip"
    path.write_bytes(played.get(played.a.address("appeals", "file.zip")))
    with ZipFile(path) as opened:
        opened.extractall(tmp_path / "slice")
    return tmp_path / "slice"


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """The checker that came with it, by the bare interpreter in an empty environment."""
    return subprocess.run(
        [sys.executable, "-I", "-S", "check.py", ".", *arguments],
        cwd=folder,
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.parametrize("kind", KINDS)
def test_its_own_checker_finds_that_everything_agrees(
    played: TwoCases, kind: str, tmp_path: Path
) -> None:
    path = tmp_path / "slice.zip"
    path.write_bytes(played.get(played.a.address(kind, "file.zip")))
    report = check(str(path))
    assert (report.ends_with, report.mismatches) == (0, [])
    with ZipFile(path) as opened:
        opened.extractall(tmp_path / "slice")
    ran = run(tmp_path / "slice")
    assert (ran.returncode, ran.stderr) == (0, "")


def test_the_head_that_the_paper_shows_is_one_that_the_part_proves(unpacked: Path) -> None:
    text = " ".join(read_text((unpacked / "case-file.pdf").read_bytes()).split())
    head = re.search(r"Record head (\d+) · ([0-9a-f ]{19})", text)
    assert head is not None
    ran = run(unpacked, "--head", f"{head[1]} {head[2]}")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert f"extends the head of {head[1]} entries" in ran.stdout
    assert run(unpacked, "--head", f"{head[1]} {'0' * 16}").returncode == 1


def test_the_code_on_the_page_of_hashes_is_the_signed_note_in_the_zip(unpacked: Path) -> None:
    pdf = (unpacked / "case-file.pdf").read_bytes()
    pages = read_pages(pdf)
    number = next(at for at, words in enumerate(pages, 1) if "How to check it" in words)
    (note,) = read_codes(pdf, number)
    size = note.splitlines()[1]
    assert note == (unpacked / "checkpoints" / f"{size}.note").read_text("utf-8")


def test_the_seal_on_the_paper_is_the_one_that_the_part_names(unpacked: Path) -> None:
    (seal,) = json.loads((unpacked / "certificates" / "seals.json").read_text("utf-8"))
    assert seal["fingerprint"] in words_of((unpacked / "case-file.pdf").read_bytes())
    assert run(unpacked, "--seal", seal["fingerprint"]).returncode == 0


def test_the_hashes_on_the_paper_are_those_of_the_files_and_entries(unpacked: Path) -> None:
    """Leaf hashes as in RFC 9162, 2.1.1: SHA-256 of 0x00 and the entry."""
    words = words_of((unpacked / "case-file.pdf").read_bytes())
    lines = (unpacked / "record.jsonl").read_text("utf-8").splitlines()[:-1]
    entries = [json.loads(line)["entry"] for line in lines]
    leaves = [hashlib.sha256(b"\0" + one.encode()).hexdigest() for one in entries]
    files = [*(unpacked / "papers").iterdir(), *(unpacked / "pictures").glob("*.png")]
    hashes = [*leaves, *(hashlib.sha256(one.read_bytes()).hexdigest() for one in files)]
    bodies = [json.loads(json.loads(line).get("body", "{}")) for line in lines]
    hashes += [one["statement_sha256"] for one in bodies if "statement_sha256" in one]
    assert len(hashes) > 20
    assert [one for one in hashes if one not in words] == []


def test_who_acted_can_be_read_from_it_and_nobody_else_is_named(
    unpacked: Path, played: TwoCases
) -> None:
    lines = (unpacked / "record.jsonl").read_text("utf-8").splitlines()[:-1]
    entries = [json.loads(json.loads(line)["entry"]) for line in lines]
    bodies = [json.loads(json.loads(line).get("body", "{}")) for line in lines]
    pairs = list(zip(entries, bodies, strict=True))
    named = {e["subject"]: b["name"] for e, b in pairs if e["kind"] == "official named"}
    acted = {one["actor"] for one in entries} - {"server", "founder"}
    made = next(b for e, b in pairs if e["kind"] == "meet made")
    assert acted <= {*named, made["organiser"]["id"]}
    assert {*played.a.umpires, "referee", "juror 2", "results"} <= set(named.values())
    assert not {*played.b.umpires, "chief_umpire"} & set(named.values())


def around(folder: Path) -> list[tuple[Json, Json]]:
    """The entries that stand in it without their bodies, and what is said in their place."""
    lines = (folder / "record.jsonl").read_text("utf-8").splitlines()
    bare = [one for one in map(json.loads, lines) if "withheld" in one]
    assert all(set(one) == {"entry", "withheld"} for one in bare)
    return [(json.loads(one["entry"]), one["withheld"]) for one in bare]


def test_start_and_announcements_are_proved_and_nothing_that_they_say_of_others_is_told(
    unpacked: Path, played: TwoCases
) -> None:
    made = played.meet["jury"].get("announcements").json()["announcements"]
    started, *announced = around(unpacked)
    assert (started[0]["kind"], started[1]) == ("heat started", {})
    assert [one["subject"] for one, _ in announced] == [one["id"] for one in reversed(made)]
    times = [datetime.fromisoformat(one["announced_at"]) for one in reversed(made)]
    assert [datetime.fromisoformat(says["announced_at"]) for _, says in announced] == times
    assert [says["announcement"] for _, says in announced] == [1, 2]
    proved = {one["entry"] for one in json.loads((unpacked / "proofs.json").read_text())["entries"]}
    assert {one["seq"] for one, _ in (started, *announced)} <= proved


def test_the_time_line_says_where_they_stand_in_the_record(unpacked: Path) -> None:
    text = " ".join(read_text((unpacked / "case-file.pdf").read_bytes()).split())
    for entry, says in around(unpacked)[1:]:
        row = rf" {entry['seq']} [\d-]+ \S [\d-]+ results The result was announced: "
        times = r"([\d:]{8} \w+ ){2}"
        number = says["announcement"]
        assert re.search(rf"{row}({times})?announcement ({times})?{number}\.", text)


def test_the_checker_tells_of_them_and_believes_no_other_entry_without_its_body(
    unpacked: Path,
) -> None:
    ran = run(unpacked)
    assert re.search("The export says, unproved: announced at .*Z, announcement 1[.]", ran.stdout)
    assert ran.stdout.count("Proved: that ") == 3
    record = unpacked / "record.jsonl"
    lines = [json.loads(line) for line in record.read_text("utf-8").splitlines()]
    ruling = next(one for one in lines if '"kind":"ruling"' in one.get("entry", ""))
    entry = ruling["entry"]
    ruling.clear()
    ruling.update({"entry": entry, "withheld": {}})
    record.write_text("".join(f"{json.dumps(one, ensure_ascii=False)}\n" for one in lines), "utf-8")
    found = "\n".join(check(str(unpacked)).mismatches)
    assert "is not one that a part may leave out" in found


def test_the_whole_record_knows_a_case_file_that_was_kept(
    unpacked: Path, played: TwoCases, tmp_path: Path
) -> None:
    """It has no entry, and is neither missed nor believed in what it says."""
    path, kept = tmp_path / "whole.zip", (unpacked / "case-file.pdf").read_bytes()
    path.write_bytes(played.get("record.zip", by="referee"))
    report = check(str(path), Asked(papers=(("kept.pdf", kept),)))
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert "its seal and its head agree" in report.unchecked[-1]


def test_the_readme_says_what_the_file_is(unpacked: Path) -> None:
    readme = (unpacked / "README.txt").read_text("utf-8")
    assert "case-file.pdf: the file of appeal 1, sealed" in readme
    assert "chosen entries" in readme
    assert "3 more without what they say" in readme


def _places(folder: Path) -> Iterator[tuple[Path, int]]:
    """Places in every file, where a byte is turned: the same ones in each run."""
    chance = random.Random(41)
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        size = path.stat().st_size
        yield from ((path, chance.randrange(size)) for _ in range(3))


def test_a_byte_that_is_turned_anywhere_is_found(unpacked: Path) -> None:
    for path, at in _places(unpacked):
        content = path.read_bytes()
        path.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
        assert check(str(unpacked)).ends_with == 1, (path.name, at)
        path.write_bytes(content)
    assert check(str(unpacked)).ends_with == 0


def test_the_paper_in_it_is_sealed_as_a_whole(unpacked: Path, tmp_path: Path) -> None:
    (seal,) = seals_in((unpacked / "case-file.pdf").read_bytes(), tmp_path)
    assert seal.is_valid
    assert seal.covers_all
    assert seal.common_name == "Harbour Relays"


def test_a_file_that_was_taken_out_or_put_in_is_found(unpacked: Path) -> None:
    content = (unpacked / "case-file.pdf").read_bytes()
    (unpacked / "case-file.pdf").unlink()
    assert check(str(unpacked)).ends_with == 1
    (unpacked / "case-file.pdf").write_bytes(content)
    (unpacked / "case-file-2.pdf").write_bytes(content)
    assert check(str(unpacked)).ends_with == 1
