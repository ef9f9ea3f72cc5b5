"""What an erasure leaves is still held: it frees no result to be written anew, and a check says
what can no longer be checked because of it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path

import pytest
from reportlab.pdfgen.canvas import Canvas

from app.erasing import results_kept
from app.exporting import check_export
from app.exporting.check_export import Report
from app.ids import new_id
from app.record.kinds import Kind
from app.results.announcement_wire import AnnouncementOut
from app.results.printing import as_csv, as_text
from tests.exporting.conftest import SealedMeet
from tests.exporting.copies import CopiedMeet, a_copy
from tests.exporting.sealing import Sheet, do, seal_paper
from tests.exporting.tampering import (
    Files,
    Line,
    checked,
    lines_in,
    of_kind,
    rechain,
    remanifest,
    resign_heads,
)
from tests.exporting.test_announced import NOW, announced


@pytest.fixture(scope="module")
def copy(sealed: SealedMeet, tmp_path_factory: pytest.TempPathFactory) -> Iterator[CopiedMeet]:
    with a_copy(sealed, tmp_path_factory.mktemp("erased")) as copied:
        yield copied


@pytest.fixture(scope="module")
def erased(copy: CopiedMeet) -> Files:
    """The export of a meet that was erased as a whole."""
    copy.erase()
    return copy.export()


def erasure_in(files: Files) -> Line:
    return of_kind(lines_in(files), "erased")[-1]


def test_a_check_says_what_was_erased_and_that_it_cannot_be_checked_any_more(
    erased: Files,
) -> None:
    """When, for whom, what for, how much of what; and ends with 3: not everything was checked."""
    report = checked(erased)
    assert (report.mismatches, report.ends_with) == ([], 3)
    entry = erasure_in(erased)
    told = [one for one in report.told if one.startswith("Erased on ")][-1]
    assert told.startswith(f"Erased on {entry.entry['at']}: ")
    assert "entries' bodies, by the committee, for as asked: " in told
    assert {"8 of “announcement”", "4 sealed papers", "1 picture"} <= {
        one.strip(" .") for one in told.partition("as asked: ")[2].split(",")
    }, told
    (unchecked,) = report.unchecked
    assert unchecked.startswith(
        f"record.jsonl, entry {entry.entry['seq']}: what went with this erasure cannot be checked "
        "any more: "
    )
    assert "announcement" in unchecked
    assert "official named" not in unchecked


def test_what_went_of_entries_that_nobody_signs_leaves_nothing_unchecked(
    sealed: SealedMeet, tmp_path: Path
) -> None:
    named = {"name": "Wilhelmina Spare", "roles": ["umpire"]}
    with a_copy(sealed, tmp_path) as copied:
        do(copied.store, sealed.meet, "founder", Kind.OFFICIAL_NAMED, new_id(), named)
        copied.erase(names=("Wilhelmina Spare",))
        report = checked(copied.export())
    assert (report.mismatches, report.unchecked, report.ends_with) == ([], [], 0)
    told = [one for one in report.told if one.startswith("Erased on ")][-1]
    went = "1 entry's body, by the committee, for as asked: 1 of “official named”."
    assert told.endswith(f": {went}")


# A result is not freed by it ---------------------------------------------------------------------


def rewritten_result(files: Files, name: str) -> Files:
    """Another result under the same number, with table and words that fit."""
    document = json.loads(files[name])
    document["lines"][0]["time"] = "39.99"
    document["lines"][0]["team_name"] = "Auk"
    out = AnnouncementOut.model_validate(document)
    return {
        **files,
        name: f"{out.model_dump_json(indent=2)}\n".encode(),
        name.replace(".json", ".csv"): as_csv(out).encode(),
        name.replace(".json", ".txt"): as_text(out, NOW, ()).encode(),
    }


def test_a_result_that_is_written_anew_after_its_words_were_erased_is_found(
    sealed: SealedMeet, erased: Files
) -> None:
    """Though table and words fit, and whoever did it has the meet's own key."""
    for name in announced(erased):
        files = remanifest(rewritten_result(erased, name), sealed.seal.notes)
        (found,) = checked(files).mismatches
        assert found.startswith(f"{name}: this is not the result that entry ")


def test_the_files_of_an_erased_announcement_are_still_missed(
    sealed: SealedMeet, erased: Files
) -> None:
    name = announced(erased)[0]
    stem = name.removesuffix(".json")
    less = {one: content for one, content in erased.items() if not one.startswith(stem)}
    found = checked(remanifest(less, sealed.seal.notes)).mismatches
    assert f"{stem}.csv: this was announced, and the file is missing" in found


def changed(sealed: SealedMeet, files: Files, change: Callable[[Line], None]) -> Report:
    """What is found where whoever has the key changes the entry of the erasure."""
    lines = lines_in(files)
    change(of_kind(lines, "erased")[-1])
    made = dict(files)
    rechain(made, lines)
    resign_heads(made, sealed.seal.notes)
    return checked(remanifest(made, sealed.seal.notes))


def without(*names: str) -> Callable[[Line], None]:
    def change(line: Line) -> None:
        line.body = {name: value for name, value in (line.body or {}).items() if name not in names}

    return change


def test_an_erasure_that_nobody_ordered_is_found(sealed: SealedMeet, erased: Files) -> None:
    for name in ("because", "by"):
        report = changed(sealed, erased, without(name))
        assert any("it is not said who asked for this erasure" in one for one in report.mismatches)


def test_an_erasure_that_kept_nothing_of_results_leaves_them_unchecked(
    sealed: SealedMeet, erased: Files
) -> None:
    """As one that was made before any was kept: the results are told to hang on nothing."""
    report = changed(sealed, erased, without("announced"))
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert any(one.startswith("announcements: of 8 nothing was kept") for one in report.unchecked)


def test_erasures_that_kept_different_digests_of_one_result_contradict(
    sealed: SealedMeet, erased: Files
) -> None:
    def add(line: Line) -> None:
        assert line.body is not None
        line.body["announced"].append({**line.body["announced"][0], "result_sha256": "0" * 64})

    assert changed(sealed, erased, add).ends_with == 1


@pytest.mark.parametrize("kept", [None, 7, "x", [None], [{}], [{"announcement": []}]])
def test_no_content_of_what_was_kept_breaks_the_check(
    sealed: SealedMeet, erased: Files, kept: object
) -> None:
    def change(line: Line) -> None:
        assert line.body is not None
        line.body |= {"announced": kept, "papers": kept, "pictures": kept, "forms": kept}

    assert changed(sealed, erased, change).ends_with == 1  # papers and pictures are missed again


def test_it_takes_of_a_result_what_the_program_keeps() -> None:
    assert results_kept.OF_LINE == check_export.RESULT_LINE
    assert results_kept.OF_QUALIFIED == check_export.QUALIFIED
    assert results_kept.OF_ANNOUNCEMENT == ("heat", "number", "announced_at")


# Papers under a name that came again -----------------------------------------------------------


def test_an_erased_paper_is_told_though_a_later_one_has_its_name(
    sealed: SealedMeet, tmp_path: Path
) -> None:
    """Whether editions count on after an erasure or begin again at 1."""
    now, seal = sealed.stage.clock.now(), sealed.seal
    with a_copy(sealed, tmp_path) as copied:
        before = of_kind(lines_in(copied.export()), "paper sealed")
        first = next(one.body for one in before if (one.body or {})["sheet"] == "A4") or {}
        copied.erase()
        again = seal.seal(drawn("Sealed again"))
        seal_paper(
            copied.store, seal, "founder", Sheet(first["kind"], first["subject"], again), now
        )
        copied.sign_head()
        report = checked(copied.export())
    assert report.mismatches == []
    assert any(f"{len(before)} sealed papers" in one for one in report.unchecked)


def drawn(title: str) -> bytes:
    out = BytesIO()
    canvas = Canvas(out)
    canvas.setTitle(title)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


# Again, and in part ------------------------------------------------------------------------------


def test_what_was_kept_of_results_is_kept_on_where_that_erasure_is_erased(
    sealed: SealedMeet, tmp_path: Path
) -> None:
    with a_copy(sealed, tmp_path) as copied:
        files = copied.export()
        desk = json.loads(files[announced(files)[0]])["announced_by_name"]
        copied.erase(names=(desk,), because="Zebedee Quince asked for it")
        copied.erase(names=("Zebedee Quince",))
        files = copied.export()
    assert checked(files).mismatches == []
    last = of_kind(lines_in(files), "erased")[-1].body
    assert last is not None
    assert last["announced"]
    forged = rewritten_result(files, announced(files)[0])
    found = checked(remanifest(forged, sealed.seal.notes)).mismatches
    assert any("this is not the result that entry" in one for one in found)


def test_a_part_tells_of_an_erasure_only_what_went_of_its_own_entries(
    copy: CopiedMeet, erased: Files
) -> None:
    ruling = next(one.entry["seq"] for one in lines_in(erased) if one.entry["kind"] == "ruling")
    report = checked(copy.export(frozenset({ruling})))
    assert (report.mismatches, report.ends_with) == ([], 3)
    (unchecked,) = report.unchecked
    assert unchecked.endswith("cannot be checked any more: 1 of “ruling”")


def test_what_a_part_leaves_out_says_nothing_though_its_body_was_erased(
    copy: CopiedMeet, erased: Files
) -> None:
    """It looks the same whether its body is still there or not."""
    lines = lines_in(erased)
    ruling = next(one.entry["seq"] for one in lines if one.entry["kind"] == "ruling")
    announced_in = of_kind(lines, "announcement")[0].entry
    says = {"announced_at": "1999-01-01T00:00:00Z", "announcement": 77}
    report = checked(copy.export(frozenset({ruling}), withheld={announced_in["seq"]: says}))
    assert (report.mismatches, report.to_explain) == ([], [])
    entered = f"entered at {announced_in['at']} by {announced_in['actor']}"
    unproved = "unproved: announced at 1999-01-01T00:00:00Z, announcement 77"
    assert f"Proved: that “announcement” was {entered}. The export says, {unproved}." in report.told
