"""The folder with private keys: encrypted, the owner's alone, and one passphrase for all of it."""

from __future__ import annotations

import hmac
import os
import stat
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from app.forms.certificates import SealingKey, certify, fingerprint_of, make_sealing_key
from app.ids import MeetId, new_id
from app.sealing.key_store import KeyStore, Locked, record_key

NOW = datetime(2026, 6, 13, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def key() -> SealingKey:
    return make_sealing_key("Harbour Relays", NOW)


def test_a_key_is_found_again_by_whoever_has_the_passphrase(
    tmp_path: Path, key: SealingKey
) -> None:
    meet = MeetId(new_id())
    KeyStore(tmp_path, "quay lantern").keep(meet, key)
    found = KeyStore(tmp_path, "quay lantern").find(meet, fingerprint_of(key.certificate))
    assert found is not None
    assert found.private_key.private_numbers() == key.private_key.private_numbers()  # type: ignore[union-attr]
    assert found.certificates == key.certificates


def test_another_passphrase_opens_nothing_and_the_message_names_the_file(
    tmp_path: Path, key: SealingKey
) -> None:
    meet = MeetId(new_id())
    KeyStore(tmp_path, "quay lantern").keep(meet, key)
    for passphrase in ("quay", "Quay lantern", "quay lantern "):
        with pytest.raises(Locked, match=r"\.p12 is damaged, or was kept with another passphrase"):
            KeyStore(tmp_path, passphrase).insist_opens()


def test_the_files_are_the_owners_alone_and_hold_no_key_in_the_clear(
    tmp_path: Path, key: SealingKey
) -> None:
    folder = tmp_path / "seal"
    KeyStore(folder, "quay lantern").keep(MeetId(new_id()), key)
    (file,) = folder.iterdir()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    secret = key.private_key.private_numbers().private_value.to_bytes(32, "big")  # type: ignore[union-attr]
    assert secret not in file.read_bytes()


def test_the_passphrase_itself_does_not_open_a_file(tmp_path: Path, key: SealingKey) -> None:
    """What opens PKCS#12 costs a guess next to nothing, so the passphrase is stretched before."""
    KeyStore(tmp_path, "quay lantern").keep(MeetId(new_id()), key)
    (file,) = tmp_path.iterdir()
    opened = subprocess.run(
        ["openssl", "pkcs12", "-in", file, "-noout", "-passin", "pass:quay lantern"],
        capture_output=True,
        check=False,
    )
    assert opened.returncode != 0


def test_a_key_that_is_there_is_never_written_over(tmp_path: Path, key: SealingKey) -> None:
    meet = MeetId(new_id())
    KeyStore(tmp_path, "quay lantern").keep(meet, key)
    (file,) = tmp_path.iterdir()
    before = file.read_bytes()
    KeyStore(tmp_path, "another").keep(meet, key)
    assert file.read_bytes() == before


def test_a_kept_key_has_its_name_on_the_disk_before_anything_is_sealed(
    tmp_path: Path, key: SealingKey, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fsync(2): that a file is on the disk does not say that its entry in the folder is."""
    synced: list[tuple[bool, list[str]]] = []
    real = os.fsync

    def watched(descriptor: int) -> None:
        is_folder = stat.S_ISDIR(os.fstat(descriptor).st_mode)
        synced.append((is_folder, [one.suffix for one in tmp_path.iterdir()]))
        real(descriptor)

    monkeypatch.setattr(os, "fsync", watched)
    KeyStore(tmp_path, "quay lantern").keep(MeetId(new_id()), key)
    assert synced == [(False, [".new"]), (True, [".p12"])]


def test_every_meet_signs_its_record_with_a_key_of_its_own(key: SealingKey) -> None:
    """Also where a federation's one certificate seals for many meets."""
    one, other = MeetId(new_id()), MeetId(new_id())
    keys = {record_key(key, meet).private_bytes_raw() for meet in (one, other, one)}
    assert len(keys) == 2


def derived(secret: bytes, meet: MeetId) -> bytes:
    """RFC 5869, 2.2 and 2.3, with HMAC alone; no salt is a salt of zeros, and one block will do."""
    extracted = hmac.digest(bytes(32), secret, "sha256")
    return hmac.digest(extracted, f"zone-docket/record/{meet}\x01".encode(), "sha256")


@pytest.mark.parametrize(
    ("curve", "length"), [(ec.SECP256R1(), 32), (ec.SECP384R1(), 48), (ec.SECP521R1(), 66)]
)
def test_a_records_key_comes_from_an_ec_keys_number_alone(
    curve: ec.EllipticCurve, length: int
) -> None:
    """However small the number: as long as SEC 1, C.4, writes it for its curve."""
    meet, private = MeetId(new_id()), ec.derive_private_key(7, curve)
    key = SealingKey(private, (certify(private, "Harbour Relays", NOW),))
    seed = record_key(key, meet).private_bytes_raw()
    assert seed == derived(bytes(length - 1) + b"\x07", meet)


def test_a_records_key_comes_from_an_rsa_keys_exponent_alone(key: SealingKey) -> None:
    meet, private = MeetId(new_id()), rsa.generate_private_key(65537, 2048)
    seed = record_key(SealingKey(private, key.certificates), meet).private_bytes_raw()
    assert seed == derived(private.private_numbers().d.to_bytes(256, "big"), meet)


def test_without_a_folder_keys_live_as_long_as_the_process(key: SealingKey) -> None:
    meet, store = MeetId(new_id()), KeyStore()
    store.keep(meet, key)
    assert store.find(meet, fingerprint_of(key.certificate)) is key
    store.forget(meet, fingerprint_of(key.certificate))
    assert store.find(meet, fingerprint_of(key.certificate)) is None


def test_no_key_is_kept_on_a_disk_without_a_passphrase(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="passphrase"):
        KeyStore(tmp_path, "")
