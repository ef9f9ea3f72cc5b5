"""Building sheets for the tests: as CSV, as XLSX by a reference library, and XLSX part by part."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import TypeAlias

import openpyxl  # type: ignore[import-untyped]

Value: TypeAlias = str | int | float | None

_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"


def a_row(lane: int = 4, /, **changes: Value) -> dict[str, Value]:
    """One good row of a start list, with changes."""
    row: dict[str, Value] = {
        "event": "Women 4x100",
        "round": "Heats",
        "heat": 1,
        "lane": lane,
        "team": f"Team {lane}",
        "affiliation": f"Club {lane}",
        "bib": f"00{lane}",
    }
    return row | changes


def as_csv(
    rows: Sequence[Mapping[str, Value]],
    *,
    delimiter: str = ",",
    encoding: str = "utf-8",
    line_end: str = "\r\n",
    quoting: int = csv.QUOTE_MINIMAL,
) -> bytes:
    """The rows as CSV with a header of all their keys, by the standard library's writer."""
    out = io.StringIO(newline="")
    header = list(dict.fromkeys(key for row in rows for key in row))
    if quoting == csv.QUOTE_ALL:
        writer = csv.writer(
            out, delimiter=delimiter, lineterminator=line_end, quoting=csv.QUOTE_ALL
        )
    else:
        writer = csv.writer(out, delimiter=delimiter, lineterminator=line_end)
    writer.writerow(header)
    writer.writerows([row.get(key, "") for key in header] for row in rows)
    return out.getvalue().encode(encoding)


def as_xlsx(rows: Sequence[Mapping[str, Value]]) -> bytes:
    """The rows as XLSX, written by openpyxl."""
    header = list(dict.fromkeys(key for row in rows for key in row))
    book = openpyxl.Workbook()
    book.active.append(header)
    for row in rows:
        book.active.append([row.get(key) for key in header])
    return save(book)


def save(book: openpyxl.Workbook) -> bytes:
    """The bytes of an openpyxl workbook."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def parts_of_workbook(
    sheet_data: str,
    *,
    strings: str = "",
    styles: str = "",
    sheets: str = '<sheet name="List" sheetId="1" r:id="r1"/>',
    properties: str = "",
) -> dict[str, str]:
    """The parts of the smallest workbook that ECMA-376 allows, with the given contents."""
    return {
        "[Content_Types].xml": '<Types xmlns="'
        'http://schemas.openxmlformats.org/package/2006/content-types"/>',
        "_rels/.rels": f'<Relationships xmlns="{_RELATIONS}"><Relationship Id="a" '
        f'Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {_MAIN} xmlns:r="{_OFFICE}">{properties}'
        f"<sheets>{sheets}</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_RELATIONS}">'
        f'<Relationship Id="r1" Type="{_OFFICE}/worksheet" Target="worksheets/one.xml"/>'
        f'<Relationship Id="r2" Type="{_OFFICE}/worksheet" Target="/xl/worksheets/two.xml"/>'
        f'<Relationship Id="r3" Type="{_OFFICE}/sharedStrings" Target="strings.xml"/>'
        f'<Relationship Id="r4" Type="{_OFFICE}/styles" Target="styles.xml"/></Relationships>',
        "xl/worksheets/one.xml": f"<worksheet {_MAIN}><sheetData>{sheet_data}</sheetData>"
        "</worksheet>",
        "xl/worksheets/two.xml": f"<worksheet {_MAIN}><sheetData/></worksheet>",
        "xl/strings.xml": f"<sst {_MAIN}>{strings}</sst>",
        "xl/styles.xml": f"<styleSheet {_MAIN}>{styles}</styleSheet>",
    }


def pack(parts: Mapping[str, str | bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip archive of the parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def inline(text: str) -> str:
    """A cell that holds its text itself."""
    return f'<c t="inlineStr"><is><t>{text}</t></is></c>'
