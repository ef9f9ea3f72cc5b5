"""Finding our columns in the header row of somebody else's sheet.

Answers where each column stands, which headers are left aside, and what is wrong with the header:
a required column missing, a column there twice, a mapping that leads nowhere, no header at all.
Header names are compared without regard to case, white space, hyphens and underscores (common
practice).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from app.sheets.cells import MISREAD_DATE, GridCell, GridRow, Unreadable, clean_text
from app.sheets.problems import Problem, ProblemList, SheetRefused, show

NO_MAPPING: Mapping[str, str] = MappingProxyType({})
_TITLES_LISTED = 12


@dataclass(frozen=True, slots=True)
class Columns:
    """What a list looks for: names, which of them must be there, and which may hold times.
    `mapping` leads from a header in the file to one of our names. Of `one_of` at least one must be
    there. `longest` says how many characters a column takes, where that is fewer than any cell may
    have.
    """

    names: Sequence[str]
    required: Sequence[str]
    times: Sequence[str]
    mapping: Mapping[str, str]
    one_of: Sequence[str] = ()
    longest: Mapping[str, int] = field(default_factory=dict)

    def by_header(self) -> dict[str, str]:
        """Folded header to column. Once a column is mapped, its own name no longer counts."""
        mapped = set(self.mapping.values())
        names = {fold_name(name): name for name in self.names if name not in mapped}
        return names | {fold_name(theirs): ours for theirs, ours in self.mapping.items()}


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each of our columns stands, how wide the list is, which headers are not ours, and
    which columns have been told to be missing.
    """

    places: Mapping[str, int]
    width: int
    ignored: tuple[str, ...]
    missing: tuple[str, ...]


def fold_name(name: str) -> str:
    """A column's name without regard to case, white space and what joins words: "Leg 1" is "leg1",
    "take-over" is "take_over".
    """
    return "".join(name.casefold().split()).replace("_", "").replace("-", "")


def find_columns(header: GridRow, columns: Columns, problems: ProblemList) -> Layout:
    """The layout under this header. Of a column that is there twice, the first place counts.

    Raises SheetRefused where the row is no header: it holds one cell, and that is no column.
    """
    titles = _read_titles(header, problems)
    names = columns.by_header()
    ours = [names.get(fold_name(title)) for title in titles]
    _refuse_single_cell(titles, ours, header.number)
    places: dict[str, int] = {}
    for at, name in enumerate(ours):
        if name is not None and name in columns.names:
            places.setdefault(name, at)
    _tell_of_mapping(titles, columns, problems)
    _tell_of_doubled(ours, header.number, problems)
    missing = [name for name in columns.required if name not in places]
    _tell_of_missing(titles, missing, header, problems)
    if columns.one_of and places.keys().isdisjoint(columns.one_of):
        _tell_of_none(titles, columns.one_of, header, problems)
        missing += columns.one_of
    ignored = [_name_title(titles, at) for at, name in enumerate(ours) if name not in places]
    return Layout(places, len(titles), tuple(ignored), tuple(missing))


def tell_of_unknown(ignored: Sequence[str]) -> tuple[Problem, ...]:
    """What stands against columns that nobody knows, in lists where one may well have been meant:
    hours, say, that would then bind nobody.
    """
    if not ignored:
        return ()
    names = ", ".join(ignored)
    why = f"These columns are not known: {names}. Correct their names, or leave them out."
    return (Problem(1, None, why),)


def _read_titles(header: GridRow, problems: ProblemList) -> list[str]:
    titles = [
        _read_title(cell, at, header.number, problems) for at, cell in enumerate(header.cells)
    ]
    while titles and not titles[-1]:
        titles.pop()
    return titles


def _read_title(cell: GridCell, at: int, row: int, problems: ProblemList) -> str:
    taken = clean_text(cell) if isinstance(cell, str) else cell
    if isinstance(taken, str):
        return taken
    why = taken.why if isinstance(taken, Unreadable) else MISREAD_DATE.why
    problems.add(row, f"column {at + 1}", why)
    return f"(column {at + 1}, unreadable)"


def _refuse_single_cell(titles: Sequence[str], ours: Sequence[str | None], row: int) -> None:
    named = [title for title in titles if title]
    if len(named) == 1 and not any(ours):
        raise SheetRefused(
            "The first row must hold the names of the columns, with commas, semicolons or tabs "
            f"between them. Here it holds only {show(named[0])}. Delete what stands above the "
            "names, or save the list again as CSV or XLSX.",
            row=row,
        )


def _name_title(titles: Sequence[str], at: int) -> str:
    return titles[at] or f"(column {at + 1}, without a name)"


def _tell_of_mapping(titles: Sequence[str], columns: Columns, problems: ProblemList) -> None:
    present = {fold_name(title) for title in titles}
    for theirs, ours in columns.mapping.items():
        wish = f"The column {show(theirs)} is to be read as {show(ours)}, but"
        if ours not in columns.names:
            choice = ", ".join(columns.names)
            problems.add(None, ours, f"{wish} this list has no such column. Choose from {choice}.")
        elif fold_name(theirs) not in present:
            problems.add(
                None, ours, f"{wish} the file has no such column. It has {_list_titles(titles)}."
            )


def _tell_of_doubled(ours: Sequence[str | None], row: int, problems: ProblemList) -> None:
    for name, times in Counter(ours).items():
        if name is not None and times > 1:
            problems.add(
                row,
                name,
                f"The column {name} is there {times} times. Keep one, and delete or rename the "
                "others.",
            )


def _tell_of_missing(
    titles: Sequence[str], missing: Sequence[str], header: GridRow, problems: ProblemList
) -> None:
    for name in missing:
        problems.add(header.number, name, f"The column {name} is missing. {_way_out(titles, name)}")


def _tell_of_none(
    titles: Sequence[str], names: Sequence[str], header: GridRow, problems: ProblemList
) -> None:
    choice = f"{', '.join(names[:-1])} and {names[-1]}"
    problems.add(
        header.number,
        names[0],
        f"None of the columns {choice} is there. {_way_out(titles, names[0])}",
    )


def _way_out(titles: Sequence[str], name: str) -> str:
    return (
        f"Name it in the header row. The file has {_list_titles(titles)}. A program that sends it "
        f'can say which of your columns holds it: columns={{"your name for it":"{name}"}}.'
    )


def _list_titles(titles: Sequence[str]) -> str:
    named = [show(title) for title in titles if title]
    more = f" and {len(named) - _TITLES_LISTED} more" if len(named) > _TITLES_LISTED else ""
    return ", ".join(named[:_TITLES_LISTED]) + more
