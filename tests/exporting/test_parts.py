"""Proofs in a part of a record, heads as people bring them, and the checker's own Merkle tree."""

from __future__ import annotations

import argparse
import json
import subprocess
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from hypothesis import given
from hypothesis import strategies as st
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import signers
from pyhanko.sign.timestamps import DummyTimeStamper
from pyhanko_certvalidator.registry import SimpleCertificateStore

from app.exporting.check_export import (
    Head,
    OpenSSL,
    PaperSeal,
    Tree,
    Unfit,
    check_paper,
    extends,
    insist_stamped,
    main,
    paper_seals,
    read_asked_head,
    read_asked_seal,
    root_by_inclusion,
)
from app.record.canonical import canonical
from app.record.kinds import Kind
from app.record.merkle import leaf_hash, root_over
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import TestSeal, a_certificate
from tests.exporting.tampering import Files, checked, read_files, remanifest
from tests.exporting.test_attacks import a_seal
from tests.exporting.test_export import seqs_of
from tests.record.proving import consistency_proof, inclusion_proof

Json = dict[str, Any]


@pytest.fixture(scope="module")
def part(sealed: SealedMeet, exported: Path, tmp_path_factory: pytest.TempPathFactory) -> Files:
    path = tmp_path_factory.mktemp("part") / "part"
    sealed.export(path, frozenset([3, 7, *seqs_of(exported, Kind.PAPER_SEALED)]))
    return read_files(path)


def with_proofs(sealed: SealedMeet, part: Files, **changes: Any) -> str:
    """What is found where the proofs say something else; all is signed anew."""
    document = {**json.loads(part["proofs.json"]), **changes}
    files = remanifest({**part, "proofs.json": canonical(document)}, sealed.seal.notes)
    report = checked(files, credulous=True)
    assert report.ends_with == 1
    return "\n".join(report.mismatches)


def test_a_part_with_other_proofs_is_found(sealed: SealedMeet, part: Files) -> None:
    assert checked(part).ends_with == 0
    document: Json = json.loads(part["proofs.json"])
    entries, heads = document["entries"], document["heads"]
    first, second = entries[:2]
    swapped = [{**first, "path": second["path"]}, *entries[1:]]
    assert "entry 2 is not proved" in with_proofs(sealed, part, entries=swapped)
    assert "entry 2 and its proof" in with_proofs(sealed, part, entries=entries[1:])
    more = [*entries, {"entry": 4, "path": []}]
    assert "entry 4 and its proof" in with_proofs(sealed, part, entries=more)
    short = [{**first, "path": first["path"][1:]}, *entries[1:]]
    long = [{**first, "path": first["path"] * 2}, *entries[1:]]
    for wrong in (short, long):
        assert "entry 2 is not proved" in with_proofs(sealed, part, entries=wrong)
    head = {**document["head"], "size": document["head"]["size"] + 1}
    assert "its head is not that of the record" in with_proofs(sealed, part, head=head)
    forged = [{**heads[0], "root": "3f" * 32}, *heads[1:]]
    assert "is not proved to be extended" in with_proofs(sealed, part, heads=forged)
    assert "the export holds no proof about" in with_proofs(sealed, part, heads=[])
    for malformed in (7, None, [7], [{"entry": "x"}], [{"entry": "x", "path": ["zz"]}]):
        assert "proofs.json" in with_proofs(sealed, part, entries=malformed)
    mixed = [{"entry": "x", "path": []}, *entries]
    assert "these proofs cannot be read" in with_proofs(sealed, part, entries=mixed)
    assert "proofs.json" in with_proofs(sealed, part, head={"size": -1, "root": "x"})


def test_a_part_out_of_order_or_with_an_entry_of_another_meet_is_found(
    sealed: SealedMeet, part: Files
) -> None:
    lines = part["record.jsonl"].splitlines(keepends=True)
    turned = {**part, "record.jsonl": b"".join([lines[1], lines[0], *lines[2:]])}
    assert "was removed, added or moved" in "\n".join(checked(turned).mismatches)
    entry = json.loads(lines[1])
    facts = {**json.loads(entry["entry"]), "meet": "another", "at": "yesterday"}
    other = json.dumps({**entry, "entry": canonical(facts).decode()}).encode() + b"\n"
    turned = {**part, "record.jsonl": b"".join([lines[0], other, *lines[2:]])}
    found = "\n".join(checked(turned).mismatches)
    assert "belongs to another meet's record" in found
    assert "its time is not written" in found
    body = json.dumps({**entry, "body": "[]"}).encode() + b"\n"
    turned = {**part, "record.jsonl": b"".join([lines[0], body, *lines[2:]])}
    assert "what was done is no object" in "\n".join(checked(turned).mismatches)


def test_without_its_proofs_a_part_is_no_whole_record(sealed: SealedMeet, part: Files) -> None:
    few = {name: content for name, content in part.items() if name != "proofs.json"}
    found = "\n".join(checked(remanifest(few, sealed.seal.notes), credulous=True).mismatches)
    assert "was removed, added or moved" in found
    assert "the head: it says" in found


# Heads and seals as people bring them ------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "264 3f2a91bc77d0e1aa",
        "264 · 3f2a 91bc 77d0 e1aa",
        " 264: 3F2A91BC77D0E1AA ",
        "264 entries, root 3f2a91bc77d0e1aa",
        "264,3f2a 91bc\n77d0 e1aa",
        "Record head 264 · 3f2a 91bc 77d0 e1aa",
    ],
)
def test_a_head_is_read_as_a_sheet_shows_it(text: str) -> None:
    assert read_asked_head(text) == (Head(264, "3f2a91bc77d0e1aa"), None)


def test_a_head_is_read_from_a_scanned_note_and_from_its_file(part: Files, tmp_path: Path) -> None:
    note = next(content for name, content in part.items() if name.startswith("checkpoints/"))
    (tmp_path / "scanned.note").write_bytes(note)
    head, found = read_asked_head(str(tmp_path / "scanned.note"))
    assert (head, found) == read_asked_head(note.decode())
    assert (head, found) == read_asked_head(note.decode().rstrip("\n")), "as a shell hands it over"
    assert len(head.root) == 64
    assert found is not None


@pytest.mark.parametrize(
    "text", ["", "264", "264 3f2a", "0 3f2a91bc77d0e1aa", "264 zz2a91bc77d0e1aa", "a\n\nb\n"]
)
def test_what_is_no_head_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="at least 16 digits"):
        read_asked_head(text)


def test_no_errno_is_told_of_a_head_that_is_none() -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="no file of this name") as refused:
        read_asked_head("nowhere.note")
    assert "Errno" not in str(refused.value)


def test_the_help_says_what_it_ends_with(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    told = " ".join(capsys.readouterr().out.split())
    for code in ("ends with 0 where", "; 1 where", "; 2 where", "; 3 where"):
        assert code in told


def test_a_fingerprint_is_read_with_and_without_colons() -> None:
    bare = "3f" * 32
    assert read_asked_seal(":".join(["3F"] * 32)) == read_asked_seal(f" {bare}\n") == bare
    assert read_asked_seal("a+b+c") == "a+b+c"


def test_a_fingerprint_is_read_as_openssl_prints_it(exported: Path) -> None:
    command = "openssl x509 -in certificates/seal-1.pem -noout -fingerprint -sha256"
    ran = subprocess.run(command.split(), cwd=exported, capture_output=True, text=True, check=True)
    (seal,) = json.loads((exported / "certificates" / "seals.json").read_text())
    assert read_asked_seal(ran.stdout) == seal["fingerprint"]
    older = f"SHA256 Fingerprint={':'.join(['3F'] * 32)}"  # OpenSSL 1.1, from memory
    assert read_asked_seal(older) == "3f" * 32


def test_what_is_no_fingerprint_is_refused() -> None:
    for wrong in ("3f2a", "zz" * 32):
        with pytest.raises(argparse.ArgumentTypeError):
            read_asked_seal(wrong)


def test_the_command_takes_several_heads_and_seals(
    sealed: SealedMeet, exported: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    notes = sorted((exported / "checkpoints").iterdir())
    heads = [word for note in notes for word in ("--head", str(note))]
    seals = ["--seal", sealed.seal.fingerprint, "--seal", sealed.seal.notes.verifier_key]
    assert main([str(exported), *heads, *seals]) == 0
    assert capsys.readouterr().out.count("This record extends the head of") == len(notes)
    assert main([str(exported), "--seal", "3f" * 32]) == 1


# The checker's own tree, against the program's ---------------------------------------------------


def leaves(count: int) -> list[bytes]:
    return [leaf_hash(str(number).encode()) for number in range(count)]


def head(size: int) -> Head:
    return Head(size, root_over(leaves(size)).hex())


@given(st.integers(0, 70))
def test_its_tree_grows_as_the_programs(size: int) -> None:
    tree = Tree(frozenset(range(1, size + 1)))
    for number in range(size):
        tree.grow(str(number).encode())
    assert tree.root == head(size).root
    assert tree.heads == {at: head(at).root for at in range(1, size + 1)}


@given(st.integers(1, 70), st.data())
def test_it_believes_the_programs_proofs_and_no_others(size: int, data: st.DataObject) -> None:
    index = data.draw(st.integers(0, size - 1))
    path = list(inclusion_proof(index, leaves(size)))
    leaf, other = leaves(size)[index], leaf_hash(b"other")
    assert root_by_inclusion(index, size, leaf, path) == head(size).root
    assert root_by_inclusion(index, size, other, path) != head(size).root
    assert root_by_inclusion(index, size, leaf, [*path, other]) == ""
    assert root_by_inclusion(-1, size, leaf, path) != head(size).root
    earlier = index + 1
    path = list(consistency_proof(earlier, leaves(size)))
    assert extends(head(earlier), head(size), path)
    assert not extends(head(earlier)._replace(root=other.hex()), head(size), path)
    assert not extends(head(earlier), head(size)._replace(root=other.hex()), path)
    assert not extends(head(earlier), head(size), [*path, other])
    assert not extends(Head(size + 1, other.hex()), head(size), path)
    if path:
        assert not extends(head(earlier), head(size), [])


# A document's time stamp -------------------------------------------------------------------------


def a_time_stamp(pdf: bytes) -> bytes:
    """The PDF with a document's time stamp (PAdES baseline B-LTA)."""
    key, like = rsa.generate_private_key(65537, 2048), a_certificate("Time stamps")[1]
    made = (
        x509.CertificateBuilder()
        .subject_name(like.subject)
        .issuer_name(like.subject)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(like.not_valid_before_utc)
        .not_valid_after(like.not_valid_after_utc)
        .sign(key, SHA256())
    )
    private = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    stamper = DummyTimeStamper(
        tsa_cert=asn1_x509.Certificate.load(made.public_bytes(Encoding.DER)),
        tsa_key=asn1_keys.PrivateKeyInfo.load(private),
        certs_to_embed=SimpleCertificateStore(),
    )
    out = signers.PdfTimeStamper(stamper).timestamp_pdf(
        IncrementalPdfFileWriter(BytesIO(pdf)), "sha256"
    )
    return bytes(out.getvalue())


def test_a_documents_time_stamp_is_held_against_what_it_is_over(
    sealed: SealedMeet, exported: Path
) -> None:
    pdf = next((exported / "papers").iterdir()).read_bytes()
    seal, openssl = a_seal(sealed.seal), OpenSSL()
    stamped = a_time_stamp(pdf)
    check_paper(stamped, [seal], [seal], openssl)
    changed = stamped.replace(b"/DocTimeStamp", b"/DocTimeStumps"[:13], 1)
    with pytest.raises(Unfit, match="over something else"):
        check_paper(changed, [seal], [seal], openssl)
    token = paper_seals(stamped)[-1].message
    forged = PaperSeal(0, b"", token[:-1] + bytes([token[-1] ^ 1]))
    with pytest.raises(Unfit, match="time stamp does not hold"):
        insist_stamped(forged, openssl)
    with pytest.raises(Unfit, match="signed over something else"):
        insist_stamped(PaperSeal(0, b"x", token), openssl)
    drawn = pdf.split(b"%%EOF")[0] + b"%%EOF\n"
    with pytest.raises(Unfit, match="no seal"):
        check_paper(a_time_stamp(drawn), [seal], [seal], openssl)


def test_an_earlier_seal_of_the_meets_may_be_another_one(
    sealed: SealedMeet, exported: Path
) -> None:
    """A meet that got a second certificate seals with that; what the first one sealed stays."""
    second = TestSeal(sealed.meet, number=2)
    pdf = next((exported / "papers").iterdir()).read_bytes()
    both, openssl = [a_seal(sealed.seal), a_seal(second)], OpenSSL()
    check_paper(second.seal(pdf, "Seal9"), both[1:], both, openssl)
    with pytest.raises(Unfit, match="does not hold"):
        check_paper(second.seal(pdf, "Seal9"), both[1:], both[1:], openssl)
