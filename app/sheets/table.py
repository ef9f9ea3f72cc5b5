"""Turning a CSV or XLSX file into a table with known columns.

Answers which kind of file this is, and whether each cell can be taken. Bytes are left to
`app.sheets.text_file` (RFC 4180) and `app.sheets.workbook` (ECMA-376), the header row to
`app.sheets.columns`, and what the cells say to `app.sheets.start_list` and
`app.sheets.finish_list`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.sheets.cells import (
    FORMULA,
    MISREAD_DATE,
    Grid,
    GridCell,
    GridRow,
    Moment,
    Unreadable,
    clean_text,
    is_formula,
)
from app.sheets.columns import NO_MAPPING, Columns, Layout, find_columns, fold_name
from app.sheets.limits import MAX_CELL_LENGTH, MAX_FILE_BYTES
from app.sheets.problems import Problem, ProblemList, SheetRefused
from app.sheets.text_file import read_text_grid

__all__ = ["NO_MAPPING", "Columns", "Problem", "Row", "SheetRefused", "Table", "read_table"]

# APPNOTE 4.3.6 and 4.3.7: a local file header, or the end record of an empty archive.
_ZIP_MARKS = (b"PK\x03\x04", b"PK\x05\x06")
# MS-CFB 2.2: the old .xls, and the wrapper of an XLSX with a password.
_COMPOUND_FILE_MARK = bytes.fromhex("D0CF11E0A1B11AE1")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the list. A column that the file lacks reads as "" when it is optional; a cell
    that could not be taken, and so already has its problem, is absent.
    """

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Table:
    """The list as text: our columns in the file's order, and the headers that are left aside."""

    header: tuple[str, ...]
    rows: tuple[Row, ...]
    ignored_columns: tuple[str, ...] = ()


def read_table(
    content: bytes,
    *,
    columns: Sequence[str],
    required: Sequence[str] = (),
    times: Sequence[str] = (),
    mapping: Mapping[str, str] = NO_MAPPING,
) -> tuple[Table, list[Problem]]:
    """The table and all that is wrong with its shape; raises SheetRefused when it is no table."""
    problems = ProblemList()
    table = fill_table(content, Columns(columns, required, times, mapping), problems)
    return table, list(problems.told())


def fill_table(content: bytes, columns: Columns, problems: ProblemList) -> Table:
    """As `read_table`, but adds to a list of problems that the caller goes on with."""
    grid = _read_grid(content, columns)
    header = next((row for row in grid.rows if not row.is_blank()), None)
    if header is None:
        raise SheetRefused("This file is empty. It needs a row of column names and the list.")
    layout = find_columns(header, columns, problems)
    filler = _Filler(layout, columns, problems)
    rows = filler.fill(grid)
    if not filler.rows_seen and (layout.missing or layout.ignored):
        _tell_of_single_row(header, problems)
    return Table(tuple(layout.places), rows, layout.ignored)


def _tell_of_single_row(header: GridRow, problems: ProblemList) -> None:
    problems.add(
        header.number,
        None,
        "Below this row there is nothing. If it holds the whole list, its line breaks were lost: "
        "save the list again, with a row for each team.",
    )


def _read_grid(content: bytes, columns: Columns) -> Grid:
    if len(content) > MAX_FILE_BYTES:
        raise SheetRefused(
            f"This file is larger than {MAX_FILE_BYTES // 1024**2} MiB. Split it by event and "
            "send the parts."
        )
    if content.startswith(_COMPOUND_FILE_MARK):
        raise SheetRefused(
            "This is an old .xls workbook or one with a password. Save it as XLSX without a "
            "password, or as CSV, and send that."
        )
    if content.startswith(_ZIP_MARKS):
        # Not at the top: the toolkit for workbooks costs a tenth of a cold start.
        from app.sheets.workbook import read_workbook_grid  # noqa: PLC0415

        return read_workbook_grid(content)
    names = columns.by_header()
    return read_text_grid(content, lambda title: fold_name(title) in names)


class _Filler:
    """Takes the rows cell by cell, and tells of each cell that cannot be taken."""

    def __init__(self, layout: Layout, columns: Columns, problems: ProblemList) -> None:
        self._layout = layout
        self._times = frozenset(columns.times)
        self._longest = columns.longest
        self._absent = {
            name: ""
            for name in columns.names
            if name not in layout.places and name not in layout.missing
        }
        self._problems = problems
        # Names repeat from row to row: each distinct text is cleaned, and kept, once.
        self._cleaned: dict[str, str | Unreadable] = {}
        self.rows_seen = 0

    def fill(self, grid: Grid) -> tuple[Row, ...]:
        """All rows that hold anything and have the right shape."""
        return tuple(
            self._fill_row(row)
            for row in grid.rows
            if not row.is_blank() and self._has_shape(row, grid.rows_may_be_short)
        )

    def _has_shape(self, row: GridRow, may_be_short: bool) -> bool:
        self.rows_seen += 1
        width = self._layout.width
        if len(row.cells) < width and not may_be_short:
            self._tell_of_shape(row, "fewer")
            return False
        if len(row.cells) > width and not GridRow(row.number, row.cells[width:]).is_blank():
            self._tell_of_shape(row, "more")
            return False
        return True

    def _tell_of_shape(self, row: GridRow, kind: str) -> None:
        self._problems.add(
            row.number,
            None,
            f"This row has {kind} cells than the header row ({len(row.cells)} against "
            f"{self._layout.width}). A comma or semicolon inside a cell, as in 42,35, needs "
            "quotation marks around the cell.",
        )

    def _fill_row(self, row: GridRow) -> Row:
        cells = dict(self._absent)
        for name, at in self._layout.places.items():
            taken = self._take(row.cells[at] if at < len(row.cells) else "", name)
            if isinstance(taken, Unreadable):
                self._problems.add(row.number, name, taken.why)
            else:
                cells[name] = taken
        return Row(row.number, cells)

    def _take(self, cell: GridCell, name: str) -> str | Unreadable:
        if isinstance(cell, Unreadable):
            return cell
        if isinstance(cell, Moment):
            return cell.text if name in self._times else MISREAD_DATE
        taken = self._cleaned.get(cell)
        if taken is None:
            taken = self._cleaned[cell] = _clean(cell)
        # Asked of the cleaned text: NFC can lengthen it (Unicode Standard Annex 15).
        longest = self._longest.get(name, MAX_CELL_LENGTH)
        if isinstance(taken, str) and len(taken) > longest:
            return Unreadable(
                f"This cell holds {len(taken):,} characters; a {name} takes at most {longest}. "
                "Shorten it."
            )
        return taken


def _clean(cell: str) -> str | Unreadable:
    taken = clean_text(cell)
    return FORMULA if isinstance(taken, str) and is_formula(taken) else taken
