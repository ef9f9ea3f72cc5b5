"""A page as somebody reads it: its texts, each with the language that it is marked to be in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

_EMPTY = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"}
_UNREAD = {"script", "style", "template", "code", "pre"}
_SAID = ("aria-label", "alt", "placeholder", "title")


@dataclass(frozen=True, slots=True)
class Text:
    """A text of a page; what people wrote is set apart by `bdi` or `dir="auto"`."""

    words: str
    language: str
    is_of_people: bool


@dataclass(frozen=True, slots=True)
class _Within:
    tag: str
    language: str
    is_of_people: bool
    is_read: bool


@dataclass
class _Reader(HTMLParser):
    """Gathers the texts of a page."""

    found: list[Text] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()
        self._open = [_Within("", "", is_of_people=False, is_read=True)]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        around = self._open[-1]
        within = _Within(
            tag,
            told.get("lang") or around.language,
            around.is_of_people or tag == "bdi" or told.get("dir") == "auto",
            around.is_read and tag not in _UNREAD,
        )
        for name in _SAID:
            if name in told:
                self._hear(told[name], within)
        if tag not in _EMPTY:
            self._open.append(within)

    def handle_endtag(self, tag: str) -> None:
        while len(self._open) > 1 and self._open.pop().tag != tag:
            pass

    def handle_data(self, data: str) -> None:
        self._hear(data, self._open[-1])

    def _hear(self, text: str, within: _Within) -> None:
        words = " ".join(text.split())
        if words and within.is_read:
            self.found.append(Text(words, within.language, within.is_of_people))


def texts_of(page: str) -> Iterator[Text]:
    """All that a page says, in its order, without its scripts and what is typed word for word."""
    reader = _Reader()
    reader.feed(page)
    reader.close()
    yield from reader.found
