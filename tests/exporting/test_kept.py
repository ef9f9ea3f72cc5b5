"""What somebody kept, held against an export: a paper's PDF, the heads on it, and the seals that a
meet lawfully had. A record that was restored from a copy says so where a kept head is not in it.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from app.exporting import check_export
from app.exporting.check_export import (
    Asked,
    Head,
    Report,
    lines_of,
    main,
    read_note,
    restored_before,
)
from app.record.notes import Checkpoint, origin_of
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import Sheet, TestSeal
from tests.exporting.tampering import (
    Files,
    Json,
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
from tests.exporting.test_acts import an_entry
from tests.exporting.test_erased import drawn

COPIED, RESTORED, LATER = "2026-06-13T11:00:00Z", "2026-06-13T13:00:00Z", "2026-06-13T14:00:00Z"
RESTORING = {"copied_at": COPIED, "restored_at": RESTORED}


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


@pytest.fixture(scope="module")
def kept(whole: Files) -> bytes:
    return next(content for name, content in sorted(whole.items()) if name.startswith("papers/"))


def told(report: Report) -> str:
    return "\n".join(lines_of(report))


def with_paper(pdf: bytes) -> Asked:
    return Asked(papers=(("kept.pdf", pdf),))


def a_note(seal: TestSeal, head: Json, time: str = COPIED) -> bytes:
    made = Checkpoint(
        origin_of(seal.meet), head["size"], bytes.fromhex(head["root"]), (f"time {time}",)
    )
    return seal.notes.sign_note(made.body).encode()


def showing(pdf: bytes, note: bytes) -> bytes:
    """A paper with a head in it as a file that is not packed."""
    return pdf.replace(b"%%EOF", b"stream\n" + note + b"endstream\n%%EOF", 1)


# A paper that was kept ---------------------------------------------------------------------------


def test_a_kept_paper_is_named_as_the_record_names_it(whole: Files, kept: bytes) -> None:
    report = checked(whole, with_paper(kept))
    assert report.ends_with == 0
    (line,) = [one for one in report.told if one.startswith("kept.pdf was sealed in entry ")]
    told_of = r"\d+, at \S+Z: infringement form of \S+, \S+, edition 1; (it|1 head that it) shows"
    assert re.search(told_of, line), line


def test_a_paper_that_was_changed_or_sealed_elsewhere_does_not_agree(
    sealed: SealedMeet, whole: Files, kept: bytes
) -> None:
    for other in (kept + b" ", sealed.seal.seal(kept, "Another")):
        report = checked(whole, with_paper(other))
        assert report.mismatches == [
            "--paper kept.pdf: no entry of the record says that this paper was sealed"
        ]


def test_a_kept_paper_is_missed_in_a_record_that_was_rewritten(
    sealed: SealedMeet, whole: Files, kept: bytes
) -> None:
    files = dict(whole)
    lines = lines_in(files)
    digest = sha256(kept).hexdigest()
    sealed_here = of_kind(lines, "paper sealed")
    lines.remove(next(one for one in sealed_here if (one.body or {})["sha256"] == digest))
    rechain(files, lines)
    resign_heads(files, sealed.seal.notes)
    taken = next(name for name, content in files.items() if content == kept)
    del files[taken]
    report = checked(remanifest(files, sealed.seal.notes), with_paper(kept))
    assert any(one.startswith("--paper kept.pdf: no entry") for one in report.mismatches)


@pytest.mark.parametrize("is_true", [True, False])
def test_the_head_in_a_kept_paper_is_held_against_the_record(
    sealed: SealedMeet, whole: Files, kept: bytes, is_true: bool
) -> None:
    head = head_in(whole)
    shown = a_note(sealed.seal, head if is_true else {**head, "root": "ab" * 32})
    (found,) = checked(whole, with_paper(showing(kept, shown))).mismatches
    assert ("no entry" in found) == is_true
    assert ("the record was rewritten since" in found) != is_true


def test_a_head_in_a_kept_paper_counts_only_with_the_signature_of_the_meets_key(
    sealed: SealedMeet, whole: Files, kept: bytes
) -> None:
    forged = a_note(TestSeal(sealed.meet), head_in(whole))
    (found,) = checked(whole, with_paper(showing(kept, forged))).mismatches
    assert "no key that the record names has signed it" in found


def test_the_case_file_that_goes_along_is_known(
    sealed: SealedMeet, whole: Files, kept: bytes
) -> None:
    other = sealed.seal.seal(kept, "Another")
    files = remanifest({**whole, "case-file.pdf": other}, sealed.seal.notes)
    report = checked(files, with_paper(other), credulous=True)
    assert "kept.pdf is the case file of this export." in report.told


@pytest.mark.parametrize("event", ["Women 4x100 m", "Жіноча естафета"])
def test_a_case_file_that_was_kept_has_no_entry_and_its_seal_and_head_must_agree(
    sealed: SealedMeet, whole: Files, event: str
) -> None:
    called = drawn(f"File of case 1 – {event}")
    head = head_in(whole)
    true = holding(called, a_note(sealed.seal, head))
    report = checked(whole, with_paper(sealed.seal.seal(true)))
    assert (report.mismatches, report.ends_with) == ([], 3)
    (unchecked,) = report.unchecked
    words = "a case file has no entry; its seal and its head agree"
    assert unchecked.startswith(f"--paper kept.pdf: {words}")
    forged = holding(called, a_note(sealed.seal, {**head, "root": "ab" * 32}))
    for pdf, why in (
        (sealed.seal.seal(called), "this one shows none"),
        (sealed.seal.seal(forged), "the record was rewritten since"),
        (TestSeal(sealed.meet).seal(true), "does not hold"),
        (true, "no seal"),
    ):
        (found,) = checked(whole, with_paper(pdf)).mismatches
        assert why in found


def holding(pdf: bytes, note: bytes) -> bytes:
    """The PDF with a head in it as a file that is not packed, before it is sealed."""
    writer, out = IncrementalPdfFileWriter(BytesIO(pdf)), BytesIO()
    content = note.removesuffix(b"\n")  # a line end is written behind it
    writer.add_object(generic.StreamObject(stream_data=content))
    writer.write(out)
    return out.getvalue()


def test_a_part_does_not_say_of_a_paper_that_it_was_not_sealed(
    sealed: SealedMeet, whole: Files, kept: bytes, tmp_path: Path
) -> None:
    sealed.export(tmp_path / "part", frozenset({1}))
    report = checked(read_files(tmp_path / "part"), with_paper(kept))
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert "holds no entry of this paper" in report.unchecked[-1]


def test_the_command_takes_papers_and_refuses_what_is_none(
    exported: Path, kept: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.pdf").write_bytes(kept)
    given = ["--paper", str(tmp_path / "mine.pdf")]
    assert main([*given, *given, str(exported)]) == 0
    assert capsys.readouterr().out.count("mine.pdf was sealed in entry") == 2
    for wrong in (tmp_path / "none.pdf", tmp_path, exported / "README.txt"):
        with pytest.raises(SystemExit) as ended:
            main(["--paper", str(wrong), str(exported)])
        assert ended.value.code == 2


# Several seals -----------------------------------------------------------------------------------


def test_a_meet_with_a_new_seal_is_checked_with_both_fingerprints(
    sealed: SealedMeet, whole: Files
) -> None:
    second = TestSeal(sealed.meet, number=2)
    files = dict(whole)
    lines = lines_in(files)
    first = of_kind(lines, "seal made")[0].body
    assert first is not None
    new = {"number": 2, "certificates": second.pem, "fingerprint": second.fingerprint}
    new["because"] = "The first one's card was lost."
    an_entry(lines, "seal made", {**first, **new, "verifier_key": second.notes.verifier_key})
    rechain(files, lines)
    resign_heads(files, second.notes)
    files["certificates/seal-2.pem"] = second.pem.encode()
    files["certificates/seals.json"] = list_of(files, lines)
    remanifest(files, second.notes)
    both = (first["fingerprint"], second.fingerprint)
    assert checked(files, Asked(seals=both)).ends_with == 0
    (found,) = checked(files, Asked(seals=both[:1])).mismatches
    named = (
        rf"the record also names a certificate {second.fingerprint}, of seal 2, made at \S+Z in "
    )
    assert re.search(rf"{named}entry \d+, because: The first one's card was lost\.", found), found
    assert any(one.startswith("Another seal came: seal 2, ") for one in checked(files).told)


def list_of(files: Files, lines: list[Line]) -> bytes:
    made = [line.body or {} for line in of_kind(lines, "seal made")]
    names = ("fingerprint", "number", "verifier_key")
    listed = [
        {
            "certificates": f"certificates/seal-{one['number']}.pem",
            **{name: one[name] for name in names},
        }
        for one in made
    ]
    return check_export.canonical(listed).encode()


# A record that was restored ----------------------------------------------------------------------


@dataclass(frozen=True)
class Restored:
    """An export of a record that was restored from a copy, and the head it had had before."""

    files: Files
    lost: Json
    copied: int


@pytest.fixture(scope="module")
def restored(sealed: SealedMeet, whole: Files) -> Restored:
    """Five entries were made after the copy, and are lost."""
    files = dict(whole)
    lines = lines_in(files)
    for number in range(5):
        an_entry(lines, "call", {"number": number})
    rechain(files, lines)
    lost = head_in(files)
    del lines[-5:]
    copied = len(lines)
    an_entry(lines, "record restored", {"size": copied, **RESTORING}, sealed.meet)
    rechain(files, lines)
    resign_heads(files, sealed.seal.notes)
    return Restored(remanifest(files, sealed.seal.notes), lost, copied)


def asked(head: Json, note: bytes | None = None) -> Asked:
    read = None if note is None else read_note(note)
    return Asked(((Head(head["size"], head["root"]), read),))


def test_a_restoring_is_told_and_nothing_else_is_wrong(restored: Restored) -> None:
    report = checked(restored.files)
    assert report.ends_with == 0
    words = f"at {RESTORED} from a copy of {restored.copied} entries, made at {COPIED}"
    assert f"The record was restored {words}" in told(report)


@pytest.mark.parametrize("more", [0, 20])
def test_a_head_that_was_lost_in_a_restoring_is_told_with_it(
    sealed: SealedMeet, restored: Restored, more: int
) -> None:
    """Whether the record has grown beyond it since or not."""
    files = dict(restored.files)
    lines = lines_in(files)
    for number in range(more):
        an_entry(lines, "call", {"number": number, "again": True})
    rechain(files, lines)
    resign_heads(files, sealed.seal.notes)
    report = checked(remanifest(files, sealed.seal.notes), asked(restored.lost))
    assert report.ends_with == 1
    (found,) = report.mismatches
    assert found.endswith(
        f"the record was restored at {RESTORED} from a copy of {restored.copied} entries: what was "
        "printed between does not stand in it"
    )
    assert "rewritten" not in found
    assert "older" not in found


def test_a_restoring_explains_no_head_of_before_the_copy_or_after_it(
    sealed: SealedMeet, restored: Restored
) -> None:
    before = {"size": restored.copied, "root": "ab" * 32}
    (found,) = checked(restored.files, asked(before)).mismatches
    assert "the record was rewritten since" in found
    for time, explained in ((COPIED, True), (LATER, False)):
        note = a_note(sealed.seal, restored.lost, time)
        (found,) = checked(restored.files, asked(restored.lost, note)).mismatches
        assert ("the record was restored" in found) == explained, found


def test_a_paper_that_was_lost_in_a_restoring_is_told_with_it(
    sealed: SealedMeet, restored: Restored, kept: bytes
) -> None:
    sheet = Sheet("ruling", "x", sealed.seal.seal(kept, "Another"))
    (found,) = checked(restored.files, with_paper(sheet.content)).mismatches
    assert "no entry of the record" in found
    assert "the record was restored at" in found


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"size": True, **RESTORING},
        {"size": 0, **RESTORING},
        {"size": 10**6, **RESTORING},
        {"size": 5, **RESTORING},
        {"size": "all before", **RESTORING},
    ],
)
def test_a_restoring_that_says_nothing_explains_nothing(whole: Files, body: Json) -> None:
    def add(lines: list[Line]) -> None:
        an_entry(lines, "record restored", body)

    report = checked(rewritten(whole, add), asked({"size": 9, "root": "ab" * 32}), credulous=True)
    place = f"record.jsonl, entry {head_in(whole)['size'] + 1}: "
    assert [one for one in report.mismatches if one.startswith(place)]
    assert not any("from a copy of" in one for one in (*report.mismatches, *report.told))


def test_a_restoring_of_fewer_entries_than_stand_before_it_is_found(
    sealed: SealedMeet, restored: Restored
) -> None:
    """It would excuse heads that do stand in the record, or did before it was rewritten."""
    lines = lines_in(restored.files)
    (line,) = of_kind(lines, "record restored")
    line.body = {**(line.body or {}), "size": 3}
    files = dict(restored.files)
    rechain(files, lines)
    resign_heads(files, sealed.seal.notes)
    found = checked(remanifest(files, sealed.seal.notes), asked(restored.lost)).mismatches
    assert any("it does not say that all entries before it" in one for one in found)
    assert not any("was restored at" in one for one in found)


def test_without_any_restoring_nothing_is_said_of_one(whole: Files) -> None:
    assert restored_before(check_export.Record(), 10**9) == ""
    assert "restored" not in told(checked(whole))


def test_the_programs_own_command_takes_a_kept_paper_as_well(
    exported: Path, kept: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.cli import main as run

    (tmp_path / "mine.pdf").write_bytes(kept)
    shutil.copytree(exported, tmp_path / "export")
    call: Callable[[list[str]], object] = run
    call(["check", str(tmp_path / "export"), "--paper", str(tmp_path / "mine.pdf")])
    assert "mine.pdf was sealed in entry" in capsys.readouterr().out
