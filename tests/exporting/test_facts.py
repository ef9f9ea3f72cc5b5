"""What a form tells stands in the export as it was signed: its SHA-256 is in the statement."""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest
from sqlalchemy import update

from app.appeals.tables import decisions
from app.record.kinds import Kind
from app.rulings.tables import rulings
from app.store.action import Actor, Deed, Done, Unit
from tests.builders import MeetAtHand
from tests.exporting.conftest import SealedMeet
from tests.exporting.copies import CopiedMeet, a_copy
from tests.exporting.tampering import (
    Files,
    Line,
    checked,
    lines_in,
    of_kind,
    read_files,
    remanifest,
    rewritten,
)

KINDS = {"ruling": "ruling", "protest decided": "decision", "appeal decided": "decision"}


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


@pytest.fixture
def copy(sealed: SealedMeet, tmp_path: Path) -> Iterator[CopiedMeet]:
    with a_copy(sealed, tmp_path) as copied:
        yield copied


def facts_in(files: Files) -> list[str]:
    return sorted(name for name in files if name.startswith("facts/"))


def name_of(line: Line) -> str:
    assert line.body is not None
    kind = KINDS[line.entry["kind"]]
    ident = line.entry["subject"] if kind == "ruling" else line.body["decision"]
    return f"facts/{kind}-{ident}.json"


def signing(files: Files) -> list[Line]:
    """The entries that sign the digest of a form's facts."""
    lines = [one for kind in KINDS for one in of_kind(lines_in(files), kind)]
    return [one for one in lines if "form_sha256" in (one.body or {}).get("statement", ())]


def signed_forms(files: Files) -> dict[str, str]:
    """By the name of the file, the digest that was signed."""
    return {
        name_of(one): one.body["statement"]["form_sha256"] for one in signing(files) if one.body
    }


def test_the_facts_of_every_signed_form_are_in_it_under_the_digest_that_was_signed(
    whole: Files,
) -> None:
    found = {name: sha256(whole[name]).hexdigest() for name in facts_in(whole)}
    assert found == signed_forms(whole)
    assert {name.split("/")[1].split("-")[0] for name in found} == {"ruling", "decision"}


def test_facts_tell_what_the_form_tells(sealed: SealedMeet, whole: Files) -> None:
    ruling = sealed.stage.rulings[0].id
    told = json.loads(whole[f"facts/ruling-{ruling}.json"])
    (line,) = (one for one in of_kind(lines_in(whole), "ruling") if one.entry["subject"] == ruling)
    assert line.body is not None
    said = line.body["statement"]
    assert (told["ruling_reasons"], told["case_id"]) == (said["reasons"], said["case"])


def test_facts_that_say_something_else_are_found_though_all_is_signed_anew(
    sealed: SealedMeet, whole: Files
) -> None:
    for name in facts_in(whole)[::3]:
        told = json.loads(whole[name])
        told["event"] = "another event"
        files = {**whole, name: json.dumps(told).encode()}
        (found,) = checked(remanifest(files, sealed.seal.notes)).mismatches
        assert found.startswith(f"{name}: these are not the facts that entry ")


def test_facts_that_are_missing_or_that_nobody_signed_are_found(
    sealed: SealedMeet, whole: Files
) -> None:
    name = facts_in(whole)[0]
    less = {one: content for one, content in whole.items() if one != name}
    (found,) = checked(remanifest(less, sealed.seal.notes)).mismatches
    assert found.startswith(f"{name}: entry ")
    assert found.endswith("signed these facts, and they are missing")
    more = {**whole, "facts/ruling-x.json": whole[name]}
    (found,) = checked(remanifest(more, sealed.seal.notes)).mismatches
    assert found == "facts/ruling-x.json: no entry of the record says that these facts were signed"


def test_a_decision_of_which_the_record_says_another_id_is_found(whole: Files) -> None:
    def other_id(lines: list[Line]) -> None:
        body = of_kind(lines, "protest decided")[0].body
        assert body is not None
        body["decision"] = "../../x"

    told = "\n".join(checked(rewritten(whole, other_id)).mismatches)
    assert "facts/decision-../../x.json: entry" in told
    assert "no entry of the record says that these facts were signed" in told


def test_an_export_shows_that_a_forms_facts_were_changed_in_the_database(copy: CopiedMeet) -> None:
    ruling = copy.of.stage.rulings[0]

    def change(unit: Unit) -> Done[None]:
        there = rulings.c.id == ruling.id
        facts = dict(unit.conn.execute(rulings.select().where(there)).one().form_facts)
        facts["ruling_reasons"] = "Something else."
        unit.conn.execute(update(rulings).where(there).values(form_facts=facts))
        return Done(None, None)

    copy.store.act_now(copy.of.meet, Actor("nobody"), change)
    (found,) = checked(copy.export()).mismatches
    assert found.startswith(f"facts/ruling-{ruling.id}.json: these are not the facts that entry ")


# Erased, and in a part of a record ---------------------------------------------------------------


def test_facts_that_were_erased_are_left_out_and_the_record_says_so(copy: CopiedMeet) -> None:
    """With one name go the facts of the forms that tell it; those of others stay."""
    before = copy.export()
    umpire = json.loads(before[facts_in(before)[-1]])["reports"][0]["observer"]
    copy.erase(names=(umpire,))
    after = copy.export()
    assert checked(after).mismatches == []
    gone = set(facts_in(before)) - set(facts_in(after))
    erasure = of_kind(lines_in(after), "erased")[-1]
    assert erasure.body is not None
    named = {
        f"facts/{kind}-{ident}.json" for ident in erasure.body["forms"] for kind in KINDS.values()
    }
    assert gone
    assert gone <= named
    assert facts_in(after)
    assert not any(umpire.encode() in after[name] for name in facts_in(after))


def test_once_the_whole_meet_is_erased_no_facts_are_left(copy: CopiedMeet) -> None:
    copy.erase()
    files = copy.export()
    assert checked(files).mismatches == []
    assert facts_in(files) == []


def test_an_erasure_from_before_that_says_not_which_facts_went_leaves_them_unchecked(
    copy: CopiedMeet,
) -> None:
    """It was made when erasures named no forms; the facts that it changed are no forgery."""
    before = copy.export()
    changed = facts_in(before)[0]
    ident = changed.removesuffix(".json").partition("-")[2]

    def change(unit: Unit) -> Done[None]:
        for table in (rulings, decisions):
            there = table.c.id == ident
            for row in unit.conn.execute(table.select().where(there)).all():
                facts = {**row.form_facts, "event": "erased"}
                unit.conn.execute(update(table).where(there).values(form_facts=facts))
        said = {"because": "asked", "by": "the committee", "scope": "one person", "entries": []}
        return Done(None, Deed(Kind.ERASED, copy.of.meet, said))

    copy.store.act_now(copy.of.meet, Actor("operator"), change)
    after = copy.export()
    report = checked(after)
    assert changed not in after
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert any(one.startswith(f"{changed}: missing, and entry ") for one in report.unchecked)


def test_what_an_erasure_named_is_named_again_where_its_own_entry_is_erased(
    copy: CopiedMeet,
) -> None:
    """The facts, the papers and the pictures: else they would look as if taken away."""
    before = copy.export()
    ruling = copy.of.stage.rulings[2]  # its paper is one that the program has drawn
    umpire = json.loads(before[f"facts/ruling-{ruling.id}.json"])["reports"][0]["observer"]
    copy.erase(names=(umpire,), because="Zebedee Quince asked for it")
    papers = [name for name in before if name.startswith("papers/")]
    assert any(name not in copy.export() for name in papers)
    copy.erase(names=("Zebedee Quince",))
    assert checked(copy.export()).mismatches == []


def test_a_part_takes_along_the_facts_of_its_own_entries_and_what_was_erased_of_them(
    copy: CopiedMeet,
) -> None:
    before = copy.export()
    lines = signing(before)
    for line in (lines[0], lines[-1]):
        part = copy.export(frozenset({line.entry["seq"]}))
        assert facts_in(part) == [name_of(line)]
        assert checked(part).mismatches == []
    observed = json.loads(before[name_of(lines[0])])["reports"][0]["observer"]
    copy.erase(names=(observed,))
    part = copy.export(frozenset({lines[0].entry["seq"]}))
    assert checked(part).mismatches == []
    assert facts_in(part) == []
    assert len(of_kind(lines_in(part), "erased")) == 1


def test_a_case_files_part_holds_the_facts_of_that_case_alone(meet: MeetAtHand) -> None:
    meet.start()
    first, second = (meet.rule(meet.report(lane=lane)["case"]).json() for lane in (3, 5))
    for ruling in (first, second):
        content = meet.referee.get(f"cases/{ruling['case']}/file.zip").content
        with ZipFile(BytesIO(content)) as opened:
            names = [name for name in opened.namelist() if name.startswith("facts/")]
        assert names == [f"facts/ruling-{ruling['id']}.json"]


# Forms of exports --------------------------------------------------------------------------------


def of_form(files: Files, form: str) -> Files:
    """The export as its manifest would call it, without a signature that fits."""
    manifest = json.loads(files["manifest.json"])
    changed = {**files, "manifest.json": json.dumps({**manifest, "form": form}).encode()}
    return remanifest(changed)


def test_an_export_of_the_form_before_has_no_facts_and_that_is_said(
    sealed: SealedMeet, whole: Files
) -> None:
    less = {name: content for name, content in whole.items() if not name.startswith("facts/")}
    report = checked(remanifest(of_form(less, "zone-docket export 1"), sealed.seal.notes))
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert report.unchecked == [
        "facts: this export has the form of before, which holds no facts of forms"
    ]


def test_an_export_of_the_second_form_is_checked_as_it_was(
    sealed: SealedMeet, whole: Files
) -> None:
    report = checked(remanifest(of_form(whole, "zone-docket export 2"), sealed.seal.notes))
    assert (report.mismatches, report.unchecked, report.ends_with) == ([], [], 0)


def test_an_export_of_a_later_form_is_not_found_good(sealed: SealedMeet, whole: Files) -> None:
    report = checked(remanifest(of_form(whole, "zone-docket export 9"), sealed.seal.notes))
    assert any("a form that this checker does not know" in one for one in report.mismatches)
