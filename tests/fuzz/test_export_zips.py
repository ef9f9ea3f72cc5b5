"""Exports as ZIPs that were spoilt, or built to be read in two ways: none agrees where a byte has
changed that any program reads, and nothing is taken beyond bounds.

Offsets of fields are those of the ZIP format's description (APPNOTE 4.3.7, 4.3.12 and 4.3.16).
"""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from hypothesis import strategies as st

from app.exporting.check_export import NOTHING_ASKED, Checker, Report, Unfit, open_export
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import Credulous
from tests.fuzz.bounds import MIB, within
from tests.fuzz.budget import tried
from tests.fuzz.mutating import mutated, with_one_byte_turned

SECONDS, MEBIBYTES = 20, 256
HEAD, ROW, END = 30, 46, 22
WITHOUT_MEANING = {
    HEAD: {4, 5, *range(10, 14)},
    ROW: {*range(4, 8), *range(12, 16), *range(36, 42)},
}
"""By which version and when it was packed, and what it may on the packer's machine."""


class Zip(bytes):
    """A ZIP that agrees; what fails is told without all that is in it."""

    def __repr__(self) -> str:
        return f"<{len(self)} bytes>"


@pytest.fixture(scope="module")
def whole(sealed: SealedMeet, tmp_path_factory: pytest.TempPathFactory) -> Zip:
    path = tmp_path_factory.mktemp("zipped") / "export.zip"
    sealed.export(path)
    return Zip(path.read_bytes())


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "export.zip"


def check_calmly(path: Path, content: bytes) -> Report | None:
    """What is found, each with its place; None where it cannot be opened, and why was said."""
    path.write_bytes(content)
    with within(SECONDS, MEBIBYTES):
        report = found_in(path)
    for one in report.mismatches if report else ():
        assert all(one.partition(": ")), one
    return report


def found_in(path: Path) -> Report | None:
    with ExitStack() as opened:
        try:
            source = opened.enter_context(open_export(str(path)))
        except Unfit as error:
            assert str(error)  # noqa: PT017 (it may or may not be raised)
            return None
        checker = Checker(source, NOTHING_ASKED)
        checker.openssl = Credulous()
        return checker.run()


def agrees(report: Report | None) -> bool:
    return report is not None and report.ends_with == 0


def records(content: bytes) -> Iterator[tuple[int, int]]:
    """Where each head, each row of the table and the end begin, and which they are."""
    with zipfile.ZipFile(io.BytesIO(content)) as opened_:
        yield from ((info.header_offset, HEAD) for info in opened_.infolist())
        at = opened_.start_dir
        for info in opened_.infolist():
            yield at, ROW
            at += ROW + len(info.orig_filename) + len(info.extra)
        yield at, END


def fields(content: bytes) -> list[int]:
    """Every place with a meaning in the heads, in the table and in the end."""
    return [
        begin + at
        for begin, kind in records(content)
        for at in range(kind)
        if at not in WITHOUT_MEANING.get(kind, ())
    ]


def test_the_good_zip_agrees(whole: Zip, path: Path) -> None:
    assert agrees(check_calmly(path, whole))


@tried(80, data=st.data())
def test_a_byte_of_a_head_that_is_another_is_told(
    whole: Zip, path: Path, data: st.DataObject
) -> None:
    content = data.draw(with_one_byte_turned(whole, fields(whole)))
    assert not agrees(check_calmly(path, content))


@tried(60, data=st.data())
def test_a_spoilt_zip_is_told(whole: Zip, path: Path, data: st.DataObject) -> None:
    content = data.draw(mutated([whole]))
    if agrees(check_calmly(path, content)):
        assert without_what_means_nothing(content) == without_what_means_nothing(whole)


def without_what_means_nothing(content: bytes) -> bytes:
    bare = bytearray(content)
    for begin, kind in records(content):
        for at in WITHOUT_MEANING.get(kind, ()):
            bare[begin + at] = 0
    return bytes(bare)


FIELD = st.sampled_from([0, 1, 7, 22, 30, 0xFF, 0x7FFF, 0xFFFF])
WIDE = st.sampled_from([0, 1, 30, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFE, 0xFFFFFFFF, 2**63, 2**64 - 1])


@tried(60, data=st.data())
def test_a_zip_with_an_end_of_any_numbers_is_told(
    whole: Zip, path: Path, data: st.DataObject
) -> None:
    """Also with the end of the wide form before it, which overrules the other."""
    numbers = [data.draw(FIELD) for _ in range(4)]
    end = struct.pack("<4s4H2LH", b"PK\5\6", *numbers, *_narrow(data), data.draw(FIELD))
    wide = struct.pack(
        "<4sQ2H2L4Q", b"PK\6\6", 44, 45, 45, 0, 0, *(data.draw(WIDE) for _ in range(4))
    )
    locator = struct.pack("<4sLQL", b"PK\6\7", 0, data.draw(WIDE), 1)
    before = wide + locator if data.draw(st.booleans()) else b""
    assert not agrees(check_calmly(path, whole[:-END] + before + end))


def _narrow(data: st.DataObject) -> list[int]:
    return [min(data.draw(WIDE), 0xFFFFFFFF) for _ in range(2)]


def test_zips_that_are_built_to_swell_are_told_at_once(whole: Zip, path: Path) -> None:
    """Zeros without end, a ZIP within a ZIP within a ZIP, and a size that is none."""
    for name in ("record.jsonl", "manifest.json", "papers/x.pdf", "check.py"):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as swelling:
            swelling.writestr(name, bytes(40 * MIB))
        assert not agrees(check_calmly(path, out.getvalue()))
    content: bytes = whole
    for _ in range(4):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as around:
            around.writestr("record.jsonl", content)
            around.writestr("manifest.json", content)
        content = out.getvalue()
        assert not agrees(check_calmly(path, content))


@pytest.mark.parametrize("before", [True, False])
def test_two_exports_in_one_file_are_told(whole: Zip, path: Path, before: bool) -> None:
    assert not agrees(check_calmly(path, whole + whole))
    assert not agrees(check_calmly(path, whole + whole[-END:]))
