"""What does a paper tell, and for whose acts is it sealed?

A seal says in its own words whose act it attests, so that a reader of PDFs shows it beside the
paper. Where nobody signed, as with a protest that the desk took in, it attests what stands in the
record.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.forms.form_facts import InfringementForm
from app.forms.paper import Paper
from app.forms.record_head import UNKNOWN_HEAD
from app.forms.remedy_paper import RemedyPaper
from app.forms.report_form import ReportForm
from app.forms.result_sheet import ResultSheet
from app.forms.signature_section import SHA256_OF_STATEMENT, Signature
from app.record.kinds import Kind
from app.sealing.left_rows import Drawn

Facts = TypeVar("Facts", InfringementForm, RemedyPaper, ReportForm, ResultSheet)


@dataclass(frozen=True, slots=True)
class Act:
    """A signed act that the paper is sealed for: whose, and what it was, in words.

    Where the sheet keeps a box for its `role`, the seal shows the lines of `shown` there.
    """

    name: str
    reason: str
    role: str = ""
    shown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Kept:
    """What was fixed when an act was signed, as it is stored now, and where the record tells of it.

    `act` is the id of what was signed, `kind` and `about` are the record's entry and its subject;
    `form_sha256` reckons the part of the facts that the statement names, None where it names none.
    """

    act: str
    kind: Kind
    about: str
    statement_sha256: str
    facts: Mapping[str, Any]
    form_sha256: Callable[[Mapping[str, Any]], str] | None = None


@dataclass(frozen=True, slots=True)
class Told(Generic[Facts]):
    """What a paper tells: its facts, and for whose acts it is sealed, first to last; and what it
    was drawn from: `kept` where that was fixed when the act was signed, else ordinary rows, read
    once more by `drawn` where it is to be sealed.
    """

    facts: Facts
    acts: tuple[Act, ...]
    place: str
    time_zone: str
    kept: Kept | None = None
    drawn: Callable[[Connection], Iterable[Drawn]] | None = None

    @property
    def document(self) -> dict[str, Any]:
        """All of it but when and at which head of the record it is printed."""
        facts = replace(self.facts, printed_at="", head=UNKNOWN_HEAD)
        return {"acts": _dumped(self.acts), "told": _dumped(facts)}


def _dumped(value: object) -> Any:
    kind: Any = type(value)
    return _adapter(kind).dump_python(value, mode="json")


@cache
def _adapter(kind: type) -> TypeAdapter[Any]:
    """Made once a kind of facts: making one takes longer than all it is used for."""
    return TypeAdapter(kind)


@dataclass(frozen=True, slots=True)
class Wanted(Generic[Facts]):
    """Which paper somebody asks for, how what it tells is gathered, and how it is drawn."""

    kind: str
    subject: str
    gather: Callable[[Connection, datetime], Told[Facts]]
    draw: Callable[[Facts, Paper], bytes]


def acts_signed(what: str, signatures: Sequence[Signature]) -> tuple[Act, ...]:
    """The acts of those who signed on a device, as the sheet itself tells them."""
    return tuple(
        Act(
            f"{one.name}, {one.role}",
            f"{what}; signed {one.at}: {one.how}. {SHA256_OF_STATEMENT}: {one.digest}",
        )
        for one in signatures
    )


def as_recorded(what: str, meet: str) -> tuple[Act, ...]:
    """That it stands so in the meet's record, where nobody has signed it on a device."""
    return (Act(meet, f"{what}, as it stands in the record"),)
