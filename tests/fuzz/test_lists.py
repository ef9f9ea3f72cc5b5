"""Lists that were spoilt or made to do harm: start lists, finish lists, crews and officials, as CSV
and as XLSX. Each is answered with a list or with sentences that say where, within bounds.
"""

from __future__ import annotations

import csv
import io
import zipfile
from xml.sax.saxutils import escape

import pytest
from hypothesis import strategies as st

from app.sheets.crew_list import read_crew_list
from app.sheets.finish_list import read_finish_list
from app.sheets.limits import MAX_FILE_BYTES
from app.sheets.officials_list import read_officials_list
from app.sheets.problems import Problem, SheetRefused
from app.sheets.start_list import read_start_list
from tests.fuzz.bounds import within
from tests.fuzz.budget import tried
from tests.fuzz.mutating import HOSTILE, mutated
from tests.sheets.builders import a_row, as_csv, as_xlsx, inline, pack, parts_of_workbook

ROWS = {
    "start list": [a_row(lane, scheduled="14:20", leg1="Ana Öre") for lane in (3, 4, 5)],
    "finish list": [
        {"lane": lane, "time": f"42.3{lane}", "status": "", "place": lane} for lane in (3, 4, 5)
    ],
    "crew": [
        {"official": "Nora Zone", "take_over": 1, "edge": "end", "lanes": "1-4", "side": "inside"},
        {"official": "Ben Edge", "take_over": 2, "edge": "start", "lanes": "5, 7", "side": ""},
    ],
    "officials": [
        {"name": "Nora Zone", "roles": "umpire", "affiliation": "Harbour"},
        {"name": "Ben Edge", "roles": "umpire, referee", "affiliation": ""},
    ],
}
READERS = {
    "start list": read_start_list,
    "finish list": read_finish_list,
    "crew": read_crew_list,
    "officials": read_officials_list,
}
ENCODED = ("utf-8-sig", "utf-16", "utf-16-be", "utf-32", "cp1252", "utf-7", "cp037")
SECONDS, MEBIBYTES = 5, 64
AT_THE_LIMITS = (30, 512)
"""Of what is as large as a list may be: far more than it takes, and less than a server has."""

kinds = pytest.mark.parametrize("kind", READERS)


def read_calmly(
    kind: str, content: bytes, seconds: float = SECONDS, mebibytes: int = MEBIBYTES
) -> tuple[Problem, ...]:
    """What is wrong with a file: whole sentences, each with its place where it has one."""
    with within(seconds, mebibytes):
        problems = problems_in(kind, content)
    for one in problems:
        assert one.problem.endswith("."), one
        assert one.row is None or one.row >= 1
        one.problem.encode()
    return problems


def problems_in(kind: str, content: bytes) -> tuple[Problem, ...]:
    try:
        problems: tuple[Problem, ...] = READERS[kind](content)[-1]
    except SheetRefused as refused:
        return refused.problems or (Problem(0, None, "nothing is told"),)
    return problems


def parts_of(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


CSV = {kind: as_csv(rows) for kind, rows in ROWS.items()}
XLSX = {kind: as_xlsx(rows) for kind, rows in ROWS.items()}
PARTS = {kind: parts_of(content) for kind, content in XLSX.items()}


@kinds
def test_the_good_lists_are_good(kind: str) -> None:
    assert read_calmly(kind, CSV[kind]) == ()
    assert read_calmly(kind, XLSX[kind]) == ()


@kinds
@tried(80, data=st.data())
def test_a_spoilt_list_is_answered_in_words(kind: str, data: st.DataObject) -> None:
    encoded = [CSV[kind].decode().encode(name, "replace") for name in ENCODED]
    read_calmly(kind, data.draw(mutated([CSV[kind], *encoded])))


@kinds
@tried(40, data=st.data())
def test_a_spoilt_archive_is_answered_in_words(kind: str, data: st.DataObject) -> None:
    read_calmly(kind, data.draw(mutated([XLSX[kind]])))


@kinds
@tried(40, data=st.data())
def test_a_workbook_with_a_spoilt_part_is_answered_in_words(kind: str, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(PARTS[kind])))
    read_calmly(kind, pack(PARTS[kind] | {name: data.draw(mutated([PARTS[kind][name]]))}))


WRITTEN = st.sampled_from(
    [
        *("", "1", "4-8", "0x1", "١", "½", "1e400", "42,35", "1:02:03.4", "DNF", "24:00", "umpire"),
        *("2026-06-13T24:00", "9999-12-31 23:59", "=1", "-1", "-", "+", "\ufeff", "\x85", "ﬀ", "İ"),
    ]
) | st.text(max_size=12)


@kinds
@tried(80, data=st.data())
def test_whatever_stands_under_the_right_names_is_answered_in_words(
    kind: str, data: st.DataObject
) -> None:
    """And the same is said of the same cells in a workbook, where that can hold them."""
    names = list(ROWS[kind][0])
    cells = st.lists(WRITTEN, min_size=len(names), max_size=len(names))
    more = [dict(zip(names, one, strict=True)) for one in data.draw(st.lists(cells, max_size=5))]
    rows = [{name: str(ROWS[kind][0][name]) for name in names}, *more]
    told = read_calmly(kind, as_csv(rows, quoting=csv.QUOTE_ALL))
    in_workbook = read_calmly(kind, pack(parts_of_workbook(a_sheet(rows))))
    if all(holds_as_it_is(text) for row in more for text in row.values()):
        assert in_workbook == told


def a_sheet(rows: list[dict[str, str]]) -> str:
    written = [list(rows[0]), *(list(row.values()) for row in rows)]
    return "".join(f"<row>{''.join(inline(escape(one)) for one in row)}</row>" for row in written)


def holds_as_it_is(text: str) -> bool:
    """Whether XML can hold a text, and a workbook takes nothing in it for an escaped letter."""
    return text.isprintable() and "_x" not in text


ATTRIBUTES = st.dictionaries(
    st.sampled_from(["r", "t", "s", "x:y", "ref", "hidden", "numFmtId", "formatCode"]),
    st.sampled_from(
        [
            *("A1", "ZZZ9", "XFD1048577", "", "s", "b", "e", "d", "n", "inlineStr", "-1", "9" * 30),
            *("1", "0", "0.00", "[h]:mm:ss.000", "yyyy", "#" * 300, "mm:ss.0;" * 9),
        ]
    ),
    max_size=3,
)
TEXTS = st.sampled_from(
    [
        *("", "lane", "time", "name", "4", "-1", "1e400", "0.5", "2958466", "-1e-5", "_x0000_"),
        *("_xD800_", "&#xD7FF;", "&lt;", "Ana", "]]&gt;", "9" * 5000),
    ]
)
NAMES = ("row", "c", "v", "f", "is", "t", "si", "rPh", "xf", "numFmt", "cellXfs", "x:c")


def an_element(content: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    def written(name: str, attributes: dict[str, str], inside: list[str]) -> str:
        told = "".join(f' {key}="{value}"' for key, value in attributes.items())
        return f"<{name}{told}>{''.join(inside)}</{name}>"

    return st.builds(written, st.sampled_from(NAMES), ATTRIBUTES, st.lists(content, max_size=4))


ELEMENTS = st.lists(st.recursive(TEXTS, an_element, max_leaves=12), max_size=5).map("".join)


@kinds
@tried(60, sheet=ELEMENTS, strings=ELEMENTS, styles=ELEMENTS)
def test_a_workbook_of_any_elements_within_each_other_is_answered_in_words(
    kind: str, sheet: str, strings: str, styles: str
) -> None:
    head = f"<row>{''.join(map(inline, ROWS[kind][0]))}</row>"
    parts = parts_of_workbook(head + sheet, strings=strings, styles=styles)
    read_calmly(kind, pack(parts | {"xl/worksheets/two.xml": parts["xl/workbook.xml"]}))


MILLIONS = {
    "empty columns": b"," * 1_000_000,
    "columns": b"a," * 1_000_000,
    "rows": b"a\n" * 1_000_000,
    "quotation marks": b'"' * 1_000_001,
    "line ends": b"\r" * 1_000_000,
    "letters": b"a" * 1_000_000,
    "spaces": b" " * 1_000_000,
    "zero bytes": b"a,b\n" + bytes(1_000_000),
    "marks": b"\xef\xbb\xbf" * 300_000,
}


@kinds
@pytest.mark.parametrize("what", MILLIONS)
def test_a_million_of_anything_is_refused_in_words(kind: str, what: str) -> None:
    """Only of cells without anything there may be as many as there are: they are no columns."""
    assert read_calmly(kind, MILLIONS[what])
    assert bool(read_calmly(kind, CSV[kind] + MILLIONS[what])) == (what != "empty columns")


@kinds
def test_a_list_as_large_as_any_may_be_is_answered_in_words(kind: str) -> None:
    head, line, *_ = CSV[kind].splitlines(keepends=True)
    content = head + line * 49_000
    assert len(content) < MAX_FILE_BYTES
    read_calmly(kind, content, *AT_THE_LIMITS)
    assert read_calmly(kind, content + bytes(MAX_FILE_BYTES))


@kinds
def test_a_row_of_very_many_cells_in_a_workbook_is_refused_in_words(kind: str) -> None:
    cells = f"<row>{inline('lane')}{'<c><v>1</v></c>' * 300_000}</row>"
    assert read_calmly(kind, pack(parts_of_workbook(cells)), *AT_THE_LIMITS)


@kinds
def test_a_zip_within_a_zip_is_no_list(kind: str) -> None:
    content = XLSX[kind]
    for _ in range(5):
        content = pack({"xl/workbook.xml": content, "[Content_Types].xml": content})
        assert read_calmly(kind, content)


@kinds
@pytest.mark.parametrize("hostile", HOSTILE, ids=lambda one: repr(one[:12]))
def test_what_readers_stumble_over_is_answered_in_words_in_every_cell(
    kind: str, hostile: bytes
) -> None:
    text = hostile.decode("utf-8", "replace")
    for name in ROWS[kind][0]:
        read_calmly(kind, as_csv([{**ROWS[kind][0], name: text}, *ROWS[kind][1:]]))
