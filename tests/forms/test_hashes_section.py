"""On the page of hashes no heading stands alone at the foot of a page, wherever that falls."""

from __future__ import annotations

import pytest

from app.forms.flow import Flow
from app.forms.hashes_section import Digest, EntryOnPaper, Hashes, write_hashes
from app.forms.painting import SetText
from app.forms.paper import Paper
from app.forms.record_head import UNKNOWN_HEAD

A_DIGEST = "ab" * 32


def hashes_of(entries: int) -> Hashes:
    """So many entries, and two of everything else."""
    two = tuple(Digest(f"thing {number}", A_DIGEST) for number in (1, 2))
    rows = (EntryOnPaper(str(one), "call", "at noon", A_DIGEST) for one in range(entries))
    return Hashes(tuple(rows), two, two, two, two, ("Look.",))


@pytest.mark.parametrize("entries", range(1, 60))
def test_the_last_words_of_a_page_are_those_of_a_row(entries: int) -> None:
    flow = Flow(Paper.A4, foot_height=20.0)
    write_hashes(flow, hashes_of(entries), UNKNOWN_HEAD)
    for page in flow.pages[:-1]:
        words = [shape for shape in page if isinstance(shape, SetText)]
        last = max(words, key=lambda one: one.y)
        assert last.tag is None or last.tag.role != "H2"
        assert last.grey == 0.0
