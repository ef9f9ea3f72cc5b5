"""Sealed papers stand before tools that are not ours: pdfsig, openssl, qpdf, a second library."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pypdf
import pytest
from asn1crypto import cms
from cryptography.exceptions import InvalidSignature
from pyhanko.pdf_utils.generic import StreamObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.writer import PageObject
from pyhanko.sign.diff_analysis import ModificationLevel

from app.forms.certificates import SealingKey, make_sealing_key, read_pkcs12
from app.forms.paper import Paper
from app.forms.seal import Level, Sealer, SealInBox
from app.forms.seal_box import free_boxes
from app.forms.signature_field import Signed
from tests.forms.builders import NAMES
from tests.forms.pdf_reading import count_pages, read_info, read_text, take_picture
from tests.forms.seal_builders import (
    FURTHER,
    NOW,
    PAPERS,
    PASSPHRASE,
    a_federation,
    a_federations_pkcs12,
    a_meets_key,
    a_private_key,
    an_attestation,
)
from tests.forms.sealing_tools import (
    GOOD,
    ask_library,
    ask_openssl,
    ask_pdfsig,
    check_structure,
    embedded,
    extract_seals,
)

both_papers = pytest.mark.parametrize("sheet", list(Paper))
all_kinds = pytest.mark.parametrize("kind", list(PAPERS))
SEALER = Sealer(a_meets_key())
SAMPLES = 150


def a_paper(kind: str = "infringement form", sheet: Paper = Paper.A4) -> bytes:
    """A paper before it is sealed."""
    return PAPERS[kind](sheet)


def sealed_times(pdf: bytes, times: int, sealer: Sealer = SEALER) -> list[bytes]:
    """The paper after each of so many seals; each but the first is shown where there is a box."""
    files = []
    for number in range(times):
        boxes = free_boxes(pdf) if number else ()
        shown = SealInBox(boxes[0], [f"K. Scribe {number}", boxes[0].role]) if boxes else None
        pdf = sealer.seal(pdf, an_attestation(), shown).content
        files.append(pdf)
    return files


def insist_all_tools_agree(pdf: bytes, key: SealingKey, seals: int, folder: Path) -> None:
    """Every tool finds so many seals in a file, and each of them good."""
    names = [f"Seal{number}" for number in range(1, seals + 1)]
    told = ask_pdfsig(pdf, folder)
    assert [one.field for one in told] == names
    assert {(one.kind, one.validation) for one in told} == {("ETSI.CAdES.detached", GOOD)}
    assert [one.is_whole for one in told] == [False] * (seals - 1) + [True]
    found = extract_seals(pdf)
    assert len(found) == seals
    for seal in found:
        good, said = ask_openssl(seal, key.certificates[-1], folder)
        assert good, said
    assert found[-1].ends == len(pdf)
    for status in ask_library(pdf, key.certificates[-1]):
        assert status.bottom_line, status.summary()
        assert status.modification_level in {
            ModificationLevel.NONE,
            ModificationLevel.FORM_FILLING,
        }
    check_structure(pdf, folder)


@both_papers
@all_kinds
def test_every_kind_of_paper_is_good_for_every_tool_after_one_two_and_three_seals(
    kind: str, sheet: Paper, tmp_path: Path
) -> None:
    for times, pdf in enumerate(sealed_times(a_paper(kind, sheet), 3), 1):
        insist_all_tools_agree(pdf, a_meets_key(), times, tmp_path)


@all_kinds
def test_a_further_seal_leaves_every_earlier_byte_as_it_was(kind: str) -> None:
    pdf = a_paper(kind)
    for sealed in sealed_times(pdf, 3):
        assert sealed.startswith(pdf)
        pdf = sealed


@both_papers
@all_kinds
def test_a_sealed_paper_reads_as_before_and_keeps_title_language_and_fonts(
    kind: str, sheet: Paper
) -> None:
    pdf = a_paper(kind, sheet)
    sealed = SEALER.seal(pdf, an_attestation()).content
    assert read_text(sealed) == read_text(pdf)
    assert count_pages(sealed) == count_pages(pdf)
    assert read_info(sealed)["Title"] == read_info(pdf)["Title"]
    assert embedded(sealed)


@pytest.mark.parametrize("name", ["Cleo Anchor", NAMES["Arabic"], NAMES["Devanagari"], "(\\);"])
def test_a_seal_says_whose_act_it_was_where_when_and_over_which_statement(name: str) -> None:
    attested = an_attestation(name=name, reason=f"Ruling of {name}; SHA-256 3f2a", place=name)
    sealed = SEALER.seal(a_paper(), attested)
    told = pypdf.PdfReader(BytesIO(sealed.content)).get_fields()[sealed.seal]["/V"]
    assert (told["/Name"], told["/Reason"], told["/Location"]) == (
        name,
        attested.reason,
        attested.place,
    )
    (status,) = ask_library(sealed.content, a_meets_key().certificate)
    assert status.signer_reported_dt == attested.at


def test_a_seal_names_its_certificate_and_cannot_be_given_to_another(tmp_path: Path) -> None:
    """EN 319 142-1, 6.3: the signed attribute signing-certificate-v2 (RFC 5035)."""
    (seal,) = extract_seals(SEALER.seal(a_paper(), an_attestation()).content)
    named = bytes.fromhex("060b2a864886f70d010910022f")  # 1.2.840.113549.1.9.16.2.47 as DER
    assert named in seal.cms
    other = make_sealing_key("Lakeside Invented Games", NOW)
    assert not ask_openssl(seal, other.certificate, tmp_path)[0]


def test_another_meets_certificate_is_not_trusted_in_place_of_this_ones() -> None:
    other = make_sealing_key("Lakeside Invented Games", NOW)
    (status,) = ask_library(SEALER.seal(a_paper(), an_attestation()).content, other.certificate)
    assert status.intact
    assert not status.trusted


def damaged(pdf: bytes, place: int) -> bytes:
    """The file with one byte turned."""
    return pdf[:place] + bytes([pdf[place] ^ 0xFF]) + pdf[place + 1 :]


def is_all_good(pdf: bytes, seals: int, folder: Path) -> bool:
    """Whether pdfsig and openssl both still find every seal good."""
    told = ask_pdfsig(pdf, folder)
    if [one.validation for one in told] != [GOOD] * seals or not told[-1].is_whole:
        return False
    found = extract_seals(pdf)
    root = a_meets_key().certificate
    return len(found) == seals and all(ask_openssl(one, root, folder)[0] for one in found)


@pytest.mark.parametrize("times", [1, 2])
def test_whichever_covered_byte_is_changed_somebody_notices(times: int, tmp_path: Path) -> None:
    pdf = sealed_times(a_paper(), times)[-1]
    holes = [range(start + length + 1, again - 1) for start, length, again, _ in _byte_ranges(pdf)]
    covered = [place for place in range(len(pdf)) if not any(place in hole for hole in holes)]
    seed = random.randrange(2**32)
    places = random.Random(seed).sample(covered, SAMPLES)
    assert is_all_good(pdf, times, tmp_path)
    unnoticed = [place for place in places if is_all_good(damaged(pdf, place), times, tmp_path)]
    assert unnoticed == [], f"seed {seed}"


def _byte_ranges(pdf: bytes) -> list[tuple[int, ...]]:
    found = re.finditer(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)\s*\]", pdf)
    return [tuple(map(int, one.groups())) for one in found]


def test_whichever_byte_is_changed_of_what_a_seal_signs_openssl_notices(tmp_path: Path) -> None:
    """The rest of a CMS, such as the list of its certificates, is not signed (RFC 5652, 5)."""
    (seal,) = extract_seals(SEALER.seal(a_paper(), an_attestation()).content)
    (signer,) = cms.ContentInfo.load(seal.cms)["content"]["signer_infos"]
    parts = (signer["signed_attrs"].contents, signer["signature"].contents)
    places = [
        place
        for part in parts
        for place in range(seal.cms.index(part), seal.cms.index(part) + len(part))
    ]
    unnoticed = [
        place
        for place in places
        if ask_openssl(
            replace(seal, cms=damaged(seal.cms, place)), a_meets_key().certificate, tmp_path
        )[0]
    ]
    assert unnoticed == []


def test_a_page_that_is_put_before_the_sealed_one_is_no_acceptable_change(tmp_path: Path) -> None:
    """Covered bytes stay as they were, and yet the paper says something else."""
    sealed = SEALER.seal(a_paper(), an_attestation()).content
    forged = _with_another_page(sealed)
    assert forged.startswith(sealed)
    (status,) = ask_library(forged, a_meets_key().certificate)
    assert status.intact
    assert not status.bottom_line
    assert [one.is_whole for one in ask_pdfsig(forged, tmp_path)] == [False]


def _with_another_page(pdf: bytes) -> bytes:
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    content = writer.add_object(StreamObject(stream_data=b"0 0 100 100 re f"))
    writer.insert_page(PageObject(contents=content, media_box=(0, 0, 595, 842)), after=0)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["RSA 2048", "RSA 3072", "P-256", "P-384", "P-521"])
def test_a_federations_own_key_seals_with_the_chain_that_leads_to_its_root(
    kind: str, tmp_path: Path
) -> None:
    key = read_pkcs12(a_federations_pkcs12(kind), PASSPHRASE, NOW)
    assert len(key.certificates) == 3
    pdf = sealed_times(a_paper(), 2, Sealer(key))[-1]
    insist_all_tools_agree(pdf, key, 2, tmp_path)
    assert {one.signer for one in ask_pdfsig(pdf, tmp_path)} == {"Invented Federation"}


def test_a_key_does_not_seal_with_the_certificate_of_another() -> None:
    mixed = SealingKey(a_private_key("P-256"), a_meets_key().certificates)
    with pytest.raises(InvalidSignature):
        Sealer(mixed).seal(a_paper(), an_attestation())


def test_without_an_authority_a_seal_is_of_the_first_level_and_says_why() -> None:
    sealed = SEALER.seal(a_paper(), an_attestation())
    assert (sealed.level, sealed.stamped_at) == (Level.B_B, None)
    assert sealed.not_stamped == "no authority is set"
    assert sealed.seal == "Seal1"


@both_papers
@all_kinds
def test_a_sheet_keeps_a_box_for_each_who_signs_later_and_tells_where(
    kind: str, sheet: Paper
) -> None:
    pdf = a_paper(kind, sheet)
    boxes = free_boxes(pdf)
    assert [box.role for box in boxes] == ([] if kind == "result" else list(FURTHER))
    for box in boxes:
        assert 1 <= box.page <= count_pages(pdf)
        assert box.x >= 15 * 72 / 25.4 - 1
        assert box.x + box.width <= sheet.sheet.width - 15 * 72 / 25.4 + 1
        assert box.y + box.height <= sheet.sheet.height - 12 * 72 / 25.4


def test_a_box_that_a_seal_shows_itself_in_is_free_no_longer() -> None:
    pdf = SEALER.seal(a_paper(), an_attestation()).content
    left = []
    while boxes := free_boxes(pdf):
        left.append([box.role for box in boxes])
        pdf = SEALER.seal(pdf, an_attestation(), SealInBox(boxes[0], ["K. Scribe"])).content
    assert left == [list(FURTHER), list(FURTHER[1:])]


def ink_in(pdf: bytes, box: object) -> int:
    """The dark dots within a box, its frame left out."""
    picture = take_picture(pdf, box.page, 144)
    rows = range(round(box.y * 2) + 4, round((box.y + box.height) * 2) - 4)
    left, right = round(box.x * 2) + 4, round((box.x + box.width) * 2) - 4
    return sum(dot < 128 for y in rows for dot in picture.row(y)[left:right])


@both_papers
@pytest.mark.parametrize("kind", ["infringement form", "jury's decision", "form of many pages"])
def test_a_further_signature_stands_in_its_box_and_nowhere_else(kind: str, sheet: Paper) -> None:
    first = SEALER.seal(a_paper(kind, sheet), an_attestation()).content
    box, other = free_boxes(first)
    lines = ["K. Scribe", "Secretary of the jury · 2026-06-13 15:58:12 CEST", "SHA-256 3f2a 91bc"]
    shown = SEALER.seal(first, an_attestation(), SealInBox(box, lines)).content
    assert ink_in(first, box) == 0
    assert ink_in(shown, box) > 100
    assert ink_in(shown, other) == 0
    assert [word for line in lines for word in line.split() if word not in read_text(shown)] == []


@pytest.mark.parametrize(
    "script", [one for one in NAMES if one not in {"Chinese", "Japanese", "Korean"}]
)
def test_a_name_in_any_script_is_shown_in_its_box_whole(script: str, tmp_path: Path) -> None:
    first = SEALER.seal(a_paper(), an_attestation()).content
    box = free_boxes(first)[0]
    shown = SEALER.seal(first, an_attestation(), SealInBox(box, [NAMES[script], "Referee"])).content
    before, after = re.sub(r"\s", "", read_text(first)), re.sub(r"\s", "", read_text(shown))
    name = re.sub(r"\s", "", NAMES[script])
    assert {
        one for one in set(name) if after.count(one) - before.count(one) < name.count(one)
    } == set()
    assert embedded(shown)
    insist_all_tools_agree(shown, a_meets_key(), 2, tmp_path)


@pytest.mark.parametrize("lines", [["W" * 400, "W" * 400], ["W"] * 40, ["", ""]])
def test_whatever_is_shown_stays_within_its_box(lines: list[str]) -> None:
    first = SEALER.seal(a_paper(), an_attestation()).content
    box = free_boxes(first)[0]
    shown = SEALER.seal(first, an_attestation(), SealInBox(box, lines)).content
    one, two = take_picture(first, box.page, 144), take_picture(shown, box.page, 144)
    changed = [
        (x, y)
        for y in range(one.height)
        if one.row(y) != two.row(y)
        for x in range(one.width)
        if one.row(y)[x] != two.row(y)[x]
    ]
    for x, y in changed:
        assert box.x * 2 - 2 <= x <= (box.x + box.width) * 2 + 2
        assert box.y * 2 - 2 <= y <= (box.y + box.height) * 2 + 2


@pytest.mark.parametrize("text", ["a\ud800b", "\x00\x07", "W" * 20_000, ")((\\", "湖" * 300, ""])
def test_no_text_makes_a_seal_fail(text: str, tmp_path: Path) -> None:
    attested = an_attestation(name=text, reason=text, place=text)
    first = SEALER.seal(a_paper(), attested).content
    shown = SEALER.seal(first, attested, SealInBox(free_boxes(first)[0], [text, text])).content
    insist_all_tools_agree(shown, a_meets_key(), 2, tmp_path)


def test_papers_sealed_in_several_threads_are_all_good(tmp_path: Path) -> None:
    pdf = a_paper()
    seal: Callable[[int], bytes] = lambda _: SEALER.seal(pdf, an_attestation()).content  # noqa: E731
    with ThreadPoolExecutor(max_workers=4) as pool:
        files = list(pool.map(seal, range(12)))
    for one in files:
        (status,) = ask_library(one, a_meets_key().certificate)
        assert status.bottom_line


def test_the_federations_root_is_what_its_seals_are_checked_by() -> None:
    _, root, _, middle = a_federation()
    key = read_pkcs12(a_federations_pkcs12(), PASSPHRASE, NOW)
    assert list(key.certificates[1:]) == [middle, root]


def test_no_part_of_a_sealed_file_is_written_out_on_the_way() -> None:
    """In a main thread the interpreter asks for the `repr` of what a run of its loop returned."""
    assert len(repr(Signed(b"x" * 1_000_000, "Seal1"))) < 200
