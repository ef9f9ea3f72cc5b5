"""Exports that are vast, or hold more than one sees: the checker looks at so much, and says what it
did not look at.
"""

from __future__ import annotations

import json
import time
import tracemalloc
import zipfile
from collections.abc import Callable
from functools import partial
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.exporting import check_export
from app.exporting.check_export import (
    Asked,
    Entry,
    Head,
    NotChecked,
    OpenSSL,
    PaperSeal,
    Record,
    Report,
    Unfit,
    check,
    lines_of,
    look_at_editions,
    outcomes,
    paper_name,
    paper_seals,
    read_canonical,
    read_entry,
    read_json,
)
from app.record.canonical import canonical
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import (
    Files,
    Json,
    Line,
    checked,
    head_in,
    lines_in,
    of_kind,
    read_files,
    remanifest,
    rewritten,
)
from tests.exporting.test_hostile import a_member, a_zip


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


def told(report: Report) -> str:
    return "\n".join(lines_of(report))


def most_memory(work: Callable[[], object]) -> int:
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


# Papers ------------------------------------------------------------------------------------------


def with_many_seals(count: int, size: int) -> bytes:
    """A PDF of so many seals, each over all that was before it, and about as large as said."""
    numbers = b"/ByteRange [0 %010d %010d %010d] /Contents "
    contents, filling = b"<3081020101" + b"00" * 20 + b">", b"x" * (size // count)
    pdf = b"%PDF-1.7\n"
    for _ in range(count):
        start = len(pdf) + len(numbers % (0, 0, 0))
        again = start + len(contents)
        pdf += numbers % (start, again, len(filling)) + contents + filling
    return pdf


def test_many_seals_of_a_large_paper_do_not_fill_the_memory() -> None:
    pdf = with_many_seals(32, 8 * 1024 * 1024)
    assert len(paper_seals(pdf)) == 32
    assert most_memory(lambda: paper_seals(pdf)) < 1024 * 1024


def test_large_papers_that_do_not_hold_do_not_fill_the_memory(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_export, "LARGE", 1_000_000)
    size, count = 2 * 1024 * 1024, 12
    pdf = with_many_seals(2, size)

    def change(lines: list[Line]) -> None:
        body = of_kind(lines, "paper sealed")[0].body
        assert body is not None
        for number in range(count):
            told = {**body, "subject": str(number), "sha256": sha256(pdf).hexdigest()}
            entry = {**lines[-1].entry, "kind": "paper sealed", "subject": f"paper {number}"}
            lines.append(Line(entry, told))

    files = rewritten(whole, change)
    added = lines_in(files)[-count:]
    files.update({paper_name(line.body or {}): pdf for line in added})
    found: list[Report] = []
    assert most_memory(lambda: found.append(checked(files))) < 8 * size
    assert told(found[0]).count("its seal over the first") == count


def test_a_seal_is_over_all_of_the_paper_but_itself() -> None:
    pdf = with_many_seals(2, 2_000)
    for seal in paper_seals(pdf):
        whole_content = b"".join(seal.content)
        gap = seal.covers - len(whole_content)
        assert gap == len(b"<3081020101" + b"00" * 20 + b">")
        of_bytes, of_pieces = (
            PaperSeal(0, whole_content, b"").digests("sha256"),
            seal.digests("sha256"),
        )
        assert next(of_bytes) == next(of_pieces) == sha256(whole_content).digest()


def test_openssl_is_not_given_the_same_bytes_without_end(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    openssl = OpenSSL()
    monkeypatch.setattr(check_export, "MOST_ASKED", 1_000)
    with pytest.raises(Unfit):
        openssl.ask(["dgst", "-no-such-option"], {"a": b"x" * 900})
    with pytest.raises(NotChecked, match="more for openssl to look at"):
        openssl.ask(["dgst", "-no-such-option"], {"a": (memoryview(b"x" * 90), b"y" * 90)})
    report = checked(whole)
    assert report.ends_with == 3
    assert "NOT CHECKED  papers/" in told(report)


def test_openssl_is_not_asked_for_hours(whole: Files, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_export, "OPENSSL_SECONDS_IN_ALL", -1)
    report = checked(whole)
    assert report.ends_with == 3
    assert "there is more for openssl to look at than any export has" in told(report)


def test_large_papers_are_looked_at_one_after_another(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_export, "LARGE", 0)
    assert checked(whole).ends_with == 0


# ZIPs --------------------------------------------------------------------------------------------


def test_bytes_before_a_zip_are_told(whole: Files, tmp_path: Path) -> None:
    path = a_zip(tmp_path / "x.zip", whole)
    path.write_bytes(b"#!/bin/sh\n" + path.read_bytes())
    report = check(str(path))
    assert report.ends_with == 1
    assert "10 bytes before it are of no file" in told(report)


def test_bytes_after_a_zip_are_told(whole: Files, tmp_path: Path) -> None:
    path = a_zip(tmp_path / "x.zip", whole)
    content = path.read_bytes()
    path.write_bytes(content + b"more")
    assert "the ZIP: 4 bytes follow its end" in told(check(str(path)))
    path.write_bytes(content[:-2] + b"\4\0more")
    assert "the ZIP: 4 bytes follow its end" in told(check(str(path)))


def test_bytes_between_the_files_of_a_zip_and_its_table_are_told(
    whole: Files, tmp_path: Path
) -> None:
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w") as opened:
        for number, (name, content) in enumerate(whole.items()):
            if number == 3:
                opened.fp.write(b"hidden!")  # type: ignore[union-attr]
                opened.start_dir += 7
            opened.writestr(name, content)
        opened.fp.seek(opened.start_dir)  # type: ignore[union-attr]
        opened.fp.write(b"hidden")  # type: ignore[union-attr]
        opened.start_dir += 6
    found = told(check(str(path)))
    assert "7 bytes before it are of no file" in found
    assert "the ZIP: 6 bytes before its table are of no file" in found


def test_words_beside_a_file_of_a_zip_are_told(whole: Files, tmp_path: Path) -> None:
    commented, spoken = a_member("papers/"), a_member("pictures/")
    commented.comment, spoken.extra = b"words", b"\x99\x99\xc8\0" + b"x" * 200
    for info in (commented, spoken):
        path = a_zip(tmp_path / "x.zip", whole, (info, b""))
        assert f"{info.filename}: its heads in the ZIP hold" in told(check(str(path)))


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("papers/", "no file of an export is called so"),
        ("papers//", "no file of an export is called so"),
        ("papers", "the manifest does not name this file"),
    ],
)
def test_a_folder_of_a_zip_that_holds_something_is_told(
    whole: Files, tmp_path: Path, name: str, words: str
) -> None:
    path = a_zip(tmp_path / "x.zip", whole, (a_member(name), b"words"))
    assert f"{name}: {words}" in told(check(str(path)))


def test_a_zip_that_was_packed_as_a_stream_agrees(whole: Files, tmp_path: Path) -> None:
    """What packs into a pipe tells each file's size behind it, in a data descriptor."""

    class Pipe(BytesIO):
        def seekable(self) -> bool:
            return False

        def tell(self) -> int:
            raise OSError

        def seek(self, *_: Any) -> int:
            raise OSError

    pipe = Pipe()
    with zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, content in whole.items():
            opened.writestr(name, content)
    path = tmp_path / "x.zip"
    path.write_bytes(pipe.getvalue())
    assert check(str(path)).ends_with == 0


def test_a_zip_of_more_files_than_an_export_has_is_not_opened(
    whole: Files, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their number is counted, not believed, before a table of them is made."""
    path = a_zip(tmp_path / "x.zip", whole)
    monkeypatch.setattr(check_export, "MOST_FILES", len(whole))
    assert check(str(path)).ends_with == 0
    monkeypatch.setattr(check_export, "MOST_FILES", len(whole) - 1)
    with pytest.raises(Unfit, match="more than"):
        check(str(path))


# Records -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("line", [b"\n", b"{}\n", b"[]\n"])
def test_a_record_of_broken_lines_is_not_read_to_its_end(whole: Files, line: bytes) -> None:
    files = {**whole, "record.jsonl": line * 3_000_000}
    began = time.monotonic()
    report = checked(files, Asked(((Head(5, "ab" * 8), None),)), credulous=True)
    assert time.monotonic() - began < 20
    assert report.ends_with == 1
    assert "NOT CHECKED  record.jsonl: more than 10000 findings; reading ended at line" in told(
        report
    )
    assert "NOT CHECKED  --head, 5 entries: the record was not read so far" in told(report)


def test_findings_elsewhere_do_not_end_the_reading_of_a_record(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_export, "MOST_FINDINGS", 3)
    more = {f"papers/{number}.pdf": b"x" for number in range(9)}
    report = checked({**whole, **more}, credulous=True)
    assert report.beyond
    assert "reading ended" not in told(report)
    assert f"Looked at {head_in(whole)['size']} entries" in told(report)


def test_a_record_with_too_much_to_remember_says_what_was_not_checked(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its hashes are looked at to the end, and a head that is asked for."""
    monkeypatch.setattr(check_export, "MOST_KEPT", 20_000)
    head = head_in(whole)
    asked = Asked(((Head(head["size"], head["root"]), None),))
    report = checked(whole, asked)
    assert report.ends_with == 3
    assert "more to remember than any record has" in told(report)
    assert "NOT CHECKED  the heads, certificates, files and signatures" in told(report)
    assert f"This record extends the head of {head['size']} entries" in told(report)

    def change(lines: list[Any]) -> None:
        lines[-1].entry["actor"] = "somebody else"

    assert checked(rewritten(whole, change), asked).ends_with == 1


def test_a_document_of_too_many_values_is_not_read(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(read: Callable[[str], object], vast: str) -> None:
        with pytest.raises(Unfit, match="this holds more than 1000000 values"):
            read(vast)

    for vast in ("[" + "[]," * 2_000_000 + "[]]", "[" * 2_000_000):
        for read in (read_json, read_canonical):
            assert most_memory(partial(refused, read, vast)) < 1024 * 1024
    monkeypatch.setattr(check_export, "MOST_VALUES", 50)
    assert "manifest.json: this holds more than 50 values" in told(checked(whole))


def test_more_seals_than_a_meet_has_are_not_looked_at(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_export, "MOST_SEALS", 0)
    assert "more than 0 seals; it was not looked at" in told(checked(whole, credulous=True))


WORDS = st.text(max_size=8) | st.sampled_from(["a b", "~", '"', "\\", "\x7f", "\t", "é", ""])
ENTRIES = st.fixed_dictionaries(
    {
        **dict.fromkeys(("actor", "at", "commitment", "kind", "meet", "subject"), WORDS),
        "seq": st.integers(-3, 2**60) | st.just(2**53) | st.floats(0, 9),
    }
)


@settings(max_examples=300)
@given(ENTRIES, st.data())
def test_an_entry_is_read_as_any_canonical_document_is(entry: Json, data: st.DataObject) -> None:
    """By the short way as by the long one: the same is read, and the same refused."""
    text = json.dumps(entry, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    at = data.draw(st.integers(0, len(text)))
    for one in (text, f"{text[:at]}{data.draw(st.sampled_from(' 0-9a'))}{text[at:]}", text[:at]):
        try:
            expected = read_canonical(one)
        except Unfit:
            with pytest.raises(Unfit):
                read_entry(one)
        else:
            assert read_entry(one) == expected


def a_paper(seq: int, edition: int) -> Entry:
    body = {"kind": "ruling", "subject": "x", "sheet": "A4", "edition": edition}
    return Entry(seq, "paper sealed", f"paper {seq}", "", "", body)


def test_erasing_many_papers_of_many_editions_takes_no_longer_than_to_read_of_it() -> None:
    count = 20_000
    sealed = [a_paper(number, number) for number in range(1, count + 1)]
    named = [f"paper {number}" for number in range(2, count + 1)]
    erased = Entry(count + 1, "erased", "", "", "", {"papers": named})
    again = a_paper(count + 2, 2)
    record, report = Record(kept={"paper sealed": [*sealed, again], "erased": [erased]}), Report()
    began = time.monotonic()
    look_at_editions(record, report)
    assert time.monotonic() - began < 5
    assert report.mismatches == []


def test_jobs_are_answered_in_their_order_however_many() -> None:
    class Pool:
        @staticmethod
        def map(work: Any, jobs: Any) -> Any:
            return [work(job) for job in jobs]

    def refuse() -> None:
        raise Unfit("wrong")

    jobs: list[Any] = [(str(number), refuse if number == 2_500 else str) for number in range(3_000)]
    found = list(outcomes(jobs, Pool()))  # type: ignore[arg-type]
    assert [place for place, _ in found] == [place for place, _ in jobs]
    assert [place for place, one in found if one] == ["2500"]


def test_a_manifest_of_the_largest_export_is_read() -> None:
    """So many files as are allowed, with names as long as an export's are, fit the bounds."""
    name = "announcements/01a21ab8-daeb-745e-8bd4-5cd455b468cd.json"
    one = {"path": name, "sha256": "0" * 64, "size": 123_456}
    count = check_export.MOST_FILES
    text = json.dumps({"files": [one] * count}, sort_keys=True, separators=(",", ":"))
    assert len(text) < check_export.LARGEST_JSON
    assert len(read_json(text)["files"]) == count


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("", "it names a file without a name"),
        (7, "it names a file without a name"),
        ("record.jsonl", "it names a file twice: record.jsonl"),
    ],
)
def test_a_manifest_that_does_not_name_each_file_once_is_told(
    whole: Files, path: object, words: str
) -> None:
    manifest = json.loads(whole["manifest.json"])
    manifest["files"].append({"path": path, "sha256": "0" * 64, "size": 1})
    told = checked({**whole, "manifest.json": canonical(manifest)}, credulous=True).mismatches
    assert f"manifest.json: {words}" in told


def test_an_export_that_agrees_is_within_all_bounds(sealed: SealedMeet, whole: Files) -> None:
    files = remanifest(dict(whole), sealed.seal.notes)
    assert checked(files).ends_with == 0
