"""Exports that are made to hurt whoever checks them: nothing outside is read, and nothing hangs,
falls over, or fills the machine.
"""

from __future__ import annotations

import io
import json
import os
import stat
import struct
import sys
import tempfile
import time
import warnings
import zipfile
from pathlib import Path

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from app.exporting import check_export
from app.exporting.check_export import (
    Report,
    Unfit,
    as_ecmascript,
    canonical,
    check,
    lines_of,
    main,
    paper_seals,
    read_canonical,
    read_note,
    read_verifier_key,
    shown,
)
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import Files, checked, read_files, remanifest
from tests.record.test_canonical import DOCUMENTS

SECRET = "a secret outside of the export"


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


def told(report: Report) -> str:
    return "\n".join(lines_of(report))


# Folders -----------------------------------------------------------------------------------------


def test_links_lead_nowhere(copied: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.pdf"
    outside.write_text(SECRET)
    (tmp_path / "folder").mkdir()
    (copied / "pictures" / "link.jpg").symlink_to(outside)
    (copied / "announcements" / "dangling.json").symlink_to(tmp_path / "nothing")
    (copied / "papers" / "loop.pdf").symlink_to(copied / "papers" / "loop.pdf")
    (copied / "more").symlink_to(tmp_path / "folder")
    record = copied / "record.jsonl"
    record.rename(tmp_path / "record.jsonl")
    record.symlink_to(tmp_path / "record.jsonl")
    report = check(str(copied))
    found = [one for one in report.mismatches if "this is a link" in one]
    assert len(found) == 5
    assert "record.jsonl: this file is missing" in told(report)
    assert SECRET not in told(report)


def test_a_folder_that_is_a_link_is_not_gone_into(copied: Path, tmp_path: Path) -> None:
    (copied / "pictures").rename(tmp_path / "pictures")
    (copied / "pictures").symlink_to(tmp_path / "pictures")
    report = check(str(copied))
    assert "pictures: this is a link; it was not followed" in report.mismatches
    assert any("and it is missing" in one for one in report.mismatches)


def test_a_file_that_became_a_link_after_it_was_listed_is_not_read(
    copied: Path, tmp_path: Path
) -> None:
    source = check_export.Folder(str(copied))
    (tmp_path / "outside").write_text(SECRET)
    (copied / "README.txt").unlink()
    (copied / "README.txt").symlink_to(tmp_path / "outside")
    with pytest.raises(OSError), source.open("README.txt"):  # noqa: PT011 (each system has its own)
        pass


def test_what_is_no_file_is_not_opened(copied: Path) -> None:
    (copied / "README.txt").unlink()
    os.mkfifo(copied / "README.txt")
    os.mkfifo(copied / "papers" / "x.pdf")
    (copied / "manifest.note").unlink()
    (copied / "manifest.note").mkdir()
    (copied / "papers" / "deeper").mkdir()
    (copied / "papers" / "deeper" / "x.pdf").write_text("x")
    began = time.monotonic()
    found = told(check(str(copied)))
    assert time.monotonic() - began < 30
    assert found.count("this is neither a file nor a folder") == 2
    assert "manifest.note: this folder does not belong here" in found
    assert "papers/deeper: this folder does not belong here" in found
    source = check_export.Folder(str(copied))
    with pytest.raises(Unfit, match="no file"), source.open("README.txt"):
        pass


@pytest.mark.parametrize(
    "name",
    [
        "\x1b[2Jcleared",
        "a\nDOES AGREE",
        "\u202efdp.exe",
        ".hidden",
        "with space",
        "é.txt",
        "-rf",
        "a" * 240,
        "back\\slash",
        os.fsdecode(b"\xff\xfe"),
    ],
)
def test_names_that_no_export_has_are_told_and_cannot_steer_a_terminal(
    copied: Path, name: str
) -> None:
    (copied / "papers" / name).write_text("x")
    found = told(check(str(copied)))
    assert "no file of an export is called so; it was not read" in found
    assert all(line.isprintable() for line in found.splitlines())
    assert found.count("\nDOES AGREE") == 0


def test_names_that_are_one_on_other_machines_are_told(copied: Path) -> None:
    (copied / "RECORD.jsonl").write_text("x")
    (copied / "papers" / "X.pdf").write_text("x")
    (copied / "papers" / "x.PDF").write_text("x")
    found = told(check(str(copied)))
    assert found.count("on many machines this is the same name as") == 2


def test_more_files_than_an_export_has_are_not_read(
    copied: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_export, "MOST_FILES", 20)
    for number in range(60):
        (copied / "pictures" / f"{number}.jpg").write_text("x")
    assert "more than 20 files" in told(check(str(copied)))


def test_a_file_that_cannot_be_read_is_told(copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError

    report = check_export.Checker(check_export.Folder(str(copied)), check_export.NOTHING_ASKED)
    monkeypatch.setattr(check_export.os, "open", refuse)
    assert "this cannot be read" in told(report.run())


def test_files_that_are_too_large_are_not_read(
    copied: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_export, "LARGEST_FILE", 1_000)
    assert "record.jsonl: this is too large; it was not read" in told(check(str(copied)))
    monkeypatch.undo()
    monkeypatch.setattr(check_export, "MOST_BYTES", 100_000)
    assert "the export is too large; reading ended here" in told(check(str(copied)))
    monkeypatch.undo()
    monkeypatch.setattr(check_export, "LARGEST_PAPER", 1_000)
    assert "is larger than 1000 bytes" in told(check(str(copied)))


def test_a_file_that_grows_while_it_is_read_is_told(whole: Files, copied: Path) -> None:
    class Growing(check_export.Folder):
        def files(self, report: Report) -> dict[str, int]:
            return {name: min(size, 5) for name, size in super().files(report).items()}

    report = check_export.Checker(Growing(str(copied)), check_export.NOTHING_ASKED).run()
    assert report.ends_with == 1
    few = check_export.Export(Growing(str(copied)), Report(), {"README.txt": 5})
    with pytest.raises(Unfit, match="larger than 20"):
        few.read("README.txt", 20)


# ZIPs --------------------------------------------------------------------------------------------


def a_zip(path: Path, files: Files, *more: tuple[zipfile.ZipInfo, bytes]) -> Path:
    with warnings.catch_warnings(), zipfile.ZipFile(path, "w") as opened:
        warnings.simplefilter("ignore")
        for name, content in files.items():
            opened.writestr(name, content)
        for info, content in more:
            opened.writestr(info, content)
    return path


def a_member(name: str, *, mode: int = 0o100644, method: int = 0) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.external_attr = mode << 16
    info.compress_type = method
    return info


@pytest.mark.parametrize(
    ("info", "words"),
    [
        (a_member("../outside.txt"), "no file of an export is called so"),
        (a_member("/etc/outside.txt"), "no file of an export is called so"),
        (a_member("papers/../../outside.txt"), "no file of an export is called so"),
        (a_member("C:\\outside.txt"), "no file of an export is called so"),
        (a_member("papers/a/b.pdf"), "no file of an export is called so"),
        (a_member("other/"), "no file of an export is called so"),
        (a_member("record.jsonl"), "this name is in the ZIP twice"),
        (a_member("Record.jsonl"), "on many machines this is the same name"),
        (a_member("papers/x.pdf", mode=stat.S_IFLNK | 0o777), "this is a link or a device"),
        (a_member("papers/x.pdf", mode=stat.S_IFCHR | 0o666), "this is a link or a device"),
        (a_member("papers/x.pdf", method=zipfile.ZIP_BZIP2), "packed in a way"),
        (a_member("papers/x.pdf", method=zipfile.ZIP_LZMA), "packed in a way"),
        (a_member("papers/x.pdf"), "no entry of the record says"),
    ],
)
def test_members_of_a_zip_that_are_not_fit_are_told(
    whole: Files, tmp_path: Path, info: zipfile.ZipInfo, words: str
) -> None:
    path = a_zip(tmp_path / "x.zip", whole, (info, b"/etc/passwd"))
    report = check(str(path))
    assert report.ends_with == 1
    assert words in told(report)
    assert not (tmp_path.parent / "outside.txt").exists()


def test_folders_of_an_export_may_stand_in_its_zip(whole: Files, tmp_path: Path) -> None:
    path = a_zip(tmp_path / "x.zip", whole, (a_member("papers/", mode=0o40755), b""))
    assert check(str(path)).ends_with == 0


def test_a_name_that_is_cut_by_a_zero_byte_is_not_taken_for_what_is_left(
    whole: Files, tmp_path: Path
) -> None:
    few = {name: content for name, content in whole.items() if name != "README.txt"}
    path = a_zip(tmp_path / "x.zip", few, (a_member("README.txt0.pdf"), whole["README.txt"]))
    path.write_bytes(path.read_bytes().replace(b"README.txt0.pdf", b"README.txt\0.pdf"))
    assert check(str(path)).ends_with == 1


def test_a_zip_that_swells_is_not_unpacked(whole: Files, tmp_path: Path) -> None:
    bomb = a_member("papers/x.pdf", method=zipfile.ZIP_DEFLATED)
    path = a_zip(tmp_path / "x.zip", whole, (bomb, bytes(64 * 1024 * 1024)))
    began = time.monotonic()
    assert "would swell far beyond" in told(check(str(path)))
    assert time.monotonic() - began < 20


def test_a_member_that_holds_more_than_it_says_is_told(whole: Files, tmp_path: Path) -> None:
    path = a_zip(tmp_path / "x.zip", whole)
    content = bytearray(path.read_bytes())
    at = content.rfind(b"PK\x01\x02", 0, content.rfind(b"README.txt"))
    content[at + 24 : at + 28] = struct.pack("<L", 10)
    path.write_bytes(content)
    assert "README.txt" in told(check(str(path)))


def test_members_that_share_their_bytes_are_told(whole: Files, tmp_path: Path) -> None:
    path = a_zip(tmp_path / "x.zip", whole, (a_member("papers/x.pdf"), b"x" * 100))
    content = bytearray(path.read_bytes())
    at = content.rfind(b"PK\x01\x02", 0, content.rfind(b"papers/x.pdf"))
    content[at + 42 : at + 46] = struct.pack("<L", 0)
    path.write_bytes(content)
    assert check(str(path)).ends_with == 1


def test_a_member_that_is_encrypted_is_told(whole: Files, tmp_path: Path) -> None:
    path = a_zip(tmp_path / "x.zip", whole)
    content = bytearray(path.read_bytes())
    at = content.rfind(b"PK\x01\x02", 0, content.rfind(b"README.txt"))
    content[at + 8] |= 1
    path.write_bytes(content)
    assert "this is encrypted; it was not read" in told(check(str(path)))


def test_a_zip_with_a_table_that_would_fill_the_memory_is_not_opened(
    whole: Files, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = a_zip(tmp_path / "x.zip", whole)
    monkeypatch.setattr(check_export, "MOST_FILES", 1)
    with pytest.raises(Unfit, match="more than 1 files"):
        check(str(path))
    wide = struct.pack("<4sQHHLLQQQQ", b"PK\x06\x06", 44, 45, 45, 0, 0, 1, 1, 10**12, 0)
    end = struct.pack("<4sHHHHLLH", b"PK\x05\x06", 0, 0, 1, 1, 0xFFFFFFFF, 0, 0)
    path.write_bytes(bytes(100) + wide + end)
    with pytest.raises(Unfit, match="more than 1 files"):
        check(str(path))


@pytest.mark.parametrize("content", [b"", b"PK", b"x" * 100_000, b"PK\x05\x06" + bytes(18)])
def test_what_is_no_zip_is_told(
    tmp_path: Path, content: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    assert main([str(path)]) in {1, 2}
    assert capsys.readouterr().out != ""


@settings(max_examples=150)
@given(st.data())
def test_a_zip_that_is_broken_anywhere_is_told_and_breaks_nothing(data: st.DataObject) -> None:
    few: Files = {"manifest.json": b"{}", "README.txt": b"words " * 50, "papers/x.pdf": b"%PDF"}
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, part in few.items():
            opened.writestr(name, part)
    content = bytearray(written.getvalue())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    with tempfile.NamedTemporaryFile(suffix=".zip") as file:
        file.write(content[: data.draw(st.integers(10, len(content)))])
        file.flush()
        assert main([file.name]) in {1, 2}


# What is in the files ----------------------------------------------------------------------------

DEEP = b"[" * 200_000
NUMBERS = (b"1e999", b"-1e999", b"NaN", b"9" * 100_000, b"1" + b"0" * 30, b"0." + b"1" * 5_000)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\n" * 50,
        b"null",
        b"[]",
        b"{}",
        b'{"files": 7}',
        b'{"files":[{"path":1,"sha256":2,"size":true}]}',
        b'{"files":[{"path":"/etc/passwd","sha256":"x","size":1}]}',
        b'{"files":[{"path":"../x","sha256":"x","size":-1}]}',
        DEEP,
        b'{"a":' * 100_000,
        b"\xff\xfe",
        b'"\\ud800"',
        b'{"a":1,"a":1}',
        *NUMBERS,
    ],
    ids=lambda content: repr(content[:20]),
)
def test_no_content_of_any_file_breaks_the_check(
    sealed: SealedMeet, whole: Files, content: bytes
) -> None:
    """As the manifest, as the record, and as one of each other kind of file."""
    kinds = {name.split("/")[0] + name.rpartition(".")[2]: name for name in whole}
    for name in kinds.values():
        files = {**whole, name: content}
        if not name.startswith(("manifest", "record")):
            remanifest(files, sealed.seal.notes)
        report = checked(files, credulous=True)
        bound = name not in {"README.txt", "check.py"}
        assert report.ends_with == (1 if bound else 0), name


@pytest.mark.parametrize("part", [DEEP.decode(), *(one.decode() for one in NUMBERS), "{}", "\\"])
def test_no_line_of_a_record_breaks_the_check(whole: Files, part: str) -> None:
    lines = whole["record.jsonl"].splitlines(keepends=True)
    entry = json.loads(lines[3])
    for line in (
        part.encode(),
        json.dumps({**entry, "entry": part}).encode(),
        json.dumps({**entry, "body": part}).encode(),
        json.dumps({**entry, "salt": part[:1_000]}).encode(),
        json.dumps({**entry, "salt": 7}).encode(),
        json.dumps({**entry, "body": 7}).encode(),
        json.dumps({**entry, "more": 1}).encode(),
        json.dumps({"head": part[:100]}).encode(),
        b'{"head":{"meet":"x","size":true,"root":"x"}}',
        b'{"head":{"meet":"x","size":1,"root":"x"}}',
    ):
        files = {**whole, "record.jsonl": b"".join([*lines[:3], line + b"\n", *lines[4:]])}
        report = checked(files, credulous=True)
        assert any("line 4" in one for one in report.mismatches), line[:80]


def test_a_line_without_end_is_not_read_to_its_end(
    whole: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Longer than the head, whose length differs from run to run by the acts that it signs.
    monkeypatch.setattr(check_export, "LONGEST_LINE", 100_000)
    files = {**whole, "record.jsonl": b"x" * 1_000_000}
    assert "line 1: this line is too long; reading ended here" in told(checked(files))
    files = {**whole, "record.jsonl": whole["record.jsonl"].rstrip(b"\n")}
    assert "this line has no end" in told(checked(files))


def a_pdf(*ranges: str, contents: bytes = b"<30820000>") -> bytes:
    told_ranges = "".join(f"/ByteRange [{one}] " for one in ranges).encode()
    return b"%PDF-1.7 " + told_ranges + b"/Contents " + contents + b" %%EOF"


@pytest.mark.parametrize(
    "pdf",
    [
        b"",
        b"%PDF-1.7 no seal",
        a_pdf("0 10 20"),
        a_pdf("1 10 20 30"),
        a_pdf("0 0 20 30"),
        a_pdf("0 10 5 30"),
        a_pdf("0 10 20 999999999999"),
        a_pdf("0 999999999999 999999999999 999999999999"),
        a_pdf("0 9999999999999999999999 2 3"),
        a_pdf("0 -1 20 30"),
        a_pdf("0 10 20 30", "0 10 20 30"),
        a_pdf(*["0 10 20 30"] * 50),
        a_pdf("0" + " " * 1_000_000 + "10 20 30"),
        b"/ByteRange" * 200_000,
        b"/ByteRange [" * 200_000,
    ],
    ids=lambda pdf: repr(pdf[:60]),
)
def test_absurd_byte_ranges_are_refused_at_once(pdf: bytes) -> None:
    began = time.monotonic()
    with pytest.raises(Unfit):
        paper_seals(pdf)
    assert time.monotonic() - began < 5


def test_what_a_seal_leaves_out_is_the_seal_and_nothing_else() -> None:
    def sealed_over(contents: bytes, before: bytes = b"/Contents ") -> bytes:
        start = b"%PDF-1.7 /ByteRange [0 0000 0000 0006] " + before
        numbers = f"[0 {len(start):04} {len(start) + len(contents):04} 0006]".encode()
        return start.replace(b"[0 0000 0000 0006]", numbers) + contents + b" %%EOF"

    good = b"<3003020101" + b"00" * 40 + b">"
    wrong = {
        "not just the seal|no CMS": [b"(3003020101)", b"<>", b"<30"],
        "hex": [b"<30zz>", b"<300>"],
        "no CMS message": [b"<3003020101>", b"<0000>", b"<308500000000>"],
        "followed by something else, or cut off": [b"<308101ff01>", b"<3084ffffffff>"],
        "not just the seal": [b"<" + b"00" * 300_000 + b">"],
    }
    for words, contents in wrong.items():
        for one in contents:
            with pytest.raises(Unfit, match=words if len(one) < 1_000 else "not just|leaves"):
                paper_seals(sealed_over(one))
    with pytest.raises(Unfit, match="not its /Contents"):
        paper_seals(sealed_over(good, b"/Other "))
    short = b"<3081020101" + b"00" * 40 + b">"
    assert paper_seals(sealed_over(short))[0].message.hex() == "3081020101"


def test_what_follows_the_last_seal_is_found(whole: Files) -> None:
    pdf = next(content for name, content in whole.items() if name.startswith("papers/"))
    assert paper_seals(pdf)
    with pytest.raises(Unfit, match="does not cover the whole file"):
        paper_seals(pdf + b"\n")


@given(st.binary(max_size=400))
def test_no_bytes_break_what_reads_notes_keys_and_papers(data: bytes) -> None:
    text = data.decode("latin-1")
    for read, given_ in (
        (read_note, data),
        (read_verifier_key, text),
        (paper_seals, data),
        (read_canonical, text),
    ):
        try:
            read(given_)  # type: ignore[operator]
        except Unfit:
            continue


@settings(max_examples=60)
@given(st.data())
def test_whatever_is_written_over_a_file_is_found_and_breaks_nothing(
    whole: Files, data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from(sorted(set(whole) - {"manifest.json", "manifest.note"})))
    at = data.draw(st.integers(0, len(whole[name])))
    content = whole[name][:at] + data.draw(st.binary(max_size=50)) + whole[name][at:]
    content = content[: data.draw(st.integers(0, len(content)))]
    report = checked({**whole, name: content}, credulous=True)
    assert (report.ends_with == 0) == (content == whole[name])


def test_findings_without_end_are_counted_and_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_export, "MOST_FINDINGS", 3)
    report = Report()
    for number in range(10):
        report.mismatch(str(number), "wrong")
        report.explain(str(number), "strange")
        report.uncheck(str(number), "not looked at")
        report.tell(str(number))
    assert told(report).splitlines()[3] == "DOES NOT AGREE  and 7 more"
    assert told(report).splitlines()[-1] == "10 things do NOT agree."
    assert shown("x" * 700).endswith("x…")


# The checker's own RFC 8785 ----------------------------------------------------------------------


@given(DOCUMENTS)
def test_it_reads_and_writes_the_canonical_form_as_the_library_does(document: object) -> None:
    form = rfc8785.dumps(document).decode()  # type: ignore[arg-type]
    assert canonical(read_canonical(form)) == form


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_it_writes_numbers_as_ecmascript_does(number: float) -> None:
    assert as_ecmascript(number) == rfc8785.dumps([number]).decode()[1:-1]


def as_double_where_vast(text: str) -> float:
    return int(text) if abs(int(text)) < 2**53 else float(text)


@given(DOCUMENTS, st.data())
def test_any_other_form_is_refused(document: object, data: st.DataObject) -> None:
    form = rfc8785.dumps(document).decode()  # type: ignore[arg-type]
    at = data.draw(st.integers(0, len(form)))
    loose = f"{form[:at]} {form[at:]}"  # within a word it makes another document
    try:
        read = json.loads(loose, parse_int=as_double_where_vast)
        is_form = rfc8785.dumps(read).decode() == loose
    except ValueError:
        is_form = False
    if is_form:
        assert read_canonical(loose) == read
    else:
        with pytest.raises(Unfit):
            read_canonical(loose)


@pytest.mark.parametrize(
    "text",
    [
        '{"b":1,"a":1}',
        "1.0",
        "-0",
        "1e2",
        "9007199254740993",
        "1e16",
        '"\\u0041"',
        '{"\ufb33":1.5,"\U0001f600":1}',
        " 1",
    ],
)
def test_forms_that_json_allows_and_rfc_8785_does_not_are_refused(text: str) -> None:
    with pytest.raises(Unfit):
        read_canonical(text)


def test_the_order_of_names_is_that_of_utf_16() -> None:
    # Source: RFC 8785, 3.2.3: a name beyond the first 65,536 letters goes by its surrogates.
    assert read_canonical('{"\U0001f600":1,"\ufb33":2}') == {"\U0001f600": 1, "\ufb33": 2}
    assert sys.maxunicode == 0x10FFFF
