"""Building an export: everything that a meet's record speaks of, as files that anybody can check.

The form is documented in DEVELOPERS.md, so that another checker can be written. One is shipped with
every export, `check_export.py`, word for word; it shares no code with this program.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from hashlib import sha256
from importlib import resources
from string import Template

from sqlalchemy import Connection

from app.clock import rfc3339
from app.exporting.facts import signed_facts
from app.exporting.files import Listed, Place
from app.exporting.queries import (
    announced_ids,
    paper_content,
    paper_rows,
    picture_content,
    picture_rows,
)
from app.exporting.wanted import Chosen, Order, choose
from app.ids import MeetId
from app.meets.queries import meet_name, names_in_event_of
from app.plurals import counted
from app.record.canonical import canonical
from app.record.checkpoints import all_signed_heads
from app.record.kinds import Kind
from app.record.log import Head
from app.record.merkle import Levels, Span
from app.record.notes import checkpoint
from app.record.proofs import leaf_hashes
from app.record.queries import export_lines, head_line, head_of
from app.refusals import NotFound, Unavailable
from app.results.finality import announcement_shown
from app.results.printing import as_csv, as_text
from app.sealing.queries import seals_of
from app.sealing.wire import SealOut
from app.store.rows import AnyRow

FORM = "zone-docket export 3"
CHECKER = "check_export.py"
README = "readme.txt"
ENDINGS = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
    "image/heif": "heif",
}


class Builder:
    """One export, while it is written. All of it is read from one snapshot of the store."""

    def __init__(self, conn: Connection, order: Order, place: Place) -> None:
        self._conn = conn
        self._order = order
        self._place = place
        self._listed: list[Listed] = []
        self._head = head_of(conn, order.meet)
        self._seals = seals_of(conn, order.meet).seals

    def build(self) -> Head:
        """Write all files; the head that the export ends with.

        1. Refuse what nothing is known of, and what cannot be signed although it should be: since
           the key is not at hand, or the record is not what was signed before.
        2. The record, or its chosen entries with their proofs.
        3. What the record speaks of: signed heads, certificates, papers and the facts of forms,
           results, pictures.
        4. The words and the checker that go with it.
        5. The manifest over all of it, and its signature.
        """
        self._insist_possible()  # 1
        chosen = choose(self._conn, self._order)
        self._add_record(chosen)  # 2
        self._add_heads(chosen)  # 3
        self._add_certificates()
        self._add_papers(chosen)
        for path, content in signed_facts(self._conn, self._order.meet, chosen.signed_forms()):
            self._add(path, content)
        self._add_announcements(chosen)
        self._add_pictures(chosen)
        if self._order.further is not None:
            self._add(self._order.further.path, self._order.further.content)
        self._add("README.txt", _words(self._conn, self._order, self._head, chosen))  # 4
        self._add("check.py", _shipped(CHECKER))
        self._add_manifest()  # 5
        return self._head

    def _insist_possible(self) -> None:
        if not self._head.size:  # making a meet is its record's first entry
            raise NotFound("There is no such meet.")
        if self._seals and self._order.signer is None:
            raise Unavailable(
                "This meet has a seal, and its key is not at hand here, so that the export could "
                "not be signed. Give the passphrase that the keys are encrypted with "
                "(ZONEDOCKET_SEAL_PASSPHRASE)."
            )
        if self._order.signer is not None:
            self._order.agreement.insist_on(self._conn, self._order.meet, self._head)

    def _add(self, path: str, content: bytes | Iterable[bytes]) -> None:
        parts = (content,) if isinstance(content, bytes) else content
        self._listed.append(self._place.add(path, parts))

    def _add_record(self, chosen: Chosen) -> None:
        if chosen.part is None:
            lines: Iterable[str] = export_lines(self._conn, self._order.meet)
        else:
            lines = [*_lines_of(chosen, self._order), head_line(self._order.meet, self._head)]
        self._add("record.jsonl", (f"{line}\n".encode() for line in lines))

    def _add_heads(self, chosen: Chosen) -> None:
        """The heads that were signed, and the present one; of a part those it needs, proved."""
        kept = (
            one
            for one in all_signed_heads(self._conn, self._order.meet)
            if chosen.part is None or one.size in chosen.heads
        )
        roots = {}
        for one in kept:
            roots[one.size] = one.root
            self._add(f"checkpoints/{one.size}.note", one.note.encode())
        if self._order.signer is not None and self._head.size not in roots:
            self._add(f"checkpoints/{self._head.size}.note", self._sign_head().encode())
        if chosen.part is not None:
            self._add_proofs(chosen.numbers, roots)

    def _sign_head(self) -> str:
        assert self._order.signer is not None
        head = checkpoint(self._order.meet, self._head.size, self._head.root, self._order.now)
        return self._order.signer.sign_note(head.body)

    def _add_proofs(self, seqs: list[int], roots: dict[int, str]) -> None:
        size, meet = self._head.size, self._order.meet
        tree = Levels(leaf_hashes(self._conn, meet, Span(0, size)))
        document = {
            "entries": [
                {"entry": seq, "path": _hex(tree.inclusion(seq - 1, size))} for seq in seqs
            ],
            "head": {"meet": meet, "root": self._head.root, "size": size},
            "heads": [
                {"path": _hex(tree.consistency(earlier, size)), "root": root, "size": earlier}
                for earlier, root in sorted(roots.items())
                if earlier < size
            ],
        }
        self._add("proofs.json", canonical(document))

    def _add_certificates(self) -> None:
        for seal in self._seals:
            self._add(f"certificates/seal-{seal.number}.pem", seal.certificates.encode())
        if self._seals:
            told = [_told_of(seal) for seal in self._seals]
            self._add("certificates/seals.json", canonical(told))

    def _add_papers(self, chosen: Chosen) -> None:
        known = chosen.told(Kind.PAPER_SEALED, "sha256")
        for paper in paper_rows(self._conn, self._order.meet):
            if paper.sha256 in known:
                self._add(f"papers/{_name_of(paper)}.pdf", paper_content(self._conn, paper))

    def _add_announcements(self, chosen: Chosen) -> None:
        known, conn = chosen.subjects(Kind.ANNOUNCEMENT), self._conn
        for ident in announced_ids(conn, self._order.meet):
            if ident not in known:
                continue
            made = announcement_shown(conn, self._order.meet, ident, self._order.now)
            teams = names_in_event_of(conn, made.heat)
            shown = made.for_everybody()
            stem = f"announcements/{ident}"
            self._add(f"{stem}.json", f"{shown.model_dump_json(indent=2)}\n".encode())
            self._add(f"{stem}.csv", as_csv(shown).encode())
            self._add(f"{stem}.txt", as_text(shown, self._order.now, teams).encode())

    def _add_pictures(self, chosen: Chosen) -> None:
        added = (one for one in chosen.spoken_of if one.kind is Kind.PICTURE_ADDED)
        known = {one.subject for one in added if one.text is not None}
        for picture in picture_rows(self._conn, self._order.meet):
            if picture.id in known:
                self._add_picture(picture)

    def _add_picture(self, picture: AnyRow) -> None:
        """A picture as it came and as it is shown, as far as it was not erased."""
        stem = f"pictures/{picture.id}"
        if picture.has_original:
            content = picture_content(self._conn, picture, original=True)
            self._add(f"{stem}.{ENDINGS.get(picture.media_type, 'bin')}", content)
        if picture.has_copy:
            shown = picture_content(self._conn, picture, original=False)
            self._add(f"{stem}-shown.jpg", shown)

    def _add_manifest(self) -> None:
        meet, signer = self._order.meet, self._order.signer
        files = [
            {"path": one.path, "sha256": one.sha256, "size": one.size}
            for one in sorted(self._listed, key=lambda one: one.path)
        ]
        document = {
            "files": files,
            "form": FORM,
            "head": {"meet": meet, "root": self._head.root, "size": self._head.size},
            "made_at": rfc3339(self._order.now),
            "meet": meet,
            "name": meet_name(self._conn, meet),
        }
        manifest = canonical(document)
        self._add("manifest.json", manifest)
        if signer is not None:
            self._add("manifest.note", signer.sign_note(_about(meet, manifest)).encode())


def export_to(conn: Connection, order: Order, place: Place) -> Head:
    """Write an export; the head of the record that it ends with.

    NotFound for an unknown meet or entry; Unavailable where the meet has a seal whose key is not at
    hand, or whose earlier word the record no longer agrees with.
    """
    return Builder(conn, order, place).build()


def _lines_of(chosen: Chosen, order: Order) -> list[str]:
    """The lines of a part of a record, in its order."""
    lines = {one.seq: one.line for one in chosen.part or ()}
    for one in chosen.withheld:
        lines[one.seq] = one.line_without_body(order.withheld[one.seq])
    return [lines[seq] for seq in chosen.numbers]


def _about(meet: MeetId, manifest: bytes) -> str:
    """What is signed over a manifest. Its second line is no number, so it is no checkpoint."""
    return f"zone-docket manifest\n{meet}\n{sha256(manifest).hexdigest()}\n"


def _hex(path: Iterable[bytes]) -> list[str]:
    return [step.hex() for step in path]


def _told_of(seal: SealOut) -> dict[str, object]:
    return {
        "certificates": f"certificates/seal-{seal.number}.pem",
        "fingerprint": seal.fingerprint,
        "number": seal.number,
        "verifier_key": seal.verifier_key,
    }


def _name_of(paper: AnyRow) -> str:
    """A paper's file name: what stands in its entry, in letters that are fit for every disk."""
    told = f"{paper.kind}-{paper.subject}-{paper.sheet}-{paper.edition}"
    return re.sub(r"[^A-Za-z0-9.-]+", "-", told)


def _shipped(name: str) -> bytes:
    return resources.files("app.exporting").joinpath(name).read_bytes()


def _words(conn: Connection, order: Order, head: Head, chosen: Chosen) -> bytes:
    """The README of an export."""
    holds = "the whole record"
    if chosen.part is not None:
        entries = counted(len(chosen.part), "chosen entry", "chosen entries")
        holds = f"{entries} of the record, and what they speak of"
        if chosen.withheld:
            holds += f"; {len(chosen.withheld)} more without what they say, which is of all teams"
    if order.further is not None:
        holds += f"\n           {order.further.path}: {order.further.words}"
    signed = "yes, with the key that the record names"
    if order.signer is None:
        signed = "NO. This meet has no seal, so nothing in this export is signed."
    words = Template(_shipped(README).decode()).substitute(
        name=meet_name(conn, order.meet),
        meet=order.meet,
        made_at=rfc3339(order.now),
        holds=holds,
        size=head.size,
        root=head.root,
        signed=signed,
    )
    return words.encode()
