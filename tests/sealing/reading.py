"""What poppler's pdfsig finds in a sealed paper."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class FoundSeal:
    """One signature as pdfsig tells it."""

    common_name: str
    is_valid: bool
    covers_all: bool


def seals_in(pdf: bytes, folder: Path) -> list[FoundSeal]:
    """The signatures of a file, first to last."""
    file = folder / "paper.pdf"
    file.write_bytes(pdf)
    told = subprocess.run(["pdfsig", file], capture_output=True, text=True, check=True).stdout
    parts = re.split(r"^Signature #\d+:$", told, flags=re.MULTILINE)[1:]
    return [
        FoundSeal(
            common_name=re.search(r"Common Name: (.*)", part)[1],  # type: ignore[index]
            is_valid="Signature is Valid" in part,
            covers_all="- Total document signed" in part,
        )
        for part in parts
    ]
