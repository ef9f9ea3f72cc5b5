"""`zonedocket survey`: sheets and a list without a database, and an end that a script can use."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from app.cli import main
from tests.forms.pdf_reading import count_pages


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as lines:
        return list(csv.DictReader(lines))


def a_list(folder: Path, off: float) -> Path:
    """The list of a 4x100 with the end of its third zone measured, lane 6 off by so much."""
    assert main(["survey", "--relay", "4x100", "--out", str(folder)]) == 0
    rows = rows_of(folder / "survey.csv")
    for row in rows:
        if (row["take_over"], row["line"]) == ("3", "end"):
            row["measured_m"] = f"{float(row['tape_m']) - (off if row['lane'] == '6' else 0):.3f}"
    path = folder / "measured.csv"
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_it_writes_a_page_a_zone_and_a_list_of_all_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["survey", "--relay", "4x100", "--relay", "4x400", "--lanes", "6"]
    assert main([*arguments, "--meet", "Harbour Relays", "--out", str(tmp_path / "out")]) == 0
    assert count_pages((tmp_path / "out" / "survey-sheets.pdf").read_bytes()) == 6
    assert len(rows_of(tmp_path / "out" / "survey.csv")) == 2 * 3 * 6 * 3
    assert "6 zones" in capsys.readouterr().out


def test_it_ends_with_3_where_a_line_lies_wrong_and_with_0_where_none_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    measured = a_list(tmp_path, 0.05)
    judge = ["survey", "--relay", "4x100", "--measured", str(measured), "--out", str(tmp_path)]
    filled_in, before = measured.read_bytes(), (tmp_path / "survey.csv").read_bytes()
    assert main([*judge, "--tolerance", "20"]) == 3
    assert measured.read_bytes() == filled_in
    assert (tmp_path / "survey.csv").read_bytes() == before
    wrong = [
        one["lane"] for one in rows_of(tmp_path / "survey-judged.csv") if one["verdict"] == "wrong"
    ]
    assert wrong == ["6"]
    assert "lane 6: end 0.050 m too far on" in capsys.readouterr().out
    assert main([*judge, "--tolerance", "60"]) == 0
    assert "none in the wrong place" in capsys.readouterr().out
    assert main(judge) == 0
    assert "no tolerance is set" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--straight", "-84.39"], "more than 0 m"),
        (["--lane-width", "0.3"], "0.90 to 1.50 m wide"),
        (["--radius", "30"], "no 400 m track and no oval of 200 m"),
        (["--lanes", "11"], "1 to 10 lanes"),
        (["--radius", "17.2", "--straight", "45.022"], "has no zones for 4x100"),
        (["--tolerance", "0"], "5 to 500 mm"),
        (["--measured", "nowhere.csv"], "nowhere.csv"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    out = tmp_path / "out"
    assert main(["survey", "--relay", "4x100", *arguments, "--out", str(out)]) == 1
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1
    assert not out.exists()


def test_a_list_with_a_fault_is_told_by_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "measured.csv"
    path.write_text(
        "relay,take_over,lane,line,measured_from,measured_m\n4x100,3,9,end,finish line,five\n"
    )
    arguments = ["survey", "--relay", "4x100", "--measured", str(path)]
    assert main([*arguments, "--out", str(tmp_path / "out")]) == 1
    assert "row 2, measured_m" in capsys.readouterr().err
