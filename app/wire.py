"""What all documents over HTTP share: the base model, and what text people may send."""

from __future__ import annotations

import json
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
)
from pydantic_core import CoreSchema, PydanticKnownError

from app.refusals import Malformed
from app.visible import find_unseen, shows_something

EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
LATEST = datetime(2100, 1, 1, tzinfo=UTC)

# RFC 3339, section 5.6: date-time, full-date.
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?"
    r"([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def _take_as_they_are(part: Any, document: Any) -> None:
    """Mark all numbers and truth values in a part of a document's schema.

    Documents inside it are left alone: each has marked its own.
    """
    if isinstance(part, dict):
        if part.get("type") == "model" and part["cls"] is not document:
            return
        if part.get("type") in {"int", "float", "bool"}:
            part["strict"] = True
        for inner in part.values():
            _take_as_they_are(inner, document)
    elif isinstance(part, list):
        for inner in part:
            _take_as_they_are(inner, document)


class Wire(BaseModel):
    """A document as it goes over HTTP. Unknown fields are refused, so that a slip is noticed.

    Numbers and truth values are taken as they are: `true` is no metre, and "2" no number. A whole
    number may stand where a fraction is meant.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        # Not by the setting `strict`: it would refuse the texts of times and of choices as well.
        schema = handler(source)
        _take_as_they_are(schema, cls)
        return schema


def _names_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read = dict(pairs)
    if len(read) != len(pairs):
        names = Counter(name for name, _value in pairs)
        twice = next(name for name, given in names.items() if given > 1)
        raise Malformed(
            f"“{twice[:60]}” is given more than once in one object of this document. Send it once. "
            "Nothing was stored."
        )
    return read


_READ_NAMES = json.JSONDecoder(object_pairs_hook=_names_once)


def insist_names_once(body: bytes) -> None:
    """Malformed where an object of a JSON text has a name twice; nothing where it is no JSON.

    RFC 8259, section 4, leaves open which of the two counts: of two verdicts one would be signed,
    and the other be what somebody read.
    """
    with suppress(ValueError, RecursionError):
        _READ_NAMES.decode(body.decode(json.detect_encoding(body), "surrogatepass"))


def shown(*examples: Mapping[str, Any]) -> ConfigDict:
    """The setting that puts examples of a document into the description of the service."""
    return ConfigDict(json_schema_extra={"examples": [dict(one) for one in examples]})


def _clean(text: str, *, lines: bool) -> str:
    text = text.replace("\r\n", "\n").strip()
    if text.isascii() and text.isprintable():
        return (
            text  # nearly all words of a report; looking at each letter took longer than all else
        )
    text = unicodedata.normalize("NFC", text)
    unseen = find_unseen(text.replace("\n", " ") if lines else text)
    if unseen is not None:
        raise ValueError(
            f"the character U+{ord(unseen):04X} cannot be kept: people would not see it; leave "
            "it out"
        )
    if text and not shows_something(text):
        raise ValueError("nothing of this can be seen; write letters, digits or signs")
    return text


def clean_line(text: str) -> str:
    """One line of text in NFC that people can see, or none; ValueError otherwise."""
    return _clean(text, lines=False)


def clean_words(text: str) -> str:
    """Text of several lines in NFC that people can see, or none; ValueError otherwise."""
    return _clean(text, lines=True)


def sane_instant(instant: datetime) -> datetime:
    """An instant between 2000 and 2100, in UTC; a phone's clock may be wrong, not absurd."""
    if not EARLIEST <= instant < LATEST:
        raise ValueError("this time lies outside the years 2000 to 2099")
    return instant.astimezone(UTC)


def _time_text(said: object) -> object:
    """Text of RFC 3339 only; a number would be taken for seconds or for milliseconds."""
    if isinstance(said, datetime) or (isinstance(said, str) and _TIME.fullmatch(said)):
        return said
    raise PydanticKnownError("datetime_parsing", {"error": "not of RFC 3339"})


def _day_text(said: object) -> object:
    """Text of RFC 3339 only."""
    if isinstance(said, date) or (isinstance(said, str) and _DAY.fullmatch(said)):
        return said
    raise PydanticKnownError("date_parsing", {"error": "not of RFC 3339"})


def four_to_twelve_figures(pin: str) -> str:
    """A PIN of 4 to 12 figures; ValueError otherwise."""
    if not (4 <= len(pin) <= 12 and pin.isascii() and pin.isdecimal()):
        raise ValueError("a PIN is 4 to 12 figures, without blanks")
    return pin


Name = Annotated[str, AfterValidator(clean_line), Field(min_length=1, max_length=120)]
OptionalName = Annotated[str, AfterValidator(clean_line), Field(max_length=120)]
Receipt = Annotated[str, AfterValidator(clean_line), Field(min_length=1, max_length=60)]
Words = Annotated[str, AfterValidator(clean_words), Field(max_length=4000)]
Reasons = Annotated[str, AfterValidator(clean_words), Field(min_length=3, max_length=4000)]
Day = Annotated[date, BeforeValidator(_day_text)]
PhoneTime = Annotated[AwareDatetime, BeforeValidator(_time_text), AfterValidator(sane_instant)]
Lane = Annotated[int, Field(ge=1, le=10, strict=True)]
Pin = Annotated[
    str,
    AfterValidator(four_to_twelve_figures),
    Field(examples=["480213"], json_schema_extra={"pattern": "^[0-9]{4,12}$"}),
]


class PhoneClock(Wire):
    """A phone's clock when it wrote something, and what it knew of its error."""

    at: PhoneTime = Field(description="the phone's own time, with its zone offset")
    offset_ms: Annotated[int, Field(ge=-86_400_000_000, le=86_400_000_000)] | None = Field(
        default=None, description="server time minus phone time, as last measured"
    )
    error_ms: Annotated[int, Field(ge=0, le=3_600_000)] | None = Field(
        default=None, description="half the round trip of that measurement"
    )

    def by_the_server(self) -> datetime:
        """The same instant by the server's clock; the phone's own time where none was measured."""
        return self.at + timedelta(milliseconds=self.offset_ms or 0)
