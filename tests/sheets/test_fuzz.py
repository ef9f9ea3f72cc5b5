"""Whatever bytes come in, the answer is a list, problems or a refusal, never a breakdown."""

from __future__ import annotations

import io
import zipfile

from hypothesis import given, settings
from hypothesis import strategies as st

from app.sheets.finish_list import read_finish_list
from app.sheets.problems import Problem
from app.sheets.start_list import read_start_list
from app.sheets.table import SheetRefused
from tests.sheets.builders import a_row, as_csv, as_xlsx, inline, pack, parts_of_workbook

GOOD_ROWS = [a_row(lane, scheduled="14:20", leg1="Ana", time="42.35") for lane in (3, 4, 5)]
GOOD_CSV = as_csv(GOOD_ROWS)
GOOD_XLSX = as_xlsx(GOOD_ROWS)
HAND_MADE = parts_of_workbook(
    f'<row r="1">{inline("lane")}{inline("time")}</row>'
    '<row r="2"><c r="A2" t="s"><v>0</v></c><c r="B2" s="1"><v>0.0021</v></c></row>'
    '<row r="3"><c r="A3"><f>1+1</f><v>2</v></c><c r="B3" t="e"><v>#REF!</v></c></row>',
    strings="<si><r><t>4</t></r><rPh><t>x</t></rPh></si>",
    styles='<numFmts><numFmt numFmtId="164" formatCode="mm:ss.00"/></numFmts>'
    '<cellXfs><xf numFmtId="0"/><xf numFmtId="164"/></cellXfs>',
)


def parts_of(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def answer_calmly(content: bytes) -> None:
    """Read as both kinds of list; every problem is a sentence with a way out."""
    for read in (read_start_list, read_finish_list):
        problems: tuple[Problem, ...]
        try:
            problems = read(content)[1]
        except SheetRefused as refusal:
            problems = refusal.problems
            assert problems
        for problem in problems:
            assert problem.problem.endswith(".")
            problem.problem.encode("utf-8")


@st.composite
def mutated(draw: st.DrawFn, good: bytes) -> bytes:
    """The good bytes with some of them changed, dropped, doubled or put in."""
    content = bytearray(good)
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(content)))
        until = at + draw(st.integers(0, 8))
        content[at:until] = draw(st.binary(max_size=8) | st.just(bytes(content[at:until]) * 2))
    return bytes(content)


STARTS = st.sampled_from([b"", b"PK\x03\x04", b"\xff\xfe", b"\xef\xbb\xbf", b"lane,time\r\n"])


@settings(deadline=None, max_examples=200)
@given(STARTS, st.binary(max_size=2000))
def test_random_bytes_are_answered_calmly(start: bytes, rest: bytes) -> None:
    answer_calmly(start + rest)


@settings(deadline=None, max_examples=150)
@given(mutated(GOOD_CSV))
def test_a_damaged_csv_is_answered_calmly(content: bytes) -> None:
    answer_calmly(content)


@settings(deadline=None, max_examples=150)
@given(mutated(GOOD_XLSX))
def test_a_damaged_archive_is_answered_calmly(content: bytes) -> None:
    answer_calmly(content)


@settings(deadline=None, max_examples=250)
@given(st.data())
def test_a_workbook_with_a_damaged_part_is_answered_calmly(data: st.DataObject) -> None:
    made = {name: text.encode() for name, text in HAND_MADE.items()}
    parts = data.draw(st.sampled_from([made, parts_of(GOOD_XLSX)]))
    name = data.draw(st.sampled_from(sorted(parts)))
    answer_calmly(pack(parts | {name: data.draw(mutated(parts[name]))}))


@settings(deadline=None, max_examples=250)
@given(
    st.lists(
        st.lists(st.text(max_size=10) | st.sampled_from(["1", "4", "Heats", "4x100"]), max_size=6),
        max_size=6,
    )
)
def test_any_text_under_the_right_header_is_answered_calmly(rows: list[list[str]]) -> None:
    header = ["event", "round", "heat", "lane", "team", "time"]
    answer_calmly(as_csv([dict(zip(header, [*row, *[""] * 6], strict=False)) for row in rows]))


def test_the_unchanged_files_are_good() -> None:
    for content in (GOOD_CSV, GOOD_XLSX):
        found, problems = read_start_list(content)
        assert problems == ()
        assert len(found.heats[0].entries) == 3
