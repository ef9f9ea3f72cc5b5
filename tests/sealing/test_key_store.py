"""The folder with private keys: encrypted, the owner's alone, and one passphrase for all of it."""

from __future__ import annotations

import hmac
import os
import stat
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12

from app.forms.certificates import SealingKey, certify, fingerprint_of, make_sealing_key
from app.ids import MeetId, new_id
from app.sealing.key_store import KeyStore, Locked, _stretched, record_key

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


def a_pipe(place: Path) -> None:
    os.mkfifo(place)


def a_folder(place: Path) -> None:
    place.mkdir()


def a_link_to_nowhere(place: Path) -> None:
    place.symlink_to(place.with_name("nowhere"))


def a_link_to_itself(place: Path) -> None:
    place.symlink_to(place)


def a_link_to_a_device(place: Path) -> None:
    place.symlink_to("/dev/zero")


def an_empty_file(place: Path) -> None:
    place.touch()


def a_file_of_something_else(place: Path) -> None:
    place.write_bytes(b"-----BEGIN NOTHING-----")


def a_file_without_an_end(place: Path) -> None:
    place.write_bytes(bytes.fromhex("30820500020103") + bytes(200))


def a_huge_file(place: Path) -> None:
    with place.open("wb") as out:
        out.truncate(2 * 1024 * 1024)


NO_KEYS = [
    *(a_pipe, a_folder, a_link_to_nowhere, a_link_to_itself, a_link_to_a_device, an_empty_file),
    *(a_file_of_something_else, a_file_without_an_end, a_huge_file),
]


@pytest.mark.parametrize("make", NO_KEYS)
def test_what_is_no_key_stops_no_server_and_the_log_names_it(
    make: Callable[[Path], None], tmp_path: Path, key: SealingKey, caplog: pytest.LogCaptureFixture
) -> None:
    """Nor does a pipe let it wait: only regular files are read."""
    bad = tmp_path / f"{new_id()}-{'0' * 64}.p12"
    make(bad)
    KeyStore(tmp_path, "quay lantern").insist_opens()
    assert bad.name in caplog.text
    meet = MeetId(new_id())
    KeyStore(tmp_path, "quay lantern").keep(meet, key)
    later = KeyStore(tmp_path, "quay lantern")
    later.insist_opens()
    assert later.find(meet, fingerprint_of(key.certificate)) is not None


@pytest.mark.parametrize("make", NO_KEYS[:2] + NO_KEYS[4:])
def test_a_key_is_not_kept_where_something_else_stands(
    make: Callable[[Path], None], tmp_path: Path, key: SealingKey
) -> None:
    """It would seem to be, until the server starts again."""
    meet, store = MeetId(new_id()), KeyStore(tmp_path, "quay lantern")
    make(tmp_path / f"{meet}-{fingerprint_of(key.certificate)}.p12")
    with pytest.raises((OSError, ValueError), match=r"\.p12"):
        store.keep(meet, key)
    with pytest.raises((OSError, ValueError), match=r"\.p12"):
        store.find(meet, fingerprint_of(key.certificate))


def test_one_damaged_key_stops_no_server_while_another_opens(
    tmp_path: Path, key: SealingKey, caplog: pytest.LogCaptureFixture
) -> None:
    store = KeyStore(tmp_path, "quay lantern")
    meets = [MeetId(new_id()) for _ in range(2)]
    for number, meet in enumerate(meets):
        store.keep(meet, key)
        (file,) = tmp_path.glob(f"{meet}-*")
        os.utime(file, (number, number))
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)
    os.utime(file, (9, 9))
    KeyStore(tmp_path, "quay lantern").insist_opens()
    assert file.name in caplog.text
    with pytest.raises(Locked):
        KeyStore(tmp_path, "another").insist_opens()


def test_a_file_without_a_key_opens_nothing(tmp_path: Path, key: SealingKey) -> None:
    """PKCS#12 may hold certificates alone (RFC 7292, 4.2)."""
    name = f"{(meet := MeetId(new_id()))}-{'0' * 64}.p12"
    how = BestAvailableEncryption(_stretched(b"quay lantern", name))
    alone = pkcs12.serialize_key_and_certificates(None, None, None, [key.certificate], how)
    (tmp_path / name).write_bytes(alone)
    with pytest.raises(ValueError, match="holds no key"):
        KeyStore(tmp_path, "quay lantern").find(meet, "0" * 64)


def test_a_folder_and_keys_that_others_may_open_are_named_in_the_log(
    tmp_path: Path, key: SealingKey, caplog: pytest.LogCaptureFixture
) -> None:
    folder = tmp_path / "seal"
    store = KeyStore(folder, "quay lantern")
    store.keep(MeetId(new_id()), key)
    store.warn_of_what_others_may_open()
    assert not caplog.text
    (file,) = folder.iterdir()
    file.chmod(0o640)
    store.warn_of_what_others_may_open()
    assert f"{file} is open to others" in caplog.text
    assert f"chmod -R go= {folder}" in caplog.text
    caplog.clear()
    file.chmod(0o600)
    folder.chmod(0o755)
    store.warn_of_what_others_may_open()
    assert f"{folder} is open to others" in caplog.text
    assert file.name not in caplog.text
    file.chmod(0o640)
    store.warn_of_what_others_may_open()
    assert f"{folder} and 1 more are open to others" in caplog.text
    KeyStore(tmp_path / "not there", "quay lantern").warn_of_what_others_may_open()
