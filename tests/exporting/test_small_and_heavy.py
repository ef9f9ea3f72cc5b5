"""Small exports that are made to fill the memory or to keep a machine busy for hours: what is too
deep is refused, what is large is not remembered, and what takes too long is said not to be checked.
"""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from app.exporting import check_export
from app.exporting.check_export import (
    OUT_OF_TIME,
    Unfit,
    canonical,
    place_in_heat,
    read_canonical,
    read_json,
)
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import (
    Files,
    Line,
    checked,
    read_files,
    remanifest,
    rewritten,
)


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


def nested(depth: int, inside: str = "1") -> str:
    return '{"x":' + "[" * depth + inside + "]" * depth + "}"


def test_a_document_that_is_nested_too_deeply_is_refused() -> None:
    for read in (read_canonical, read_json):
        assert read(nested(50)) == json.loads(nested(50))
        for depth in (64, 200, 900):
            with pytest.raises(Unfit, match="nested too deeply"):
                read(nested(depth))


def test_a_document_with_many_numbers_deep_down_is_refused_at_once() -> None:
    began = time.monotonic()
    with pytest.raises(Unfit, match="nested too deeply"):
        read_canonical(nested(800, ",".join(["1e+30"] * 200_000)))
    assert time.monotonic() - began < 20


def test_the_form_of_many_numbers_takes_no_longer_deep_down() -> None:
    many = [1e30] * 100_000
    deep: object = many
    for _ in range(60):
        deep = [deep]
    began = time.monotonic()
    canonical(many)
    flat = time.monotonic() - began
    began = time.monotonic()
    canonical(deep)
    assert time.monotonic() - began < 4 * flat + 1


@pytest.mark.parametrize("depth", [70, 500, 900])
def test_an_entry_with_a_deep_name_is_told_and_breaks_nothing(whole: Files, depth: int) -> None:
    body = '{"kind":' + "[" * depth + "]" * depth + "}"

    def change(lines: list[Line]) -> None:
        last = lines[-1].entry
        lines.append(Line({**last, "kind": "paper sealed", "subject": "x"}, {"kind": 1}))

    files = rewritten(whole, change)
    lines = files["record.jsonl"].splitlines(keepends=True)
    told = json.loads(lines[-2])
    lines[-2] = json.dumps({**told, "body": body}).encode() + b"\n"
    report = checked({**files, "record.jsonl": b"".join(lines)}, credulous=True)
    assert any("nested too deeply" in one for one in report.mismatches)


def test_a_line_with_a_deep_salt_is_told_and_breaks_nothing(whole: Files) -> None:
    lines = whole["record.jsonl"].splitlines(keepends=True)
    told = json.loads(lines[3])
    deep = json.loads("[" * 300 + "]" * 300)
    lines[3] = json.dumps({**told, "salt": deep}).encode() + b"\n"
    report = checked({**whole, "record.jsonl": b"".join(lines)}, credulous=True)
    assert "record.jsonl, line 4: this is nested too deeply" in report.mismatches


@pytest.mark.parametrize(
    "other",
    [
        {"heat": ["x"] * 1_000},
        {"heat": "x" * 201},
        {"number": {"x": 1}},
        {"superseded_by": ["x"]},
        {"superseded_by": {"id": ["x"], "number": 1}},
        {"superseded_by": {"id": "x", "number": 1.5}},
    ],
)
def test_of_an_announcement_nothing_large_is_remembered(other: dict[str, object]) -> None:
    fits = {"id": "a", "heat": "h", "number": 1, "superseded_by": None}
    assert place_in_heat({**fits, "lines": ["x"]}) == fits
    later = {"id": "b", "number": 2, "words": "x" * 1_000}
    assert place_in_heat({**fits, "superseded_by": later})["superseded_by"] == {
        "id": "b",
        "number": 2,
    }
    with pytest.raises(Unfit):
        place_in_heat({**fits, **other})


def test_an_announcement_that_says_too_much_of_its_heat_does_not_agree(
    sealed: SealedMeet, whole: Files
) -> None:
    name = next(one for one in whole if one.startswith("announcements/") and one.endswith("json"))
    document = json.loads(whole[name])
    document["superseded_by"] = {"id": ["x"] * 1_000, "number": 2}
    files = remanifest({**whole, name: json.dumps(document).encode()}, sealed.seal.notes)
    assert any(one.startswith(f"{name}: it does not say") for one in checked(files).mismatches)


def test_what_a_check_has_no_time_for_is_said_not_to_be_checked(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_export, "MOST_SECONDS", -1)
    report = checked(whole)
    assert (report.ends_with, report.mismatches) == (3, [])
    assert f"manifest.json: {OUT_OF_TIME}" in report.unchecked
    assert f"record.jsonl, from line 2 on: {OUT_OF_TIME}" in report.unchecked


def test_time_that_runs_out_on_the_way_leaves_the_rest_unchecked(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    checker = check_export.Checker
    look = checker._look_at_checkpoints

    def slow(self: check_export.Checker) -> None:
        look(self)
        monkeypatch.setattr(check_export, "MOST_SECONDS", -1)

    monkeypatch.setattr(checker, "_look_at_checkpoints", slow)
    report = checked(whole)
    assert (report.ends_with, report.mismatches) == (3, [])
    for place in ("facts", "pictures", "announcements", "manifest.note"):
        assert f"{place}: {OUT_OF_TIME}" in report.unchecked
