"""ZIPs that other programs would unpack otherwise than they were checked, and exports that cannot
be read: what is wrong is told, and nothing falls over.
"""

from __future__ import annotations

import os
import struct
import zipfile
from pathlib import Path
from zlib import crc32

import pytest

from app.exporting import check_export
from app.exporting.check_export import Report, check, main
from tests.exporting.tampering import Files, read_files

UNICODE_PATH, TIMES = 0x7075, 0x5455
"""Ids of further fields, from the list of the ZIP format's description (APPNOTE 4.5.2, 4.6.9)."""


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


def a_zip(path: Path, files: Files, extra: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as opened:
        for name, content in files.items():
            info = zipfile.ZipInfo(name)
            info.extra = extra.get(name, b"")
            opened.writestr(info, content)
    return path


def a_field(ident: int, content: bytes) -> bytes:
    return struct.pack("<HH", ident, len(content)) + content


def named_anew(name: str, other: str) -> bytes:
    """A Unicode Path field: version, CRC-32 of the name in the head, and the name that counts."""
    return a_field(UNICODE_PATH, struct.pack("<BL", 1, crc32(name.encode())) + other.encode())


def test_a_zip_whose_files_change_places_when_they_are_unpacked_does_not_agree(
    whole: Files, tmp_path: Path
) -> None:
    one, other = [name for name in sorted(whole) if name.startswith("papers/")][:2]
    swapped = {one: named_anew(one, other), other: named_anew(other, one)}
    report = check(str(a_zip(tmp_path / "x.zip", whole, swapped)))
    found = [place for place in report.mismatches if "its heads in the ZIP hold something" in place]
    assert len(found) == 2


def test_a_second_name_in_the_head_before_the_content_alone_does_not_agree(
    whole: Files, tmp_path: Path
) -> None:
    content = a_field(TIMES, bytes(5))
    path = a_zip(tmp_path / "x.zip", whole, {"README.txt": content})
    data = path.read_bytes()
    at = data.find(b"README.txt" + content) + len("README.txt")
    path.write_bytes(data[:at] + struct.pack("<H", UNICODE_PATH) + data[at + 2 :])
    assert any(one.startswith("README.txt: its heads") for one in check(str(path)).mismatches)


def test_the_times_that_packers_write_beside_a_file_are_nothing_amiss(
    whole: Files, tmp_path: Path
) -> None:
    beside = a_field(TIMES, bytes(5)) + a_field(0x7875, bytes(11)) + a_field(0x000A, bytes(32))
    path = a_zip(tmp_path / "x.zip", whole, dict.fromkeys(whole, beside))
    assert check(str(path)).ends_with == 0


def test_fields_that_are_cut_off_or_too_long_do_not_agree(whole: Files, tmp_path: Path) -> None:
    for beside in (a_field(TIMES, bytes(5)) + b"xy", a_field(TIMES, bytes(200))):
        path = a_zip(tmp_path / "x.zip", whole, {"README.txt": beside})
        assert any("its heads in the ZIP" in one for one in check(str(path)).mismatches)


def with_table(path: Path, *, row: bytes = b"", offset: int | None = None) -> Path:
    """The ZIP with another offset of its table, or with its table's first row made anew."""
    data = path.read_bytes()
    end = data.rfind(b"PK\x05\x06")
    _, start = struct.unpack("<LL", data[end + 12 : end + 20])
    table, last = data[start:end], bytearray(data[end:])
    if row:
        named, beside, said = struct.unpack("<HHH", table[28:34])
        table = row + table[46 + named + beside + said :]
    struct.pack_into("<LL", last, 12, len(table), start if offset is None else start + offset)
    path.write_bytes(data[:start] + table + bytes(last))
    return path


def far_away(path: Path, offset: int) -> bytes:
    """The table's first row, saying in its 64 bits that the file lies far outside."""
    data = path.read_bytes()
    end = data.rfind(b"PK\x05\x06")
    start = struct.unpack("<L", data[end + 16 : end + 20])[0]
    row = bytearray(data[start : start + 46])
    named = struct.unpack("<H", row[28:30])[0]
    beside = a_field(1, struct.pack("<Q", offset))
    struct.pack_into("<H", row, 30, len(beside))
    struct.pack_into("<L", row, 42, 0xFFFFFFFF)
    return bytes(row) + data[start + 46 : start + 46 + named] + beside


@pytest.mark.parametrize("offset", [2**64 - 5, 2**63 - 1, 2**40])
def test_a_file_that_lies_outside_of_its_zip_is_told(
    whole: Files, tmp_path: Path, offset: int, capsys: pytest.CaptureFixture[str]
) -> None:
    path = a_zip(tmp_path / "x.zip", whole, {})
    with_table(path, row=far_away(path, offset))
    assert main([str(path)]) == 1
    assert "this lies outside of the ZIP; it was not read" in capsys.readouterr().out


@pytest.mark.parametrize("offset", [5_000, -5_000, 10**9])
def test_a_zip_whose_table_lies_elsewhere_is_told(
    whole: Files, tmp_path: Path, offset: int
) -> None:
    path = with_table(a_zip(tmp_path / "x.zip", whole, {}), offset=offset)
    assert main([str(path)]) in {1, 2}


def test_a_folder_that_may_not_be_read_is_told(
    copied: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = os.scandir

    def refusing(path: str) -> object:
        if path.endswith("papers"):
            raise PermissionError(path)
        return read(path)

    monkeypatch.setattr(check_export.os, "scandir", refusing)
    report: Report = check(str(copied))
    assert "papers: this folder cannot be read (PermissionError)" in report.unchecked
    assert any(
        "the manifest names this file, and it is missing" in one for one in report.mismatches
    )


FIELDS = {"flags": 6, "method": 8, "sum": 14, "packed size": 18, "size": 22}
"""Where they stand in the head before a file's content (APPNOTE 4.3.7)."""


@pytest.mark.parametrize("field", FIELDS)
def test_a_head_that_says_something_else_than_the_table_does_not_agree(
    whole: Files, tmp_path: Path, field: str
) -> None:
    """By a smaller size, who unpacks as it comes finds a further file within a picture's bytes."""
    path = a_zip(tmp_path / "x.zip", whole, {})
    with zipfile.ZipFile(path) as opened:
        at = opened.getinfo("README.txt").header_offset
    content = bytearray(path.read_bytes())
    content[at + FIELDS[field]] ^= 1
    path.write_bytes(content)
    words = "README.txt: its head in the ZIP says something else than the table"
    assert words in check(str(path)).mismatches


NUMBERS = {"disk": 4, "files here": 8, "files": 10, "size of the table": 12, "words behind": 20}
"""Where they stand in the end of a ZIP (APPNOTE 4.3.16)."""


@pytest.mark.parametrize("number", NUMBERS)
def test_an_end_that_says_something_else_than_what_lies_before_it_does_not_agree(
    whole: Files, tmp_path: Path, number: str
) -> None:
    """By a smaller number of files, some programs leave the last one out."""
    path = a_zip(tmp_path / "x.zip", whole, {})
    content = bytearray(path.read_bytes())
    content[len(content) - 22 + NUMBERS[number]] ^= 1
    path.write_bytes(content)
    assert main([str(path)]) in {1, 2}


def test_a_last_row_that_says_it_is_longer_than_the_table_does_not_agree(
    whole: Files, tmp_path: Path
) -> None:
    path = a_zip(tmp_path / "x.zip", whole, {})
    content = bytearray(path.read_bytes())
    for length in (28, 30, 32):  # of the name, of the further fields, of the comment
        longer = bytearray(content)
        longer[content.rindex(b"PK\x01\x02") + length] += 16  # always longer, whatever was last
        path.write_bytes(longer)
        assert "its end says something else" in str(check(str(path)).mismatches), length


@pytest.mark.parametrize("at", [0, 20, 28, 36, 44, 52, 60, 68, 76])
def test_a_zip_with_an_end_of_the_wide_form_agrees_where_that_says_what_is_so(
    whole: Files, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """The form for very many files; each of its numbers in turn is another (APPNOTE 4.3.14, 15)."""
    monkeypatch.setattr(zipfile, "ZIP_FILECOUNT_LIMIT", 3)
    path = a_zip(tmp_path / "x.zip", whole, {})
    content = bytearray(path.read_bytes())
    assert content[-98:-94] == b"PK\x06\x06"
    assert main([str(path)]) == 0
    content[len(content) - 98 + at] ^= 1
    path.write_bytes(content)
    assert main([str(path)]) in {1, 2}


def test_what_follows_a_file_tells_its_sizes_or_does_not_agree(
    whole: Files, tmp_path: Path
) -> None:
    """Where a ZIP was packed into a pipe: no sum before it, but in a descriptor behind it."""
    name, content = "README.txt", whole["README.txt"]
    told = struct.pack("<LLL", crc32(content), len(content), len(content))
    for behind, agrees in ((told, True), (b"PK\7\x08" + told, True), (bytes(12), False)):
        path = tmp_path / "x.zip"
        with zipfile.ZipFile(path, "w") as opened:
            for other in sorted(whole, key=lambda one: one != name):
                opened.writestr(other, whole[other])
                if other == name:
                    opened.fp.write(behind)  # type: ignore[union-attr]
                    opened.start_dir += len(behind)
                    opened.infolist()[0].flag_bits |= 8
        as_piped = bytearray(path.read_bytes())
        as_piped[6] |= 8
        as_piped[14:22] = bytes(8)  # what packs a file of a known size tells that before
        path.write_bytes(as_piped)
        assert (main([str(path)]) == 0) == agrees
