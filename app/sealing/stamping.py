"""Whether the papers' seals are stamped with the time by an authority, and take along what they are
checked by: read from the settings, when the server starts and when a meet's seal is opened.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from cryptography import x509

from app.config import Settings
from app.forms.certificates import SealingKey, certificates_from_pem
from app.refusals import Malformed

if TYPE_CHECKING:  # see app/sealing/seals.py
    from app.forms.lasting import Evidence
    from app.forms.time_stamps import TimeStampAuthority

_Found: TypeAlias = tuple[tuple[x509.Certificate, ...], tuple[x509.CertificateRevocationList, ...]]
END_OF_LIST = "-----END X509 CRL-----"
BEGIN_OF_LIST = "-----BEGIN X509 CRL-----"


class Stamping:
    """Who stamps, and the file with what its stamps are checked by; neither where none is set."""

    def __init__(self, url: str = "", evidence: Path | None = None) -> None:
        self._url = url
        self._file = evidence

    @classmethod
    def by(cls, settings: Settings) -> Stamping:
        """As the settings say. ValueError for a file without an authority: nothing would use it."""
        if settings.timestamp_evidence is not None and not settings.timestamp_url:
            raise ValueError(
                "ZONEDOCKET_TIMESTAMP_EVIDENCE is what an authority's stamps are checked by: set "
                "ZONEDOCKET_TIMESTAMP_URL too"
            )
        return cls(settings.timestamp_url, settings.timestamp_evidence)

    def insist_readable(self) -> None:
        """ValueError where papers are to take along what cannot be read."""
        try:
            self._read()
        except (OSError, ValueError, Malformed) as error:
            raise ValueError(
                f"what ZONEDOCKET_TIMESTAMP_EVIDENCE names cannot be used: {error}"
            ) from error

    @cached_property
    def authority(self) -> TimeStampAuthority | None:
        """Who stamps; None where nobody is to."""
        from app.forms.time_stamps import HttpAuthority  # noqa: PLC0415

        return HttpAuthority(self._url) if self._url else None

    def evidence(self, key: SealingKey) -> Evidence | None:
        """What a paper that this key seals is to take along; None where nothing is set.

        OSError for a file that is not there, Malformed for one that holds no certificate,
        ValueError for a list that cannot be read.
        """
        from app.forms.lasting import Evidence  # noqa: PLC0415

        read = self._read()
        return None if read is None else Evidence((*key.certificates, *read[0]), read[1])

    def _read(self) -> _Found | None:
        if self._file is None:
            return None
        text = self._file.read_text(encoding="ascii")
        lists = [part.partition(BEGIN_OF_LIST)[2] for part in text.split(END_OF_LIST)[:-1]]
        revoked = tuple(
            x509.load_pem_x509_crl(f"{BEGIN_OF_LIST}{one}{END_OF_LIST}\n".encode()) for one in lists
        )
        return certificates_from_pem(text), revoked
