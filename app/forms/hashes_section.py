"""By what can a reader of a paper check that it tells what was recorded?

The hashes of the entries that the paper was drawn from, of what was signed, of pictures and of
sealed papers (SHA-256, FIPS 180-4, in hexadecimal), whose seal it bears, and the record's head with
its QR code. Each begins in groups of four, to be read out, and stands in full to be compared.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.plain_table import Heading, PlainTable, write_plain_table
from app.forms.record_head import PrintedHead, beside_code, write_record_head
from app.forms.sheet_parts import BODY, GAP, SMALL, say
from app.forms.signature_section import group_digest
from app.forms.typesetting import Segment

ENTRIES = (
    Heading("entry", 0.07, Weight.BOLD),
    Heading("kind", 0.2),
    Heading("recorded", 0.19),
    Heading("leaf hash: how it begins, and in full", 0.54),
)
DIGESTS = (Heading("what", 0.46), Heading("SHA-256: how it begins, and in full", 0.54))


@dataclass(frozen=True, slots=True)
class EntryOnPaper:
    """An entry of the record: its number, its kind, when it was recorded, and its leaf hash."""

    number: str
    kind: str
    at: str
    leaf: str


@dataclass(frozen=True, slots=True)
class Digest:
    """A SHA-256 in hexadecimal, and what it is of."""

    what: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Hashes:
    """All that is listed, and sentences that say how it is checked."""

    entries: tuple[EntryOnPaper, ...]
    statements: tuple[Digest, ...]
    pictures: tuple[Digest, ...]
    papers: tuple[Digest, ...]
    seals: tuple[Digest, ...]
    how_to_check: tuple[str, ...]


def write_hashes(flow: Flow, hashes: Hashes, head: PrintedHead) -> None:
    """How to check, beside the head's code; then all hashes."""
    with beside_code(flow, head):
        flow.label("How to check it", BODY)
        for number, sentence in enumerate(hashes.how_to_check, 1):
            flow.number(number, say(sentence, "how to check"), BODY)
        flow.skip(GAP * 0.6)
        write_record_head(flow, head)
        if head.root:
            flow.write([Segment(f"Root in full: {head.root}", "record head")], SMALL)
    flow.skip(GAP)
    _write_entries(flow, hashes.entries)
    _write_digests(flow, "The seal of this file: its certificate's fingerprint", hashes.seals)
    _write_digests(flow, "Statements that were signed", hashes.statements)
    _write_digests(flow, "Pictures, as they came", hashes.pictures)
    _write_digests(flow, "Sealed papers about it", hashes.papers)


def _write_entries(flow: Flow, entries: Sequence[EntryOnPaper]) -> None:
    rows = [(one.number, one.kind, one.at, _in_two(one.leaf)) for one in entries]
    write_plain_table(flow, PlainTable("entries", ENTRIES, rows, SMALL, "Entries of the record"))
    flow.skip(GAP)


def _write_digests(flow: Flow, title: str, digests: Sequence[Digest]) -> None:
    if not digests:
        return
    rows = [(one.what, _in_two(one.sha256)) for one in digests]
    write_plain_table(flow, PlainTable(title.lower(), DIGESTS, rows, SMALL, title))
    flow.skip(GAP)


def _in_two(digest: str) -> str:
    return f"{group_digest(digest)}\n{digest}" if digest else ""
