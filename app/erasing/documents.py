"""Walking the documents that rows and bodies hold, value by value."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from app.erasing.what import place_of

Texts = Iterator[tuple[str, str]]


def texts_of(document: Any, place: str) -> Texts:
    """Every text of a document with its place."""
    if isinstance(document, str):
        yield place, document
    elif isinstance(document, dict):
        for key, value in document.items():
            yield from texts_of(value, place_of(key, place))
    elif isinstance(document, list):
        for value in document:
            yield from texts_of(value, place)


def rewritten(document: Any, place: str, change: Callable[[str, str], str]) -> Any:
    """The document with each text as `change` gives it, from its place and what it was."""
    if isinstance(document, str):
        return change(place, document)
    if isinstance(document, dict):
        return {
            key: rewritten(value, place_of(key, place), change) for key, value in document.items()
        }
    if isinstance(document, list):
        return [rewritten(value, place, change) for value in document]
    return document
