"""The page of hashes: by what each thing that a file tells can be held against the record."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime

from app.casefiles.scope import Scope
from app.casefiles.told_cases import Cases
from app.clock import at_the_meet
from app.exporting.queries import Recorded
from app.forms.hashes_section import Digest, EntryOnPaper, Hashes
from app.meets.queries import MeetFacts
from app.record.kinds import Kind
from app.record.merkle import leaf_hash

HOW_TO_CHECK = (
    "This file: open it in a PDF reader that shows signatures, or run “pdfsig” on it. It must say "
    "that the signature is valid and that the whole file is signed. The certificate's SHA-256 "
    "fingerprint must be the one below, and the one that the organiser tells you by another way.",
    "What it tells: ask the head official or the jury for the ZIP that goes with it, unpack it, "
    "and run “python3 -I check.py .” in it, with --head and the record head as it is printed here. "
    "It holds the entries below with what was sealed and sent, and proves that they stand there; "
    "“official named” says who acted, “key registered” with what was signed. "
    "Starts and announcements tell of all teams: of these it holds the bare entry.",
    "By hand: an entry's leaf hash is the SHA-256 of a zero byte and the entry's text in "
    "record.jsonl (RFC 9162); “sha256sum” on a picture or on a sealed paper gives what is listed.",
)


def hashes_of(meet: MeetFacts, scope: Scope, cases: Cases, fingerprint: str) -> Hashes:
    """All hashes of a file."""
    return Hashes(
        entries=tuple(_entry(one, meet.time_zone) for one in scope.all_of_it),
        statements=tuple(_statements(scope)),
        pictures=tuple(_pictures(cases)),
        papers=tuple(_papers(scope)),
        seals=(Digest(f"certificate of {meet.name}", fingerprint),),
        how_to_check=HOW_TO_CHECK,
    )


def _entry(one: Recorded, zone: str) -> EntryOnPaper:
    at = datetime.fromisoformat(json.loads(one.entry)["at"])
    leaf = leaf_hash(one.entry.encode()).hex()
    return EntryOnPaper(str(one.seq), one.kind.value, at_the_meet(at, zone), leaf)


def _statements(scope: Scope) -> Iterator[Digest]:
    for one in scope.entries:
        digest = one.body.get("statement_sha256")
        if digest:
            yield Digest(f"entry {one.seq}: {one.kind.value}", str(digest))
    for around in scope.around:
        if around.digest:
            what = f"entry {around.entry.seq}: announcement {around.says['announcement']}"
            yield Digest(what, around.digest)


def _pictures(cases: Cases) -> Iterator[Digest]:
    for report in cases.reports.values():
        for place, picture in enumerate(report.pictures, 1):
            number = cases.numbers[report.id]
            yield Digest(f"picture {place} of report {number}", picture.sha256)


def _papers(scope: Scope) -> Iterator[Digest]:
    for one in scope.entries:
        if one.kind is Kind.PAPER_SEALED and one.text is not None:
            said = one.body
            what = f"{said['kind']}, {said['sheet']}, edition {said['edition']} (entry {one.seq})"
            yield Digest(what, str(said["sha256"]))
