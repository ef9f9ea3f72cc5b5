"""`zonedocket survey`: sheets and a list without a database, and an end that a script can use."""

from __future__ import annotations

import csv
import re
import shlex
from collections.abc import Sequence
from pathlib import Path

import pytest

from app.cli import main
from tests.forms.pdf_reading import count_pages, read_text
from tests.test_files import a_full_disk
from tests.test_readme import README


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as lines:
        return list(csv.DictReader(lines))


def rewrite(path: Path, rows: list[dict[str, str]], columns: Sequence[str] = ()) -> Path:
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        writer = csv.DictWriter(out, columns or list(rows[0]), restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def a_list(folder: Path, off: float) -> Path:
    """The list of a 4x100 with the end of its third zone measured, lane 6 off by so much."""
    assert main(["survey", "--relay", "4x100", "--out", str(folder)]) == 0
    rows = rows_of(folder / "survey.csv")
    for row in rows:
        if (row["take_over"], row["line"]) == ("3", "end"):
            row["measured_m"] = f"{float(row['tape_m']) - (off if row['lane'] == '6' else 0):.3f}"
    return rewrite(folder / "measured.csv", rows)


def test_it_writes_a_page_for_each_zone_that_is_painted_and_a_list_of_all_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The second and the third take-over of a 4x400 are at the same lines."""
    arguments = ["survey", "--relay", "4x100", "--relay", "4x400", "--lanes", "6"]
    assert main([*arguments, "--meet", "Harbour Relays", "--out", str(tmp_path / "out")]) == 0
    sheets = (tmp_path / "out" / "survey-sheets.pdf").read_bytes()
    assert count_pages(sheets) == 5
    assert len(rows_of(tmp_path / "out" / "survey.csv")) == 2 * 3 * 6 * 3
    assert "5 pages" in capsys.readouterr().out
    told = " ".join(read_text(sheets).split())
    assert "The same lines serve 4x400, take-over 3: measure them once." in told


def test_measures_that_make_no_lap_of_400_m_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = ["--radius", "37.2", "--straight", "82.5"]
    assert main(["survey", "--relay", "4x100", *odd, "--out", str(tmp_path / "odd")]) == 0
    assert "400.62 m, 0.62 m more than 400 m. Check the radius" in capsys.readouterr().out
    assert main(["survey", "--relay", "4x100", "--out", str(tmp_path / "usual")]) == 0
    assert "Check the radius" not in capsys.readouterr().out


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


def filled_in(path: Path, column: str = "measured_m", value: str = "34.91") -> bytes:
    """The list with a cell of a line filled in, of one that was measured where there is any; the
    column is one that it has or gets.
    """
    rows = rows_of(path)
    chosen = next((row for row in rows if row["measured_m"]), rows[0])
    chosen[column] = value
    return rewrite(path, rows, list(chosen)).read_bytes()


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("measured_m", "34.91"),
        ("remark", "paint is worn"),
        ("measured_from", "finish line"),
        ("tape_m", "12.3"),
        ("part_of_lap", "cannot be seen"),
        ("or_from", "paint is worn"),
        ("verdict", "wrong"),
    ],
)
def test_a_list_that_was_filled_in_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], column: str, value: str
) -> None:
    ask = ["survey", "--relay", "4x100", "--out", str(tmp_path / "s1")]
    assert main(ask) == 0
    assert main(ask) == 0, "a blank one may be written anew"
    before = filled_in(tmp_path / "s1" / "survey.csv", column, value)
    (tmp_path / "s1" / "survey-sheets.pdf").unlink()
    assert main(ask) == 1
    told = capsys.readouterr().err
    assert "survey.csv is there, and would be lost: it is filled in, changed, or of another" in told
    assert "Name another folder with --out, or have it judged with --measured" in told
    assert [one.read_bytes() for one in (tmp_path / "s1").iterdir()] == [before]


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"relay;lane\n4x100;1\n", b'"'])
def test_a_list_that_this_program_did_not_write_is_not_written_over(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "survey.csv"
    path.write_bytes(content)
    assert main(["survey", "--relay", "4x100", "--out", str(tmp_path)]) == 1
    assert path.read_bytes() == content


def test_the_list_that_is_judged_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    judge = ["survey", "--relay", "4x100", "--tolerance", "20", "--out", str(tmp_path)]
    assert main([*judge, "--measured", str(a_list(tmp_path, 0.05))]) == 3
    judged = tmp_path / "survey-judged.csv"
    before = judged.read_bytes()
    assert main([*judge, "--measured", str(judged)]) == 1
    assert "survey-judged.csv is read, and would be written over. Name another folder" in (
        capsys.readouterr().err
    )
    assert judged.read_bytes() == before


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("remark", "paint is worn"),
        ("measured_m", "33.9"),
        ("measured_m", ""),
        ("off_m", "?"),
        ("verdict", "mended"),
        ("verdict", "wrong"),
        ("or_from", "mended 12 June"),
    ],
)
def test_what_was_judged_is_judged_anew_unless_somebody_has_written_in_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], column: str, value: str
) -> None:
    measured = a_list(tmp_path, 0.05)
    judge = ["survey", "--relay", "4x100", "--measured", str(measured), "--out", str(tmp_path)]
    assert main([*judge, "--tolerance", "20"]) == 3
    assert main([*judge, "--tolerance", "60"]) == 0, "it stands as it was judged"
    before = filled_in(tmp_path / "survey-judged.csv", column, value)
    assert main(judge) == 1
    assert "was changed since it was judged, or is of another track" in capsys.readouterr().err
    assert (tmp_path / "survey-judged.csv").read_bytes() == before


def test_rows_that_were_taken_out_of_a_list_are_not_put_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ask = ["survey", "--relay", "4x100", "--out", str(tmp_path)]
    assert main(ask) == 0
    path = tmp_path / "survey.csv"
    fewer = b"".join(path.read_bytes().splitlines(keepends=True)[:-3])
    path.write_bytes(fewer)
    assert main(ask) == 1
    assert "changed" in capsys.readouterr().err
    assert path.read_bytes() == fewer


def test_a_list_that_was_made_for_another_track_is_not_judged_by_this_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ask = ["survey", "--relay", "4x100", "--out", str(tmp_path)]
    other = ["--radius", "37.61", "--straight", "80.905", "--tolerance", "5"]
    assert main([*ask, *other]) == 0
    path = tmp_path / "measured.csv"
    rows = rows_of(tmp_path / "survey.csv")
    rewrite(path, [{**row, "measured_m": row["tape_m"]} for row in rows])
    judge = [*ask, "--measured", str(path)]
    assert main(judge) == 1
    told = capsys.readouterr().err
    assert "row 2, metres_into_it: The list was made for another track or edition" in told
    assert not (tmp_path / "survey-judged.csv").exists()
    assert main([*judge, *other]) == 0
    (tmp_path / "survey-judged.csv").unlink()
    # What was measured from marks holds where the measures were wrong: then they are left out.
    rewrite(path, [{**row, "measured_m": row["tape_m"], "metres_into_it": ""} for row in rows])
    assert main([*judge, "--tolerance", "20"]) == 3


def test_what_was_measured_of_a_line_counts_for_every_zone_that_it_belongs_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ask = ["survey", "--relay", "4x400", "--relay", "4x800", "--out", str(tmp_path)]
    assert main(ask) == 0
    rows = rows_of(tmp_path / "survey.csv")
    for row in rows:
        if (row["relay"], row["take_over"], row["lane"]) == ("4x400", "2", "4"):
            off = 0.05 if row["line"] == "end" else 0
            row["measured_m"] = f"{float(row['tape_m']) + off:.3f}"
    rewrite(tmp_path / "measured.csv", rows)
    judge = [*ask, "--measured", str(tmp_path / "measured.csv"), "--tolerance", "20"]
    assert main(judge) == 3
    told = capsys.readouterr().out
    for zones in ("4x400: Take-overs 2–3: ", "4x800: Take-overs 1–3: "):
        assert f"{zones}by the survey, lines lie in the wrong place in lane 4: end 0.051 m" in told
    judged = rows_of(tmp_path / "survey-judged.csv")
    wrong = [
        (row["relay"], row["take_over"], row["measured_m"] != "")
        for row in judged
        if row["verdict"] == "wrong"
    ]
    assert wrong == [
        *(("4x400", number, True) for number in "23"),
        *(("4x800", number, True) for number in "123"),
    ]
    assert main(judge) == 3, "it stands as it was judged"


def test_a_line_that_lies_otherwise_by_one_row_than_by_another_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    head = "relay,take_over,lane,line,measured_from,measured_m"
    first, second = "4x400,2,6,end,F,9.931", "4x400,3,6,end,finish line,10.031"
    path = tmp_path / "measured.csv"
    path.write_text(f"{head}\n{first}\n{second}\n")
    judge = ["survey", "--relay", "4x400", "--measured", str(path), "--out", str(tmp_path / "out")]
    assert main(judge) == 1
    told = capsys.readouterr().err
    assert "row 3, measured_m: This line is the one of row 2, of 4x400, take-over 2" in told
    path.write_text(f"{head}\n{first}\n4x400,3,6,end,finish line,9.933\n")
    assert main(judge) == 0, "two tapes agree to some millimetres"


@pytest.mark.parametrize(
    ("wrote", "says"),
    [("87.04", ""), ("87,038", ""), ("88.04", "made for another track"), ("87038", "no length")],
)
def test_where_a_list_says_that_its_lines_lie_is_read_as_it_was_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], wrote: str, says: str
) -> None:
    # tests/rules/published/takeover-4x100.csv: bend1:87.04 in lane 2
    path = tmp_path / "measured.csv"
    path.write_text(
        "relay;take_over;lane;line;metres_into_it;measured_from;measured_m\n"
        f"4x100;1;2;start;{wrote};A;30.977\n"
    )
    judge = ["survey", "--relay", "4x100", "--measured", str(path), "--tolerance", "20"]
    assert main([*judge, "--out", str(tmp_path / "out")]) == (1 if says else 0)
    assert says in capsys.readouterr().err


def test_on_a_full_disk_the_sheets_and_the_list_stay_as_they_were(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ask = ["survey", "--relay", "4x100", "--out", str(tmp_path)]
    assert main(ask) == 0
    before = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
    with a_full_disk(room=1000):
        assert main([*ask, "--relay", "4x400"]) == 1
    assert "survey-sheets.pdf could not be written (File too large)" in capsys.readouterr().err
    assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == before


def test_the_examples_of_the_readme_lose_nothing_of_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    first, then = re.findall(r"^\.venv/bin/python -m app (survey .*)$", README, re.MULTILINE)
    assert main(shlex.split(first)) == 0
    went_out = (tmp_path / "survey" / "survey-sheets.pdf").read_bytes()
    list_before = filled_in(tmp_path / "survey" / "survey.csv")
    assert main(shlex.split(then)) == 3
    assert (tmp_path / "survey" / "survey-sheets.pdf").read_bytes() == went_out
    assert count_pages((tmp_path / "survey" / "survey-judged-sheets.pdf").read_bytes()) == 5
    assert (tmp_path / "survey" / "survey.csv").read_bytes() == list_before
    assert len(rows_of(tmp_path / "survey" / "survey-judged.csv")) == 2 * 3 * 8 * 3
