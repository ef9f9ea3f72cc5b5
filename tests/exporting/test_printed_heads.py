"""The head that a sheet shows lies in it as a file, and a check holds it against the record."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest

from app.exporting.check_export import Unfit, printed_heads
from app.forms.infringement_form import draw_infringement_form
from app.forms.paper import Paper
from app.forms.record_head import PrintedHead
from app.forms.seal import Attested
from app.ids import MeetId
from app.record.notes import checkpoint
from app.rulings.form import ruling_form
from tests.builders import MeetAtHand
from tests.exporting.conftest import SealedMeet
from tests.exporting.copies import CopiedMeet, a_copy
from tests.exporting.sealing import TestSeal
from tests.exporting.tampering import (
    Files,
    checked,
    lines_in,
    of_kind,
    rechain,
    remanifest,
    resign_heads,
)
from tests.forms.builders import DIGEST, HEAD, NOTE, a_form
from tests.forms.test_record_head import DRAWN


@pytest.fixture
def copy(sealed: SealedMeet, tmp_path: Path) -> Iterator[CopiedMeet]:
    with a_copy(sealed, tmp_path) as copied:
        yield copied


@pytest.fixture
def given_out(copy: CopiedMeet) -> Files:
    """The export of a meet that has given out a form as the program draws it."""
    copy.give_out(ruling_form(copy.of.meet, copy.of.stage.rulings[3].id))
    return copy.export()


# In the sheet ------------------------------------------------------------------------------------


@pytest.mark.parametrize("draw", list(DRAWN.values()), ids=list(DRAWN))
def test_every_sheet_has_the_signed_head_that_its_code_shows_in_it_as_a_file(
    draw: Callable[[PrintedHead, Paper], bytes], tmp_path: Path
) -> None:
    """`pdfdetach` (poppler) takes it out; and it lies in the sheet's bytes as it is."""
    sheet = tmp_path / "sheet.pdf"
    sheet.write_bytes(draw(HEAD, Paper.A4))
    assert printed_heads(sheet.read_bytes()) == [NOTE.encode()]
    taken = ["pdfdetach", "-savefile", "record-head.note", "-o", tmp_path / "note", sheet]
    subprocess.run(taken, check=True, timeout=20)
    assert (tmp_path / "note").read_text("utf-8") == NOTE
    looked_at = subprocess.run(["qpdf", "--check", sheet], timeout=20, check=False)
    assert looked_at.returncode == 0


def test_a_sheet_whose_head_nobody_has_signed_has_no_file() -> None:
    pdf = draw_infringement_form(a_form(head=PrintedHead(412, DIGEST)), Paper.A4)
    assert b"EmbeddedFile" not in pdf
    assert printed_heads(pdf) == []


@pytest.mark.parametrize(
    "pdf", [b"stream\nzone-docket/x\n", b"stream\nzone-docket/ endstream" * 40]
)
def test_heads_without_end_are_not_read(pdf: bytes) -> None:
    with pytest.raises(Unfit, match="cannot be read"):
        printed_heads(pdf)


# Held against the record -------------------------------------------------------------------------


def test_an_export_with_such_a_sheet_agrees(given_out: Files) -> None:
    report = checked(given_out)
    assert (report.mismatches, report.ends_with) == ([], 0)
    shown = [
        one for name in given_out if name.endswith(".pdf") for one in printed_heads(given_out[name])
    ]
    assert len(shown) == 1
    assert shown[0] in given_out.values()


def last_sealed(files: Files) -> tuple[str, int]:
    """The name of the sheet that shows its head, and of how many entries."""
    (name,) = (one for one in files if one.endswith(".pdf") and printed_heads(files[one]))
    return name, int(printed_heads(files[name])[0].split(b"\n")[1])


def test_a_record_that_was_rewritten_with_the_meets_own_key_contradicts_its_sheets(
    sealed: SealedMeet, given_out: Files
) -> None:
    """Whoever has the key makes record, heads and manifest anew; the sheet still shows what was."""
    name, size = last_sealed(given_out)
    lines = lines_in(given_out)
    files = dict(given_out)
    lines[3].salt = "cd" * 32
    rechain(files, lines)
    resign_heads(files, sealed.seal.notes)
    (found,) = checked(remanifest(files, sealed.seal.notes)).mismatches
    assert found.startswith(f"{name}: the record was rewritten since: the root of the first {size}")


def test_a_head_that_a_sheet_was_sealed_with_is_missed_where_it_was_taken_out(
    sealed: SealedMeet, given_out: Files
) -> None:
    name, size = last_sealed(given_out)
    files = {
        one: content for one, content in given_out.items() if one != f"checkpoints/{size}.note"
    }
    found = "\n".join(checked(remanifest(files, sealed.seal.notes)).mismatches)
    assert f"it was sealed with the head of {size} entries, whose note is missing" in found
    assert f"{name}: " in found


def test_a_head_is_missed_also_where_the_sheet_does_not_show_it(
    sealed: SealedMeet, given_out: Files
) -> None:
    sizes = [
        one.body["head_size"] for one in of_kind(lines_in(given_out), "paper sealed") if one.body
    ]
    lost = f"checkpoints/{sizes[0]}.note"
    files = {name: content for name, content in given_out.items() if name != lost}
    found = checked(remanifest(files, sealed.seal.notes)).mismatches
    assert any(f"the head of {sizes[0]} entries, whose note is missing" in one for one in found)


def test_a_part_is_held_against_the_heads_that_its_sheets_show(
    copy: CopiedMeet, given_out: Files
) -> None:
    name, size = last_sealed(given_out)
    (line,) = (
        one
        for one in of_kind(lines_in(given_out), "paper sealed")
        if one.body and one.body["head_size"] == size
    )
    part = copy.export(frozenset({line.entry["seq"]}))
    assert name in part
    assert checked(part).mismatches == []


# A case file -------------------------------------------------------------------------------------


def zip_of_a_case(meet: MeetAtHand) -> Files:
    meet.start()
    ruling = meet.rule(meet.report()["case"]).json()
    content = meet.referee.get(f"cases/{ruling['case']}/file.zip").content
    with ZipFile(BytesIO(content)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def test_a_case_file_is_held_against_the_record_that_it_goes_with(meet: MeetAtHand) -> None:
    """Its seal and its head; a file that was sealed by somebody else is found, whoever signed the
    manifest.
    """
    files = zip_of_a_case(meet)
    signer = meet.service.app.state.services.seals.of(MeetId(meet.id)).notes
    assert checked(files).mismatches == []
    pdf = files["case-file.pdf"]
    assert len(printed_heads(pdf)) == 1
    stranger = TestSeal(MeetId(meet.id)).seal(draw_infringement_form(a_form(), Paper.A4))
    root = printed_heads(pdf)[0].split(b"\n")[2]
    other_root = pdf.replace(root, root[::-1])
    for changed, told in (
        (pdf[:-1] + b" ", "its seal over the first "),
        (stranger, "its seal over the first "),
        (draw_infringement_form(a_form(), Paper.A4), "this paper has no seal"),
        (other_root, "its seal over the first "),
    ):
        (found,) = checked(remanifest({**files, "case-file.pdf": changed}, signer)).mismatches
        assert found.startswith(f"case-file.pdf: {told}")


def test_a_case_file_of_another_head_is_found(meet: MeetAtHand) -> None:
    """Sealed as it should be, and drawn from another record."""
    files = zip_of_a_case(meet)
    seal = meet.service.app.state.services.seals.of(MeetId(meet.id))
    (note,) = printed_heads(files["case-file.pdf"])
    size = int(note.split(b"\n")[1])
    other = checkpoint(MeetId(meet.id), size, "ab" * 32, datetime(2026, 6, 13, tzinfo=UTC))
    head = PrintedHead(size, "ab" * 32, seal.notes.sign_note(other.body))
    at = datetime(2026, 6, 13, tzinfo=UTC)
    pdf = seal.papers.seal(
        draw_infringement_form(a_form(head=head), Paper.A4), Attested("x", "y", "z", at)
    ).content
    (found,) = checked(remanifest({**files, "case-file.pdf": pdf}, seal.notes)).mismatches
    assert found.startswith("case-file.pdf: the record was rewritten since")
