"""Whether the papers' seals are stamped with the time by an authority, and take along what they are
checked by: read from the settings, once, when something is sealed first.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from cryptography import x509

from app.config import Settings
from app.forms.certificates import SealingKey, certificates_from_pem

if TYPE_CHECKING:  # see app/sealing/seals.py
    from app.forms.lasting import Evidence
    from app.forms.time_stamps import TimeStampAuthority

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

    @cached_property
    def authority(self) -> TimeStampAuthority | None:
        """Who stamps; None where nobody is to."""
        from app.forms.time_stamps import HttpAuthority  # noqa: PLC0415

        return HttpAuthority(self._url) if self._url else None

    @cached_property
    def _text(self) -> str:
        return "" if self._file is None else self._file.read_text(encoding="ascii")

    def evidence(self, key: SealingKey) -> Evidence | None:
        """What a paper that this key seals is to take along; None where nothing is set.

        Malformed for a file that holds no certificate, ValueError for a list that cannot be read.
        """
        from app.forms.lasting import Evidence  # noqa: PLC0415

        if self._file is None:
            return None
        lists = [part.partition(BEGIN_OF_LIST)[2] for part in self._text.split(END_OF_LIST)[:-1]]
        revoked = tuple(
            x509.load_pem_x509_crl(f"{BEGIN_OF_LIST}{one}{END_OF_LIST}\n".encode()) for one in lists
        )
        return Evidence((*key.certificates, *certificates_from_pem(self._text)), revoked)
