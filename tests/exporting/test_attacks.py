"""Whoever changes an export is found out: what finds what, attack by attack.

Each attack is made as well as somebody can make it who has what its name says: hashes and manifest
are made anew wherever that takes no key.
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from app.exporting.check_export import (
    BYTE_RANGE,
    Asked,
    Checker,
    Head,
    OpenSSL,
    Report,
    Seal,
    Unfit,
    check_paper,
    insist_signed,
    read_asked_head,
    read_note,
    read_verifier_key,
)
from app.record.canonical import canonical
from app.record.notes import NoteKey, origin_of
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import TestSeal
from tests.exporting.tampering import (
    Files,
    InMemory,
    Line,
    checked,
    head_in,
    lines_in,
    of_kind,
    read_files,
    rechain,
    remanifest,
    resign_heads,
    rewritten,
)

FLIPS_A_FILE = 60
DEEP_FLIPS = 600


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


@pytest.fixture
def files(whole: Files) -> Files:
    return dict(whole)


@pytest.fixture(scope="module")
def other_key(sealed: SealedMeet) -> NoteKey:
    """A key of somebody else's, under the meet's name."""
    return NoteKey(origin_of(sealed.meet), Ed25519PrivateKey.generate())


def found(report: Report, *words: str) -> None:
    """The report says so, and ends with 1."""
    told = "\n".join(report.mismatches)
    assert report.ends_with == 1
    for one in words:
        assert one in told, told


def flipped(content: bytes, at: int, bit: int = 1) -> bytes:
    return content[:at] + bytes([content[at] ^ bit]) + content[at + 1 :]


def a_seal(seal: TestSeal) -> Seal:
    key = read_verifier_key(seal.notes.verifier_key)
    return Seal(1, seal.fingerprint, seal.pem, key, seal.notes.verifier_key)


# A byte is flipped -------------------------------------------------------------------------------


def test_the_export_in_memory_is_good(files: Files) -> None:
    report = checked(files)
    assert (report.mismatches, report.ends_with) == ([], 0)


def test_a_byte_flipped_anywhere_is_found_by_the_manifest(whole: Files) -> None:
    """Thousands of flips, in each file where it hurts and where it does not."""
    rng, tried = random.Random(7), 0
    for name, content in whole.items():
        if name == "manifest.note":
            continue
        places = {0, len(content) - 1, *(rng.randrange(len(content)) for _ in range(FLIPS_A_FILE))}
        for at in places:
            # The other files are left out, so that a flip costs a hash and not the whole check.
            few = {"manifest.json": whole["manifest.json"], name: flipped(content, at)}
            checker = Checker(InMemory(few), Asked())
            checker.export.take_in()
            checker._look_at_manifest()
            told = [one for one in checker.report.mismatches if "is missing" not in one]
            if name == "manifest.json" and not told:
                told = [] if checker.manifest_sha256 == sha256(content).hexdigest() else ["other"]
            assert told, (name, at)
            tried += 1
    assert tried > 2_000


def test_a_byte_flipped_in_a_signed_note_is_found(sealed: SealedMeet, whole: Files) -> None:
    keys, openssl = [read_verifier_key(sealed.seal.notes.verifier_key)], OpenSSL()
    name = max(one for one in whole if one.startswith("checkpoints/"))
    for content in (whole["manifest.note"], whole[name]):
        insist_signed(read_note(content), keys, openssl)
        for at in range(0, len(content), 5):
            with pytest.raises(Unfit):
                insist_signed(read_note(flipped(content, at)), keys, openssl)


@pytest.mark.slow
def test_a_byte_flipped_is_found_though_the_manifest_is_made_and_signed_anew(
    sealed: SealedMeet, whole: Files
) -> None:
    """Somebody has the meet's own key for notes, and still cannot change what the record holds."""
    rng = random.Random(8)
    bound = ("record.jsonl", "papers/", "pictures/", "certificates/")
    names = [name for name in whole if name.startswith(bound)]
    for tried in range(DEEP_FLIPS):
        name = names[tried % len(names)]
        at = rng.randrange(len(whole[name]))
        files = {**whole, name: flipped(whole[name], at)}
        try:
            remanifest(files, sealed.seal.notes)
        except (ValueError, KeyError, IndexError, TypeError):
            continue  # the head itself cannot be read any more, and no manifest be made of it
        assert checked(files, credulous=True).ends_with == 1, (name, at)


def test_a_byte_flipped_in_a_sealed_paper_is_found_by_openssl_alone(
    sealed: SealedMeet, whole: Files
) -> None:
    """Everywhere but in the seal itself: not all of a CMS message is signed (RFC 5652, 5.4), and
    what is not, the digest of the paper in the record holds.
    """
    seal, openssl, rng = a_seal(sealed.seal), OpenSSL(), random.Random(9)
    for pdf in (whole[name] for name in whole if name.startswith("papers/")):
        check_paper(pdf, [seal], [seal], openssl)
        gaps = [(int(one[1]), int(one[2])) for one in BYTE_RANGE.findall(pdf)]
        for at in {0, len(pdf) - 1, *(rng.randrange(len(pdf)) for _ in range(60))}:
            if not any(start <= at < end for start, end in gaps):
                with pytest.raises(Unfit):
                    check_paper(flipped(pdf, at), [seal], [seal], openssl)


# Entries are moved -------------------------------------------------------------------------------


def raw_lines(files: Files) -> list[bytes]:
    return files["record.jsonl"].splitlines(keepends=True)


def with_lines(sealed: SealedMeet, files: Files, lines: list[bytes]) -> Report:
    files["record.jsonl"] = b"".join(lines)
    return checked(remanifest(files, sealed.seal.notes), credulous=True)


def test_entries_that_changed_places_are_found(sealed: SealedMeet, files: Files) -> None:
    lines = raw_lines(files)
    lines[10], lines[11] = lines[11], lines[10]
    report = with_lines(sealed, files, lines)
    found(report, "line 11 (entry 12): entry 11 was expected here", "its root is")
    found(report, "line 12 (entry 11): entry 13 was expected here")


def test_an_entry_that_was_taken_out_is_found(sealed: SealedMeet, files: Files) -> None:
    lines = raw_lines(files)
    del lines[10]
    report = with_lines(sealed, files, lines)
    found(report, "line 11 (entry 12): entry 11 was expected here", "entries, there are")


def test_the_end_that_was_cut_off_is_found(sealed: SealedMeet, files: Files) -> None:
    lines = raw_lines(files)
    found(with_lines(sealed, dict(files), [*lines[:-3], lines[-1]]), "the head: it says")
    files["record.jsonl"] = b"".join(lines[:-1])
    found(checked(files, credulous=True), "the head on the last line is missing")


def test_an_entry_that_was_put_in_is_found(sealed: SealedMeet, files: Files) -> None:
    lines = raw_lines(files)
    lines.insert(10, lines[9])
    found(with_lines(sealed, dict(files), lines), "line 11 (entry 10): entry 11 was expected here")
    last = [*raw_lines(files), lines[3]]
    files["record.jsonl"] = b"".join(last)
    found(checked(files, credulous=True), "something follows the head")


def test_a_body_that_was_exchanged_is_found(sealed: SealedMeet, files: Files) -> None:
    lines = raw_lines(files)
    lines[10] = lines[10].replace(b'\\"', b'\\" ', 1)
    assert lines[10] != raw_lines(files)[10]
    found(with_lines(sealed, files, lines), "line 11")


# The record is chained anew ----------------------------------------------------------------------


def soften(lines: list[Line]) -> None:
    """Somebody rewrites history: a ruling, signed with a PIN, says what it did not say."""
    ruling = of_kind(lines, "ruling")[0]
    assert ruling.body is not None
    ruling.body["statement"]["reasons"] = "It was nothing."
    ruling.body["statement_sha256"] = sha256(canonical(ruling.body["statement"])).hexdigest()


def test_a_rewritten_record_is_found_without_a_key(files: Files) -> None:
    """By the signature over the manifest, and by every head that was signed after the change."""
    report = checked(remanifest(rewritten(files, soften)))
    found(report, "manifest.note: this note is about another manifest")
    assert sum("was rewritten since" in one for one in report.mismatches) == 13


def test_leaving_out_what_is_signed_does_not_help(files: Files) -> None:
    changed = rewritten(files, soften)
    for name in [one for one in changed if one.endswith(".note")]:
        del changed[name]
    report = checked(remanifest(changed))
    found(report, "the head of this export was not signed", "manifest.note: this file is missing")


def test_a_rewritten_record_that_another_key_signed_is_found(
    files: Files, other_key: NoteKey
) -> None:
    """By the key that the record's own entry names."""
    changed = rewritten(files, soften)
    resign_heads(changed, other_key)
    report = checked(remanifest(changed, other_key))
    found(report, "manifest.note: no key that the record names has signed it")
    found(report, "no key that the record names has signed it")


def rewritten_with(files: Files, other: NoteKey, sealed: SealedMeet) -> Files:
    """History is rewritten and signed with another key, which the record now names as its own. The
    papers, sealed with the meet's own certificate, are left as they were.
    """

    def change(lines: list[Line]) -> None:
        soften(lines)
        (made,) = of_kind(lines, "seal made")
        assert made.body is not None
        made.body["verifier_key"] = other.verifier_key

    changed = rewritten(files, change)
    old = sealed.seal.notes.verifier_key.encode()
    name = "certificates/seals.json"
    changed[name] = changed[name].replace(old, other.verifier_key.encode())
    resign_heads(changed, other)
    return remanifest(changed, other)


def test_a_record_made_anew_with_a_key_of_its_own_is_found_by_a_kept_sheet(
    sealed: SealedMeet, files: Files, other_key: NoteKey
) -> None:
    """It agrees with itself. A head on paper finds it, and so does the key; not the certificate,
    which is the meet's own and still is on the old papers.
    """
    changed = rewritten_with(files, other_key, sealed)
    assert checked(changed).ends_with == 0
    head = head_in(files)
    kept = Head(head["size"], head["root"][:16])
    found(checked(changed, Asked(heads=((kept, None),))), "the record was rewritten since")
    key = sealed.seal.notes.verifier_key
    found(checked(changed, Asked(seals=(key,))), "names no seal", "also names a key")
    assert checked(changed, Asked(seals=(sealed.seal.fingerprint,))).ends_with == 0


def test_a_scanned_note_finds_it_by_root_and_by_key(
    sealed: SealedMeet, files: Files, other_key: NoteKey
) -> None:
    changed = rewritten_with(files, other_key, sealed)
    notes = sorted(one for one in files if one.startswith("checkpoints/"))
    asked = Asked(heads=tuple(read_asked_head(files[one].decode()) for one in notes))
    report = checked(changed, asked)
    assert sum("was rewritten since" in one for one in report.mismatches) == len(notes)
    assert checked(files, asked).ends_with == 0
    forged = read_asked_head(changed[notes[0]].decode())
    found(checked(files, Asked(heads=(forged,))), "was rewritten since")


def resealed(files: Files, other: TestSeal) -> Files:
    """Everything is made anew: another certificate, another key, papers sealed anew."""

    def change(lines: list[Line]) -> None:
        (made,) = of_kind(lines, "seal made")
        assert made.body is not None
        made.body.update(
            certificates=other.pem,
            fingerprint=other.fingerprint,
            verifier_key=other.notes.verifier_key,
        )
        for line in of_kind(lines, "paper sealed"):
            told = line.body
            assert told is not None
            kind = told["kind"].replace(" ", "-")
            name = f"papers/{kind}-{told['subject']}-A4-{told['edition']}.pdf"
            start = files[name].split(b"%%EOF")[0] + b"%%EOF\n"
            changed[name] = other.seal(start)
            told.update(sha256=sha256(changed[name]).hexdigest(), fingerprint=other.fingerprint)

    changed = dict(files)
    lines = lines_in(changed)
    change(lines)
    rechain(changed, lines)
    changed["certificates/seal-1.pem"] = other.pem.encode()
    listed = {
        "certificates": "certificates/seal-1.pem",
        "fingerprint": other.fingerprint,
        "number": 1,
        "verifier_key": other.notes.verifier_key,
    }
    changed["certificates/seals.json"] = canonical([listed])
    resign_heads(changed, other.notes)
    return remanifest(changed, other.notes)


def test_a_record_with_another_seal_altogether_is_found_by_its_fingerprint(
    sealed: SealedMeet, files: Files
) -> None:
    changed = resealed(files, TestSeal(sealed.meet))
    assert checked(changed).ends_with == 0
    found(checked(changed, Asked(seals=(sealed.seal.fingerprint,))), "also names a certificate")
    head = head_in(files)
    kept = Head(head["size"], head["root"])
    found(checked(changed, Asked(heads=((kept, None),))), "the record was rewritten since")
    assert checked(files, Asked(seals=(sealed.seal.fingerprint,))).ends_with == 0


def test_a_form_that_was_sealed_with_another_certificate_is_found(
    sealed: SealedMeet, files: Files
) -> None:
    other = TestSeal(sealed.meet)
    name = next(one for one in files if one.startswith("papers/"))
    forged = other.seal(files[name].split(b"%%EOF")[0] + b"%%EOF\n")
    changed = remanifest({**files, name: forged}, sealed.seal.notes)
    found(checked(changed), f"{name}: this is not the paper that entry")
    seal = a_seal(sealed.seal)
    with pytest.raises(Unfit, match="does not hold"):
        check_paper(forged, [seal], [seal], OpenSSL())
    # Nor does a seal of another's over the meet's own, or one of its own that is not the last.
    with pytest.raises(Unfit, match="does not hold"):
        check_paper(other.seal(files[name], "Forged"), [seal], [seal], OpenSSL())


def test_another_certificate_in_the_message_is_not_taken_for_the_named_one(
    sealed: SealedMeet, files: Files
) -> None:
    """The chain's own certificates are trusted, but only the first of them seals."""
    other, mine = TestSeal(sealed.meet), a_seal(sealed.seal)
    name = next(one for one in files if one.startswith("papers/"))
    forged = other.seal(files[name].split(b"%%EOF")[0] + b"%%EOF\n")
    chain = mine._replace(certificates=mine.certificates + other.pem)
    with pytest.raises(Unfit, match="another certificate than the record names"):
        check_paper(forged, [chain], [chain], OpenSSL())


# Old ones, and clocks ----------------------------------------------------------------------------


def test_an_old_export_that_is_given_out_as_new_is_found_by_a_later_sheet(
    sealed: SealedMeet, files: Files
) -> None:
    head = head_in(files)
    later = Head(head["size"] + 5, "3f2a91bc77d0e1aa")
    report = checked(files, Asked(heads=((later, None),)))
    found(report, f"this export is older: it has {head['size']} entries, that head has")


def test_every_signed_head_is_one_that_the_export_extends(files: Files) -> None:
    for name in (one for one in files if one.startswith("checkpoints/")):
        report = checked(files, Asked(heads=(read_asked_head(files[name].decode()),)))
        assert report.ends_with == 0
        assert any("This record extends the head" in one for one in report.told)


def test_a_clock_that_was_set_back_wants_explaining(sealed: SealedMeet, files: Files) -> None:
    def change(lines: list[Line]) -> None:
        lines[20].entry["at"] = "2026-01-01T00:00:00.000000Z"

    changed = rewritten(files, change)
    resign_heads(changed, sealed.seal.notes)
    report = checked(remanifest(changed, sealed.seal.notes))
    assert report.mismatches == []
    assert report.ends_with == 3
    (told,) = report.to_explain
    assert told.startswith("record.jsonl, line 21 (entry 21): the clock went back, from 2026-")


def test_clocks_that_differ_by_less_than_a_second_need_no_word(
    sealed: SealedMeet, files: Files
) -> None:
    def change(lines: list[Line]) -> None:
        second = lines[21].entry["at"].partition(".")[0]
        lines[20].entry["at"], lines[21].entry["at"] = f"{second}.900000Z", f"{second}.100000Z"

    changed = rewritten(files, change)
    resign_heads(changed, sealed.seal.notes)
    assert checked(remanifest(changed, sealed.seal.notes), credulous=True).ends_with == 0


def test_a_clock_that_is_set_back_in_small_steps_wants_explaining(
    sealed: SealedMeet, files: Files
) -> None:
    def change(lines: list[Line]) -> None:
        last = lines[-1].entry
        at = datetime.fromisoformat(last["at"])
        for step in range(1, 21):
            told = (at - step * timedelta(seconds=0.9)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
            lines.append(Line({**last, "at": told}, {}))

    changed = rewritten(files, change)
    resign_heads(changed, sealed.seal.notes)
    report = checked(remanifest(changed, sealed.seal.notes))
    assert report.mismatches == []
    assert sum("the clock went back" in one for one in report.to_explain) == 10


def test_a_head_that_was_signed_before_its_last_entry_was_made_wants_explaining(
    sealed: SealedMeet, files: Files
) -> None:
    name = max((one for one in files if one.startswith("checkpoints/")), key=len)
    text = files[name].decode().rpartition("\n\n")[0] + "\n"
    before, _, _ = text.rpartition("time ")

    def signed(line: str) -> Report:
        note = sealed.seal.notes.sign_note(before + line).encode()
        return checked(remanifest({**files, name: note}, sealed.seal.notes))

    early = signed("time 2026-06-01T10:00:00.000000Z\n")
    assert (early.mismatches, early.ends_with) == ([], 3)
    assert early.to_explain[0].startswith(f"{name}: signed at 2026-06-01")
    assert signed("time 2036-06-01T10:00:00.000000Z\n").ends_with == 0
    for malformed in ("", "time then\n", "time 2036-06-01T10:00:00Z\n" * 2):
        assert name in signed(malformed).mismatches[0]


def test_a_record_that_was_rewritten_without_a_key_and_without_anything_signed_does_not_end_well(
    whole: Files,
) -> None:
    """Whoever leaves out the seal and all that it signed can make the rest agree with itself: that
    nothing is signed is what shows.
    """

    def change(lines: list[Line]) -> None:
        dropped = ("seal made", "paper sealed")
        lines[:] = [line for line in lines if line.entry["kind"] not in dropped]

    files = rewritten(whole, change)
    signed = ("papers/", "certificates/", "checkpoints/", "manifest.note")
    report = checked(remanifest({n: c for n, c in files.items() if not n.startswith(signed)}))
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert any("has no seal" in one for one in report.unchecked)
