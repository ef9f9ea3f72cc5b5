"""Is this table of a rule book well formed? Refuses whatever is not, with its place in the file.

A page is one TOML table. Each value is taken from it once; leaving the page refuses what nobody
asked for. Values that stand alone come as `{ value = …, source = "…" }`. What values mean, and
whether they agree with each other, is for `book_reading.py`.
"""

from collections.abc import Mapping
from datetime import date, datetime
from enum import StrEnum
from math import isfinite
from types import TracebackType
from typing import Self, TypeVar

Choice = TypeVar("Choice", bound=StrEnum)


class BookRefused(ValueError):
    """A rule book is incomplete, contradictory or unknown; `place` says where in which file."""

    def __init__(self, place: str, problem: str) -> None:
        super().__init__(f"{place}: {problem}")
        self.place = place
        self.problem = problem


class Page:
    """One table of a book, with its place and the sources that its values name."""

    def __init__(
        self, file: str, path: str, values: Mapping[str, object], sources: dict[str, str]
    ) -> None:
        self.file = file
        self.path = path
        self.sources = sources
        self._values = dict(values)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        if error is None and self._values:
            unknown = min(self._values)
            raise self.refusal(unknown, "is unknown here; take it out or mend its name")

    def __contains__(self, key: str) -> bool:
        return key in self._values

    def refusal(self, key: str, problem: str) -> BookRefused:
        """The error that a value of this page causes."""
        return BookRefused(f"{self.file}: {self._path_to(key)}", problem)

    def text(self, key: str) -> str:
        """A text with something in it."""
        value = self._take(key)
        if not isinstance(value, str) or not value.strip():
            raise self.refusal(key, "must be a text that is not empty")
        return value

    def flag(self, key: str) -> bool:
        """True or false."""
        value = self._take(key)
        if not isinstance(value, bool):
            raise self.refusal(key, "must be true or false")
        return value

    def number(self, key: str, least: float, most: float) -> float:
        """A finite number within bounds."""
        value = _finite(self._take(key))
        if value is None:
            raise self.refusal(key, "must be a number")
        if not least <= value <= most:
            raise self.refusal(key, f"must lie between {least:g} and {most:g}, not {value:g}")
        return value

    def number_or(self, key: str, word: str, least: float, most: float) -> float | None:
        """A finite number, or None where the agreed word stands in its place."""
        if self._values.get(key) == word:
            del self._values[key]
            return None
        return self.number(key, least, most)

    def whole(self, key: str, least: int, most: int) -> int:
        """A whole number within bounds."""
        value = self.number(key, least, most)
        if not value.is_integer():
            raise self.refusal(key, f"must be a whole number, not {value:g}")
        return int(value)

    def whole_or(self, key: str, word: str, least: int, most: int) -> int | None:
        """A whole number, or None where the agreed word stands in its place."""
        if self._values.get(key) == word:
            del self._values[key]
            return None
        return self.whole(key, least, most)

    def day(self, key: str) -> date:
        """A day of the calendar, without a time."""
        value = self._take(key)
        if not isinstance(value, date) or isinstance(value, datetime):
            raise self.refusal(key, "must be a date such as 2025-11-01")
        return value

    def day_or(self, key: str, word: str) -> date | None:
        """A day, or None where the agreed word stands in its place."""
        if self._values.get(key) == word:
            del self._values[key]
            return None
        return self.day(key)

    def choice(self, key: str, among: type[Choice]) -> Choice:
        """One of a closed list of words."""
        value = self._take(key)
        if not isinstance(value, str) or value not in list(among):
            raise self.refusal(key, f"must be one of: {', '.join(among)}")
        return among(value)

    def source(self) -> str:
        """The page's own source, which is kept under the page's path."""
        self.sources[self.path] = text = self.text("source")
        return text

    def page(self, key: str) -> "Page":
        """A table inside this one."""
        value = self._take(key)
        if not isinstance(value, dict):
            raise self.refusal(key, "must be a table of its own")
        return Page(self.file, self._path_to(key), value, self.sources)

    def pages(self, key: str) -> "list[Page]":
        """The tables of a list, at least one."""
        values = self._take(key)
        if not isinstance(values, list) or not values:
            raise self.refusal(key, "must be a list of tables, and not empty")
        return [self._page_in(key, number, value) for number, value in enumerate(values, 1)]

    def _page_in(self, key: str, number: int, value: object) -> "Page":
        if not isinstance(value, dict):
            raise self.refusal(f"{key}[{number}]", "must be a table")
        return Page(self.file, self._path_to(f"{key}[{number}]"), value, self.sources)

    def _take(self, key: str) -> object:
        if key not in self._values:
            raise self.refusal(key, "is missing")
        return self._values.pop(key)

    def _path_to(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key


def _finite(value: object) -> float | None:
    """A number as a float; None for what is none, or has no end."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:  # a whole one of some hundred digits
        return None
    return number if isfinite(number) else None
