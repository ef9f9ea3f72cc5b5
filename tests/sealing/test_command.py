"""The command `seal`: a meet's seal is made, shown, imported, and replaced with a reason."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12
from cryptography.x509.oid import NameOID

from app.access.guard import FOUNDER
from app.cli import main
from app.clock import SystemClock
from app.ids import MeetId, new_id
from app.meets.actions import make_meet
from app.meets.wire import MeetIn
from app.record.log import Keeper
from app.record.queries import export_lines
from app.store.store import Store
from tests.builders import Json, a_meet_document

URL, SECRET = "ZONEDOCKET_SEAL_FOLDER", "ZONEDOCKET_SEAL_PASSPHRASE"
Told = Callable[[], tuple[str, str]]


@pytest.fixture
def meet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A meet in a database of its own, with a folder and a passphrase for seals."""
    url = f"sqlite:///{tmp_path / 'meet.db'}"
    monkeypatch.setenv("DATABASE_URL", url)
    monkeypatch.setenv(URL, str(tmp_path / "seal"))
    monkeypatch.setenv(SECRET, "quay lantern")
    assert main(["migrate"]) == 0
    store = Store(url, SystemClock(), Keeper())
    store.start()
    ident = MeetId(new_id())
    store.act_now(ident, FOUNDER, make_meet(ident, MeetIn.model_validate(a_meet_document())))
    store.stop()
    return ident


def entries(meet: str, tmp_path: Path) -> list[Json]:
    """What the record says of seals."""
    store = Store(f"sqlite:///{tmp_path / 'meet.db'}", SystemClock(), Keeper())
    lines = store.read_now(lambda conn: list(export_lines(conn, MeetId(meet))))
    store.engines.dispose()
    read = [json.loads(line) for line in lines[:-1]]
    return [json.loads(one["body"]) for one in read if '"seal made"' in one["entry"]]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    capsys.readouterr()
    ended = main(["seal", *arguments])
    out, err = capsys.readouterr()
    return ended, out, err


def a_federations_file(folder: Path, passphrase: str) -> Path:
    """An RSA key with its certificate, as PKCS#12."""
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Lantern Coast Athletics")])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(datetime(2026, 1, 1, tzinfo=UTC))
        .not_valid_after(datetime(2040, 1, 1, tzinfo=UTC))
        .sign(key, hashes.SHA256())
    )
    how = BestAvailableEncryption(passphrase.encode())
    file = folder / "federation.p12"
    file.write_bytes(pkcs12.serialize_key_and_certificates(None, key, certificate, None, how))
    return file


def test_a_seal_is_made_once_and_then_shown(
    meet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ended, made, _ = run(capsys, meet)
    assert ended == 0
    assert made.startswith("Harbour Relays has seal 1 now.\nCertificate, SHA-256: ")
    ended, shown, _ = run(capsys, meet)
    assert ended == 0
    assert shown.startswith("Harbour Relays has seal 1; its key is here and opens.\n")
    assert shown.splitlines()[1:] == made.splitlines()[1:]
    assert len(entries(meet, tmp_path)) == 1


def test_another_seal_needs_a_word_and_the_word_stands_in_the_record(
    meet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, meet)
    ended, made, _ = run(capsys, meet, "--because", "The laptop with the key was stolen.")
    assert ended == 0
    assert "has seal 2 now." in made
    assert [one["because"] for one in entries(meet, tmp_path)] == [
        "",
        "The laptop with the key was stolen.",
    ]


def test_a_federations_own_key_seals_and_its_file_is_not_needed_any_more(
    meet: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = a_federations_file(tmp_path, "harbour")
    monkeypatch.setenv("ZONEDOCKET_IMPORT_PASSPHRASE", "harbour")
    ended, made, _ = run(capsys, meet, "--import", str(file))
    assert ended == 0, made
    file.unlink()
    assert run(capsys, meet)[0] == 0
    assert "Lantern Coast" not in made
    assert len(entries(meet, tmp_path)) == 1


def test_a_federations_file_with_another_passphrase_changes_nothing(
    meet: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = a_federations_file(tmp_path, "harbour")
    monkeypatch.setenv("ZONEDOCKET_IMPORT_PASSPHRASE", "another")
    ended, _, why = run(capsys, meet, "--import", str(file))
    assert ended == 1
    assert "passphrase is wrong" in why
    assert entries(meet, tmp_path) == []
    assert not (tmp_path / "seal").exists()


def test_a_seal_does_not_come_in_place_of_another_in_silence(
    meet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(capsys, meet)
    file = a_federations_file(tmp_path, "harbour")
    monkeypatch.setenv("ZONEDOCKET_IMPORT_PASSPHRASE", "harbour")
    ended, _, why = run(capsys, meet, "--import", str(file))
    assert ended == 1
    assert "--because" in why
    assert len(entries(meet, tmp_path)) == 1


@pytest.mark.parametrize("because", ["The federation asks for it.", ""])
def test_a_former_seal_does_not_come_back(
    meet: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    because: str,
) -> None:
    file = a_federations_file(tmp_path, "harbour")
    monkeypatch.setenv("ZONEDOCKET_IMPORT_PASSPHRASE", "harbour")
    run(capsys, meet, "--import", str(file))
    run(capsys, meet, "--because", "The laptop with the key was stolen.")
    kept = {one.name: one.read_bytes() for one in (tmp_path / "seal").iterdir()}
    ended, _, why = run(capsys, meet, "--import", str(file), "--because", because)
    assert ended == 1
    assert ("does not come back" if because else "--because") in why
    assert len(entries(meet, tmp_path)) == 2
    assert {one.name: one.read_bytes() for one in (tmp_path / "seal").iterdir()} == kept


def test_the_key_of_the_seal_in_use_can_be_put_back_from_its_file(
    meet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = a_federations_file(tmp_path, "harbour")
    monkeypatch.setenv("ZONEDOCKET_IMPORT_PASSPHRASE", "harbour")
    run(capsys, meet, "--import", str(file))
    (kept,) = (tmp_path / "seal").iterdir()
    kept.unlink()
    ended, _, why = run(capsys, meet, "--import", str(file), "--because", "The disk is new.")
    assert (ended, why) == (0, "")
    assert run(capsys, meet)[0] == 0
    assert len(entries(meet, tmp_path)) == 1


def test_a_lost_key_and_a_locked_one_are_told_with_the_way_out(
    meet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(capsys, meet)
    monkeypatch.setenv(SECRET, "another")
    assert "passphrase" in run(capsys, meet)[2]
    monkeypatch.setenv(SECRET, "quay lantern")
    (file,) = (tmp_path / "seal").iterdir()
    file.rename(tmp_path / "elsewhere")
    ended, _, why = run(capsys, meet)
    assert ended == 1
    assert "make another seal" in why


@pytest.mark.parametrize("named", ["no-id", "", "01936f2e-7b1c-7cc3-98c4-dc0c0c07398f"])
def test_a_meet_that_is_not_there_gets_no_seal(
    meet: str, named: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(capsys, named)[0] == 1
    assert not (tmp_path / "seal").exists()


def test_without_a_passphrase_no_key_is_made(
    meet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(SECRET)
    ended, _, why = run(capsys, meet)
    assert ended == 1
    assert SECRET in why
    assert not (tmp_path / "seal").exists()


def test_a_server_with_another_passphrase_than_its_keys_does_not_start(
    meet: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(capsys, meet)
    monkeypatch.delenv(SECRET)
    capsys.readouterr()
    assert main(["serve", "--port", "0"]) == 1
    assert SECRET in capsys.readouterr().err


def test_no_private_key_is_in_the_database(
    meet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither the key in PKCS#8 nor its bare number, whichever way they might be kept."""
    from app.forms.certificates import fingerprint_of
    from app.sealing.key_store import KeyStore, record_key

    run(capsys, meet)
    (file,) = (tmp_path / "seal").iterdir()
    fingerprint = file.stem.rpartition("-")[2]
    key = KeyStore(tmp_path / "seal", "quay lantern").find(MeetId(meet), fingerprint)
    assert key is not None
    assert fingerprint_of(key.certificate) == fingerprint
    number = key.private_key.private_numbers().private_value.to_bytes(32, "big")  # type: ignore[union-attr]
    seed = record_key(key, MeetId(meet)).private_bytes_raw()
    for path in tmp_path.glob("meet.db*"):
        content = path.read_bytes()
        for secret in (number, seed):
            assert secret not in content
            assert secret.hex().encode() not in content.lower()
        assert b"PRIVATE KEY" not in content
