"""Where the private halves of the meets' seals lie: a folder of their own, encrypted.

They are never in the database, so no backup holds one, and whoever restores a backup elsewhere
brings the folder along or makes a new seal. One PKCS#12 file (RFC 7292) a seal, named by its meet
and its certificate's fingerprint, with the key that seals papers and its certificates. The key that
signs the record's heads (Ed25519) is derived from its private number (HKDF, RFC 5869), another one
for each meet, so that there is one secret to keep and a federation's key serves as well. Without a
folder the keys live as long as the process.

A file is opened by 64 hex digits: Argon2id (RFC 9106) of the passphrase, with the first 16 bytes of
the SHA-256 of the file's name for salt.
"""

from __future__ import annotations

import os
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryFile

from argon2.low_level import Type, hash_secret_raw
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    pkcs12,
)

from app.forms.certificates import PrivateKey, SealingKey, fingerprint_of
from app.ids import MeetId

TIMES, MEMORY_KIB, LANES = 3, 65_536, 4
"""What each guess of a passphrase costs: Argon2id as RFC 9106, 4, recommends it second, for where
memory is not plenty. What opens a PKCS#12 file by itself costs next to nothing."""


class Locked(ValueError):
    """The passphrase does not open a key that is there; the message names the file."""


class KeyStore:
    """The keys of all meets that this server seals for; opened once, then held in memory."""

    def __init__(self, folder: Path | None = None, passphrase: str = "") -> None:
        if folder is not None and not passphrase:
            raise ValueError("keys are not kept on a disk without a passphrase")
        self._folder = folder
        self._passphrase = passphrase.encode()
        self._open: dict[str, SealingKey] = {}

    def keep(self, meet: MeetId, kept: SealingKey) -> None:
        """Keep the key of a new seal; one that is there already stays as it is."""
        name = _name(meet, fingerprint_of(kept.certificate))
        if self._folder is not None and not (self._folder / name).exists():
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _write_whole(self._folder / name, _packed(kept, _stretched(self._passphrase, name)))
        self._open[name] = kept

    def forget(self, meet: MeetId, fingerprint: str) -> None:
        """Give up the key of a seal that the meet has not come to use."""
        name = _name(meet, fingerprint)
        self._open.pop(name, None)
        if self._folder is not None:
            (self._folder / name).unlink(missing_ok=True)

    def find(self, meet: MeetId, fingerprint: str) -> SealingKey | None:
        """The key of a seal, None where it is not here; Locked for another passphrase."""
        name = _name(meet, fingerprint)
        if name not in self._open and self._folder is not None:
            file = self._folder / name
            if not file.exists():
                return None
            self._open[name] = self._read(file)
        return self._open.get(name)

    def insist_opens(self) -> None:
        """Locked where the passphrase is not the one that the newest key here was kept with."""
        files = list(self._folder.glob("*.p12")) if self._folder is not None else []
        if files:
            newest = max(files, key=lambda file: file.stat().st_mtime_ns)
            self._open[newest.name] = self._read(newest)

    def insist_writable(self) -> None:
        """ValueError where no key could be kept here. Nothing stays of the try but the folder."""
        if self._folder is None:
            return
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            with TemporaryFile(dir=self._folder):
                pass
        except OSError as error:
            raise ValueError(
                f"no keys can be kept in {self._folder}, which ZONEDOCKET_SEAL_FOLDER names: "
                f"{error.strerror or error}"
            ) from error

    def _read(self, file: Path) -> SealingKey:
        opened_by = _stretched(self._passphrase, file.name)
        try:
            found = pkcs12.load_pkcs12(file.read_bytes(), opened_by)
        except ValueError as error:
            raise Locked(
                f"{file} is damaged, or was kept with another passphrase than "
                "ZONEDOCKET_SEAL_PASSPHRASE says; set that one, or move the file away"
            ) from error
        assert isinstance(found.key, PrivateKey), found.cert is not None
        chain = [found.cert, *found.additional_certs]
        return SealingKey(found.key, tuple(one.certificate for one in chain if one is not None))


def _stretched(passphrase: bytes, name: str) -> bytes:
    salt = sha256(name.encode()).digest()[:16]
    return hash_secret_raw(passphrase, salt, TIMES, MEMORY_KIB, LANES, 32, Type.ID).hex().encode()


def _packed(kept: SealingKey, opened_by: bytes) -> bytes:
    first, *others = kept.certificates
    how = BestAvailableEncryption(opened_by)
    return pkcs12.serialize_key_and_certificates(None, kept.private_key, first, others, how)


def record_key(kept: SealingKey, meet: MeetId) -> Ed25519PrivateKey:
    """The key that signs the heads of this meet's record, derived from its seal's bare number: how
    a library writes a key down may change, and the key for the heads must not.
    """
    info = f"zone-docket/record/{meet}".encode()
    derived = HKDF(SHA256(), length=32, salt=None, info=info).derive(_number(kept.private_key))
    return Ed25519PrivateKey.from_private_bytes(derived)


def _number(key: PrivateKey) -> bytes:
    """EC: the private value (SEC 1, C.4); RSA: the private exponent; big-endian, as long as the
    curve's order or the modulus.
    """
    if isinstance(key, RSAPrivateKey):
        number = key.private_numbers().d
    else:
        number = key.private_numbers().private_value
    return number.to_bytes((key.key_size + 7) // 8, "big")


def _name(meet: MeetId, fingerprint: str) -> str:
    return f"{meet}-{fingerprint}.p12"


def _write_whole(file: Path, content: bytes) -> None:
    """A new file that its owner alone can read, whole on the disk before it has its name; when this
    returns its name is there as well, also after the power has failed.
    """
    fresh = file.with_name(f"{file.name}.{os.getpid()}.new")
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())
    fresh.rename(file)
    _sync_folder(file.parent)


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
