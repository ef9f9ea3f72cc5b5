"""Any start list that a reference library writes reads back as it was."""

from __future__ import annotations

import csv
import unicodedata

from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.relay import Relay
from app.sheets.start_list import Entry, HeatRows, StartList, read_start_list
from app.visible import find_unseen, shows_something
from tests.sheets.builders import Value, as_csv, as_xlsx


def names_in(codec: str) -> st.SearchStrategy[str]:
    """Names that a list may hold, in the form in which they come out."""
    letters = st.characters(
        codec=codec, categories=("L", "M", "N", "P", "S", "Zs"), exclude_characters="\ufffd#"
    )
    return (
        st.text(letters, min_size=1, max_size=20)
        .map(lambda text: " ".join(unicodedata.normalize("NFC", text).split()))
        .filter(lambda text: text != "" and text[0] not in "=+-@" and "_x" not in text)
        .filter(lambda text: find_unseen(text) is None and shows_something(text))
    )


NAMES = names_in("utf-8")
NAMES_IN_WINDOWS_1252 = names_in("cp1252")


@st.composite
def start_lists(draw: st.DrawFn, names: st.SearchStrategy[str] = NAMES) -> StartList:
    """Any start list without problems. Numbers in the names keep teams and events apart."""
    row = 1
    heats = []
    for event in range(draw(st.integers(1, 2))):
        relay, name = draw(st.sampled_from(Relay)), f"{draw(names)} {event}"
        for heat in draw(st.lists(st.integers(1, 999), min_size=1, max_size=2, unique=True)):
            entries = []
            for lane in draw(st.lists(st.integers(1, 10), min_size=1, max_size=3, unique=True)):
                row += 1
                legs = tuple(draw(st.lists(names, max_size=4)))
                team = f"{draw(names)} {row}"
                entries.append(Entry(row, lane, team, draw(names), draw(names), legs))
            scheduled = draw(st.sampled_from([None, "14:20", "2026-05-03T14:20"]))
            heats.append(HeatRows(name, relay, draw(names), heat, scheduled, tuple(entries)))
    return StartList(tuple(heats), ())


def rows_of(heats: StartList) -> list[dict[str, Value]]:
    return [
        {
            "event": heat.event,
            "relay": heat.relay.value,
            "round": heat.round,
            "heat": heat.heat,
            "scheduled": heat.scheduled or "",
            "lane": entry.lane,
            "team": entry.team,
            "affiliation": entry.affiliation,
            "bib": entry.bib,
            **{f"leg{at}": name for at, name in enumerate(entry.legs, start=1)},
        }
        for heat in heats.heats
        for entry in heat.entries
    ]


@settings(deadline=None, max_examples=60)
@given(
    start_lists(),
    st.sampled_from(",;\t"),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    st.sampled_from(["\r\n", "\n", "\r"]),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)
def test_any_start_list_written_as_csv_reads_back(
    heats: StartList, delimiter: str, encoding: str, line_end: str, quoting: int
) -> None:
    # The reference writer is the standard library's csv module.
    content = as_csv(
        rows_of(heats),
        delimiter=delimiter,
        encoding=encoding,
        line_end=line_end,
        quoting=quoting,
    )
    assert read_start_list(content) == (heats, ())


@settings(deadline=None, max_examples=30)
@given(start_lists(NAMES_IN_WINDOWS_1252))
def test_any_start_list_in_windows_1252_reads_back(heats: StartList) -> None:
    # The header of a column that is not ours keeps the file from being UTF-8 by chance.
    rows = [row | {"Rück": ""} for row in rows_of(heats)]
    expected = StartList(heats.heats, ("Rück",))
    assert read_start_list(as_csv(rows, encoding="cp1252")) == (expected, ())


@settings(deadline=None, max_examples=30)
@given(start_lists())
def test_any_start_list_written_as_xlsx_reads_back(heats: StartList) -> None:
    # The reference writer is openpyxl.
    assert read_start_list(as_xlsx(rows_of(heats))) == (heats, ())
