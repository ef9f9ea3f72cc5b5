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

import logging
import os
import stat
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryFile

from argon2.low_level import Type, hash_secret_raw
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    pkcs12,
)

from app.files import write_whole
from app.forms.certificates import PrivateKey, SealingKey, fingerprint_of
from app.ids import MeetId

log = logging.getLogger(__name__)

TIMES, MEMORY_KIB, LANES = 3, 65_536, 4
"""What each guess of a passphrase costs: Argon2id as RFC 9106, 4, recommends it second, for where
memory is not plenty. What opens a PKCS#12 file by itself costs next to nothing."""


LARGEST_FILE = 1024 * 1024
MOST_TRIED = 3
"""Each try of a passphrase is slow on purpose, and a server is to start."""


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
        """Keep the key of a new seal; one that is there already stays as it is. OSError or
        ValueError where none can be kept.
        """
        name = _name(meet, fingerprint_of(kept.certificate))
        if self._folder is not None:
            self._keep_in(self._folder / name, kept)
        self._open[name] = kept

    def _keep_in(self, file: Path, kept: SealingKey) -> None:
        if file.exists():
            _content(file)
            return
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        packed = _packed(kept, _stretched(self._passphrase, file.name))
        write_whole({file: packed}, mode=0o600)

    def forget(self, meet: MeetId, fingerprint: str) -> None:
        """Give up the key of a seal that the meet has not come to use."""
        name = _name(meet, fingerprint)
        self._open.pop(name, None)
        if self._folder is not None:
            (self._folder / name).unlink(missing_ok=True)

    def find(self, meet: MeetId, fingerprint: str) -> SealingKey | None:
        """The key of a seal, None where it is not here. Locked for another passphrase, OSError or
        ValueError for a file that cannot be read, or is damaged.
        """
        name = _name(meet, fingerprint)
        if name not in self._open and self._folder is not None:
            file = self._folder / name
            if not file.exists():
                return None
            self._open[name] = self._read(file)
        return self._open.get(name)

    def insist_opens(self) -> None:
        """Locked where the passphrase opens none of the newest keys here. What cannot be read at
        all stops no server: the log says so, and later whatever needs it.
        """
        locked: Locked | None = None
        for file in self._newest_first()[:MOST_TRIED]:
            try:
                self._open[file.name] = self._read(file)
            except (OSError, ValueError) as error:
                log.warning("%s", error)
                locked = locked or (error if isinstance(error, Locked) else None)
            else:
                return
        if locked is not None:
            raise locked

    def warn_of_what_others_may_open(self) -> None:
        """Say in the log where the folder, or keys in it, are open to others than their owner."""
        if self._folder is None:
            return
        found = [one for one in (self._folder, *self._newest_first()) if _is_open_to_others(one)]
        if found:
            more = f" and {len(found) - 1} more are" if found[1:] else " is"
            log.warning(
                "%s%s open to others than the owner, and whoever copies a key can "
                "try out passphrases: chmod -R go= %s",
                *(found[0], more, self._folder),
            )

    def _newest_first(self) -> list[Path]:
        files = self._folder.glob("*.p12") if self._folder is not None else []
        return sorted(files, key=_written_at, reverse=True)

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
        content = _content(file)
        try:
            found = pkcs12.load_pkcs12(content, _stretched(self._passphrase, file.name))
        except (ValueError, UnsupportedAlgorithm) as error:
            raise Locked(
                f"{file} is damaged, or was kept with another passphrase than "
                "ZONEDOCKET_SEAL_PASSPHRASE says; set that one. Only where it is lost, move the "
                "file away: papers are sealed with another certificate from then on"
            ) from error
        if not isinstance(found.key, PrivateKey) or found.cert is None:
            raise ValueError(f"{file} holds no key with its certificate")
        chain = [found.cert, *found.additional_certs]
        return SealingKey(found.key, tuple(one.certificate for one in chain))


def _content(file: Path) -> bytes:
    """What a file with a key holds; ValueError where it can hold none."""
    content = _read_regular(file)
    if not _is_whole(content):
        raise ValueError(f"{file} is damaged: it is no whole PKCS#12 file")
    return content


def _read_regular(file: Path) -> bytes:
    """What a file holds; OSError where it is none, however that is called: a pipe would let whoever
    opens it wait for ever.
    """
    descriptor = os.open(file, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        found = os.fstat(descriptor)
        if not stat.S_ISREG(found.st_mode):
            raise OSError(f"{file} is no file, so no key can be in it")
        if found.st_size > LARGEST_FILE:
            raise OSError(f"{file} is larger than a file with a key and its certificates")
        return os.read(descriptor, LARGEST_FILE)
    finally:
        os.close(descriptor)


def _is_whole(content: bytes) -> bool:
    """Whether this is one element as DER writes it (X.690, 8.1.3): as long as it says."""
    if len(content) < 2 or content[0] != 0x30:
        return False
    if content[1] < 0x80:
        return len(content) == 2 + content[1]
    digits = content[1] & 0x7F
    return len(content) == 2 + digits + int.from_bytes(content[2 : 2 + digits])


def _is_open_to_others(path: Path) -> bool:
    try:
        return bool(path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))
    except OSError:  # there is none yet, or the log has said so before
        return False


def _written_at(file: Path) -> int:
    try:
        return file.stat().st_mtime_ns
    except OSError:  # taken away meanwhile, or a link to nowhere
        return 0


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
