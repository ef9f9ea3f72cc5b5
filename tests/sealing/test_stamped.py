"""With a time-stamp authority set, papers are stamped; with its evidence, they take that along."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from io import BytesIO
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import Encoding
from pydantic import SecretStr
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation.status import SignatureCoverageLevel

from app.config import Settings
from app.exporting.building import export_to
from app.exporting.check_export import check, lines_of
from app.exporting.files import a_place
from app.exporting.wanted import Order
from app.ids import MeetId
from app.sealing.stamping import Stamping
from tests.builders import MeetAtHand, a_meet
from tests.forms.stamping import Openssl, an_authority
from tests.running import Service
from tests.sealing.reading import seals_in
from tests.sealing.test_papers import entries


@pytest.fixture
def clock(tmp_path: Path) -> Openssl:
    """An authority that openssl answers for."""
    folder = tmp_path / "authority"
    folder.mkdir()
    return Openssl(folder)


@pytest.fixture
def stamped(
    request: pytest.FixtureRequest, service: Service, clock: Openssl, tmp_path: Path
) -> Iterator[MeetAtHand]:
    """A meet whose papers are stamped, and take their evidence along where the test asks so."""
    seals = service.app.state.services.seals
    before = seals._stamping
    evidence = None
    if request.param:
        evidence = tmp_path / "evidence.pem"
        evidence.write_bytes(clock.certificate.public_bytes(Encoding.PEM))
    with an_authority(clock) as url:
        seals._stamping = Stamping(url, evidence)
        yield a_meet(service)
    seals._stamping = before


def a_form(meet: MeetAtHand) -> bytes:
    ruling = meet.rule(meet.report()["case"]).json()
    answer = meet.referee.get(f"rulings/{ruling['id']}/form.pdf")
    assert answer.status_code == 200, answer.text
    return answer.content


def insist_export_agrees(meet: MeetAtHand, path: Path) -> None:
    """The shipped checker finds nothing wrong with an export that holds the stamped papers."""
    service = meet.service
    seal = service.app.state.services.seals.of(MeetId(meet.id))
    order = Order(MeetId(meet.id), service.clock.now(), seal.notes)
    with a_place(path, order.now) as place:
        service.store.read_now(lambda conn: export_to(conn, order, place))
    report = check(str(path))
    assert report.ends_with == 0, lines_of(report)


@pytest.mark.parametrize("stamped", [False], indirect=True)
def test_the_authority_stamps_the_seal_and_openssl_agrees(
    stamped: MeetAtHand, clock: Openssl, tmp_path: Path
) -> None:
    content = a_form(stamped)
    (seal,) = seals_in(content, tmp_path)
    assert seal.is_valid
    assert seal.covers_all
    (embedded,) = PdfFileReader(BytesIO(content)).embedded_signatures
    signature = embedded.signer_info["signature"].native
    stamp = embedded.signer_info["unsigned_attrs"][0]["values"][0].dump()
    agrees, words = clock.verify(stamp, signature)
    assert agrees, words
    insist_export_agrees(stamped, tmp_path / "export")


@pytest.mark.parametrize("stamped", [True], indirect=True)
def test_a_paper_takes_along_what_its_stamp_is_checked_by(
    stamped: MeetAtHand, clock: Openssl, tmp_path: Path
) -> None:
    content = a_form(stamped)
    reader = PdfFileReader(BytesIO(content))
    (stamp,) = reader.embedded_timestamp_signatures
    stamp.compute_integrity_info()
    assert stamp.coverage is SignatureCoverageLevel.ENTIRE_FILE
    held = [one.get_object().data for one in reader.root["/DSS"]["/Certs"]]
    assert clock.certificate.public_bytes(Encoding.DER) in held
    seal, _stamp = seals_in(content, tmp_path)
    assert seal.is_valid
    insist_export_agrees(stamped, tmp_path / "export")


@pytest.mark.parametrize("stamped", [True], indirect=True)
def test_a_later_signature_on_a_stamped_paper_leaves_all_of_it_valid(
    stamped: MeetAtHand, tmp_path: Path
) -> None:
    report = stamped.report()
    address = f"reports/{report['id']}/form.pdf"
    written = stamped.umpire.get(address).content
    assert stamped.rule(report["case"]).status_code == 201
    ruled = stamped.umpire.get(address).content
    assert ruled.startswith(written)
    assert [one.is_valid for one in seals_in(ruled, tmp_path)].count(True) >= 2
    insist_export_agrees(stamped, tmp_path / "export")


@pytest.mark.parametrize("stamped", [False, True], indirect=True)
def test_a_stamp_that_failed_is_told_and_made_good_once_the_authority_answers(
    stamped: MeetAtHand, clock: Openssl, caplog: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    meet, key = stamped, clock.folder / "clock.key"
    aside = key.rename(clock.folder / "aside")  # without it openssl signs nothing
    first = a_form(meet)
    (kept,) = meet.referee.get("papers").json()["papers"]
    address = f"rulings/{kept['subject']}/form.pdf"
    assert kept["level"] == "B-B"
    assert "no time stamp: the authority" in caplog.text
    meet.service.clock.move(by=timedelta(seconds=61))
    assert meet.referee.get(address).content == first  # asked again, and failed again
    aside.rename(key)
    assert meet.referee.get(address).content == first  # left alone for a minute
    meet.service.clock.move(by=timedelta(seconds=61))
    second = meet.referee.get(address).content
    assert second != first
    assert meet.referee.get(address).content == second
    listed = meet.referee.get("papers").json()["papers"]
    best = "B-LTA" if len(seals_in(second, tmp_path)) == 2 else "B-T"
    assert [one["level"] for one in listed] == ["B-B", best]
    assert [one["level"] for one in entries(meet, "paper sealed")] == ["B-B", best]
    insist_export_agrees(meet, tmp_path / "export")


def test_evidence_without_an_authority_is_a_mistake_that_is_told(tmp_path: Path) -> None:
    settings = Settings(_env_file=None, setup_key=SecretStr("x")).model_copy(
        update={"timestamp_evidence": tmp_path / "evidence.pem"}
    )
    with pytest.raises(ValueError, match="ZONEDOCKET_TIMESTAMP_URL"):
        Stamping.by(settings)
