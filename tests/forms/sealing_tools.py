"""Others' tools that look at a sealed PDF: poppler's pdfsig, openssl, qpdf, another library."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import PdfSignatureStatus, validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from tests.forms.pdf_reading import run_tool

GOOD = "Signature is Valid."
"""How pdfsig words it; a changed byte is "Digest Mismatch." """
BYTE_RANGE = re.compile(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)\s*\]")


def run(command: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """A tool's answer; where the tool is missing, what brings it."""
    if shutil.which(command[0]) is None:
        raise AssertionError(
            f"{command[0]} is not installed, so seals cannot be checked. Install poppler-utils, "
            "openssl and qpdf (apt-get install poppler-utils openssl qpdf) and run the tests again."
        )
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


@dataclass(frozen=True, slots=True)
class Seen:
    """One seal as pdfsig tells it."""

    field: str
    signer: str
    kind: str
    validation: str
    is_whole: bool


def ask_pdfsig(pdf: bytes, folder: Path) -> list[Seen]:
    """The seals in a file, in the order in which they were made; none where there are none."""
    path = folder / "asked.pdf"
    path.write_bytes(pdf)
    done = run(["pdfsig", str(path)], folder)
    return [_seen(part) for part in re.split(r"Signature #\d+:", done.stdout)[1:]]


def _seen(told: str) -> Seen:
    facts = dict(re.findall(r"  - ([^:\n]+): (.*)", told))
    return Seen(
        facts["Signature Field Name"],
        facts.get("Signer Certificate Common Name", ""),
        facts.get("Signature Type", ""),
        facts.get("Signature Validation", ""),
        "- Total document signed" in told,
    )


@dataclass(frozen=True, slots=True)
class Extracted:
    """A seal taken out of a file by hand: the CMS, the bytes that it covers, and where it ends."""

    cms: bytes
    covered: bytes
    ends: int


def extract_seals(pdf: bytes) -> list[Extracted]:
    """Every seal of a file by its byte range (ISO 32000-1, 12.8.1), without any PDF library."""
    seals = []
    for found in BYTE_RANGE.finditer(pdf):
        start, length, again, rest = map(int, found.groups())
        padded = pdf[start + length + 1 : again - 1]
        cms = bytes.fromhex(padded.decode("ascii"))
        covered = pdf[start : start + length] + pdf[again : again + rest]
        seals.append(Extracted(cms[: _length_of(cms)], covered, again + rest))
    return seals


def _length_of(der: bytes) -> int:
    """How long a DER value is with its head (X.690, 8.1.3); zeros fill the room behind it."""
    if der[1] < 0x80:
        return 2 + der[1]
    digits = der[1] & 0x7F
    return 2 + digits + int.from_bytes(der[2 : 2 + digits], "big")


def ask_openssl(seal: Extracted, root: x509.Certificate, folder: Path) -> tuple[bool, str]:
    """Whether `openssl cms -verify` finds a seal good with this root, and what it said."""
    (folder / "seal.der").write_bytes(seal.cms)
    (folder / "covered").write_bytes(seal.covered)
    (folder / "root.pem").write_bytes(root.public_bytes(Encoding.PEM))
    command = "openssl cms -verify -binary -inform DER -in seal.der -content covered"
    command += " -CAfile root.pem -purpose any -out read"
    done = run(command.split(), folder)
    return done.returncode == 0, done.stderr


def ask_library(pdf: bytes, *roots: x509.Certificate) -> list[PdfSignatureStatus]:
    """What pyHanko's validator says of every seal, with these roots and no network."""
    trusted = [asn1_x509.Certificate.load(one.public_bytes(Encoding.DER)) for one in roots]
    context = ValidationContext(trust_roots=trusted, allow_fetching=False)
    reader = PdfFileReader(BytesIO(pdf))
    return [
        validate_pdf_signature(seal, context, ts_validation_context=context)
        for seal in reader.embedded_regular_signatures
    ]


def check_structure(pdf: bytes, folder: Path) -> None:
    """qpdf finds no fault in the file."""
    path = folder / "checked.pdf"
    path.write_bytes(pdf)
    done = run(["qpdf", "--check", str(path)], folder)
    assert done.returncode == 0, done.stdout + done.stderr


def embedded(pdf: bytes) -> bool:
    """Whether every font of a file is in it (pdffonts)."""
    lines = run_tool("pdffonts", "-", pdf=pdf).decode().splitlines()[2:]
    return bool(lines) and all(re.search(r"\byes +yes +yes\b", line) for line in lines)
