"""Reads finished PDFs with poppler's command-line tools, which share no code with the forms."""

import re
import shutil
import subprocess
from dataclasses import dataclass

DIRECTION_MARKS = re.compile("[\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def run_tool(tool: str, *arguments: str, pdf: bytes) -> bytes:
    """A poppler tool's output for a PDF on its standard input."""
    if shutil.which(tool) is None:
        raise AssertionError(
            f"{tool} is not installed, so the printed forms cannot be checked. "
            "Install poppler-utils (apt-get install poppler-utils) and run the tests again."
        )
    done = subprocess.run([tool, *arguments], input=pdf, capture_output=True, check=True)
    assert not done.stderr, done.stderr.decode("utf-8", "replace")
    return done.stdout


def read_text(pdf: bytes) -> str:
    """The text in the order in which it was drawn, without the reader's own direction marks."""
    text = run_tool("pdftotext", "-raw", "-", "-", pdf=pdf).decode("utf-8", "replace")
    return DIRECTION_MARKS.sub("", text)


def read_pages(pdf: bytes) -> list[str]:
    """The text of each page, in one line a page."""
    text = run_tool("pdftotext", "-raw", "-", "-", pdf=pdf).decode("utf-8", "replace")
    pages = DIRECTION_MARKS.sub("", text).split("\f")[:-1]
    return [" ".join(page.split()) for page in pages]


def read_info(pdf: bytes) -> dict[str, str]:
    """What the file says about itself."""
    lines = run_tool("pdfinfo", "-", pdf=pdf).decode("utf-8").splitlines()
    return {name: value.strip() for name, _, value in (line.partition(":") for line in lines)}


def count_pages(pdf: bytes) -> int:
    """How many pages the file has."""
    return int(read_info(pdf)["Pages"])


def list_fonts(pdf: bytes) -> list[list[str]]:
    """Name, type, encoding and the columns emb, sub, uni of each font."""
    lines = run_tool("pdffonts", "-", pdf=pdf).decode("utf-8").splitlines()[2:]
    return [re.split(r"\s{2,}|(?<=H)\s|(?<=yes)\s|(?<=no)\s", line.strip()) for line in lines]


@dataclass(frozen=True, slots=True)
class Picture:
    """A page as grey dots, 0 black to 255 white."""

    width: int
    height: int
    dots: bytes

    def row(self, y: int) -> bytes:
        """One row of dots."""
        return self.dots[y * self.width : (y + 1) * self.width]


def take_picture(pdf: bytes, page: int, dots_per_inch: int) -> Picture:
    """One page as a printer in black and white would get it."""
    number = str(page)
    raster = run_tool(
        "pdftoppm", "-gray", "-r", str(dots_per_inch), "-f", number, "-l", number, "-", pdf=pdf
    )
    head = re.match(rb"P5\s(\d+)\s(\d+)\s255\s", raster)
    assert head is not None, "pdftoppm gave no grey picture"
    return Picture(int(head[1]), int(head[2]), raster[head.end() :])
