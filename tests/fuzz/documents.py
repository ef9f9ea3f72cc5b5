"""JSON documents in which one thing is another than it was: of another type, too much, or gone."""

from __future__ import annotations

import copy
import json
import random
from typing import Any

Steps = tuple[str | int, ...]

DEEP = json.loads("[" * 70 + "]" * 70)
GONE = object()
INSTEAD: tuple[Any, ...] = (
    *(None, True, 0, -1, 1.5, 2**53 - 1, -1e22, 1e300, GONE),
    *("", "x", "x" * 5_000, "\0", "\u202e", "0" * 64, "../x", "9" * 400),
    *("2026-06-13T10:00:00.000000Z", "9999-99-99T99:99:99.999999Z", "01a21ab8-daeb-745e-8bd4-5"),
    *([], {}, [[]], [None], [{}], {"id": []}, ["x"] * 1_000, DEEP),
)


def steps_in(value: object, path: Steps = ()) -> list[Steps]:
    """The path of everything within a document."""
    inside: list[tuple[str | int, object]] = []
    if isinstance(value, dict):
        inside = list(value.items())
    elif isinstance(value, list):
        inside = list(enumerate(value))
    below = [step for key, part in inside for step in steps_in(part, (*path, key))]
    return [*((*path, key) for key, _ in inside), *below]


def with_something_else(chance: random.Random, document: Any) -> Any:
    """The document with another value in one place, or one of its values in two."""
    places = steps_in(document)
    other = _at(document, chance.choice(places))
    value = other if chance.random() < 0.3 else chance.choice(INSTEAD)
    return put(document, chance.choice(places), value)


def put(document: Any, path: Steps, value: object) -> Any:
    """A copy of the document with this value there."""
    changed = copy.deepcopy(document)
    holder = _at(changed, path[:-1])
    if value is GONE:
        del holder[path[-1]]
    else:
        holder[path[-1]] = copy.deepcopy(value)
    return changed


def _at(document: Any, path: Steps) -> Any:
    for step in path:
        document = document[step]
    return document
