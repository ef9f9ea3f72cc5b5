"""Every text that a request can carry, marked: what the service takes as it is can be looked for.

A mark is hung onto each text of a document. Where the service refuses one, since a text is of a
closed list or has a form, that text is sent without. So what carries a mark in the end is what
anybody can write what they like into, whoever adds a field.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import httpx

NOT_TEXT = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|\d{4}-\d\d-\d\d.*")
LETS_IN = {"pin", "token", "session"}
Pointer = tuple[str | int, ...]


class Marking(httpx.BaseTransport):
    """Sends what it is given, with a mark on every text that the service lets anybody choose.

    `marks` are those that were taken, with the field that they stand in; `elsewhere` those that
    another meet than `meet` has taken.
    """

    def __init__(self) -> None:
        self._way = httpx.HTTPTransport(limits=httpx.Limits(keepalive_expiry=2))
        self._given: dict[tuple[str, str], str] = {}
        self.marks: dict[str, str] = {}
        self.elsewhere: dict[str, str] = {}
        self.meet = ""
        self.is_on = True

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        body = request.read()
        is_json = request.headers.get("content-type", "").startswith("application/json")
        if not (self.is_on and is_json and request.method in {"PUT", "POST"}):
            return self._way.handle_request(request)
        document = json.loads(body)
        marked = dict(self._marks_for(request.url.path, document))
        while True:
            answer = self._send(request, _with(document, marked))
            if answer.status_code != 422 or not marked:
                break
            refused = _fields(answer)
            gone = [place for place in marked if _pointer(place).startswith(refused)]
            for place in gone or list(marked):
                del marked[place]
        if answer.is_success:
            elsewhere = self.meet not in request.url.path and "/meets/" in request.url.path
            taken = self.elsewhere if elsewhere else self.marks
            taken.update({mark: _name(request, place) for place, mark in marked.items()})
        return answer

    def new_mark(self, field: str) -> str:
        """A mark for what is sent in a file."""
        mark = f"Mörkel{len(self._given) + 1:04d}ß"
        self._given[field, mark] = mark
        self.marks[mark] = field
        return mark

    def _marks_for(self, path: str, document: Any) -> Iterator[tuple[Pointer, str]]:
        for place, text in _texts(document, ()):
            if place[-1] in LETS_IN or not text or NOT_TEXT.fullmatch(text):
                continue
            key = (path, f"{_pointer(place)}={text}")  # the same again is the same
            self._given.setdefault(key, f"Mörkel{len(self._given) + 1:04d}ß")
            yield place, self._given[key]

    def _send(self, request: httpx.Request, document: Any) -> httpx.Response:
        content = json.dumps(document).encode()
        headers = [(k, v) for k, v in request.headers.raw if k.lower() != b"content-length"]
        again = httpx.Request(request.method, request.url, headers=headers, content=content)
        answer = self._way.handle_request(again)
        answer.read()
        return answer

    def close(self) -> None:
        self._way.close()


def _texts(value: Any, place: Pointer) -> Iterator[tuple[Pointer, str]]:
    if isinstance(value, str):
        yield place, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _texts(inner, (*place, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _texts(inner, (*place, number))


def _with(document: Any, marked: dict[Pointer, str]) -> Any:
    copy = json.loads(json.dumps(document))
    for place, mark in marked.items():
        inside = copy
        for step in place[:-1]:
            inside = inside[step]
        inside[place[-1]] = f"{inside[place[-1]]} {mark}"
    return copy


def _pointer(place: Pointer) -> str:
    return "".join(f"/{step}" for step in place)


def _fields(answer: httpx.Response) -> tuple[str, ...]:
    """The pointers (RFC 6901) that a refusal names."""
    told = answer.json()
    pointers = [told.get("field", ""), *(one["pointer"] for one in told.get("errors", []))]
    return tuple(pointer for pointer in pointers if pointer)


def _name(request: httpx.Request, place: Pointer) -> str:
    """Where a mark stands: the route's last word, and the field."""
    words = [word for word in request.url.path.split("/") if not NOT_TEXT.fullmatch(word)]
    return f"{words[-1]}: {_pointer(place)}"
