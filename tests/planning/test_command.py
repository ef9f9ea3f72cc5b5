"""The command: files in, a plan out, in words that a person can act on."""

from __future__ import annotations

import argparse
import csv
import re
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from app.cli import main
from app.planning.command import add_arguments
from app.planning.from_files import asked_by
from app.planning.reading import DAY_S
from app.sheets.made_plan import read_made_plan
from tests.planning.files import HEADER, a_crew, a_programme, written

STARTS = ("10:00", "10:05", "10:10", "10:15")
SIX = [f"Umpire {number}" for number in range(1, 7)]


FILES = {"officials": "crew.csv", "programme": "programme.csv", "out": "plan.csv"}


def crew(folder: Path, *more: str) -> int:
    files = [f"--{name}={folder / file}" for name, file in FILES.items()]
    return main(["crew", *files, *more])


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_a_whole_plan_is_written_and_told(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, [f"{name},2" for name in SIX], "name,experience")
    assert crew(tmp_path) == 0
    out, err = capfd.readouterr()
    assert out.splitlines()[0].startswith("4 heats: 6 posts for 6 officials, planned after ")
    assert "Every edge of every lane in use is watched." in out
    assert "none is better, what counts most first: that is proven." in out
    assert re.search(r"^ +\d+\.\d s: ", err, re.MULTILINE)
    rows = rows_of(tmp_path / "plan.csv")
    assert {row["official"] for row in rows} == set(SIX)
    assert {(row["event"], row["round"], row["heat"]) for row in rows} == {
        ("Women 4x400", "heats", "1-4")
    }
    assert rows[0]["take_over"] == "1, 2, 3"


def test_what_stays_unwatched_ends_with_3_and_says_who_would_mend_it(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, ["Umpire 1"])
    assert crew(tmp_path) == 3
    out = capfd.readouterr().out
    assert "Unwatched: 4x400, take-overs 1, 2, 3, " in out
    assert ", lanes 1-4, 10:00 to 10:15." in out
    assert "1 person more would mend it, and nobody else moves; plan again" in out
    assert "  one more (1): 4x400, take-overs 1, 2, 3, " in out


def test_a_wish_that_was_given_up_is_told_with_what_it_would_have_cost(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, ["Umpire 1,Harbour,2", "Umpire 2,Harbour,2"], "name,affiliation,experience")
    assert crew(tmp_path) == 0
    out = capfd.readouterr().out
    assert "Given up: 8 heats over the own club's lane (Umpire " in out
    assert "Umpire 2, 4x400, take-overs 1, 2, 3, 10:00 to 10:15: 4" in out
    assert re.search(r"the best found comes to \d+ edges of lanes unwatched\.", out)


def test_whoever_drops_out_is_replaced_and_what_has_been_run_stays(tmp_path: Path) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0
    before = rows_of(tmp_path / "plan.csv")
    (tmp_path / "plan.csv").rename(tmp_path / "kept.csv")
    keep = ("--keep", str(tmp_path / "kept.csv"), "--from", "10:10")
    assert crew(tmp_path, *keep, "--drop", "Umpire 3") == 0
    after = rows_of(tmp_path / "plan.csv")
    run = [row for row in after if row["first"] == "10:00"]
    assert {(row["official"], row["edge"], row["lanes"]) for row in run} == {
        (row["official"], row["edge"], row["lanes"]) for row in before
    }
    assert all(row["last"] == "10:05" for row in run)
    assert "Umpire 3" not in {row["official"] for row in after if row["first"] >= "10:10"}


def test_a_heat_of_fewer_lanes_is_told_as_watched_when_who_had_the_others_drops_out(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    rows = [
        f"Women 4x400,heats,{heat},{lane},Team {heat}-{lane},Club,{start}"
        for heat, start, lanes in ((1, "10:00", 8), (2, "10:08", 6))
        for lane in range(1, lanes + 1)
    ]
    written(tmp_path / "programme.csv", HEADER, rows)
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0
    kept = (tmp_path / "plan.csv").rename(tmp_path / "kept.csv")
    posts = {(row["edge"], row["lanes"]): row["official"] for row in rows_of(kept)}
    gone = ("--drop", posts["end", "7-8"], "--from", "10:05")
    assert crew(tmp_path, "--keep", str(kept), *gone) == 0
    out = capfd.readouterr().out
    assert "Every edge of every lane in use is watched." in out


def test_a_plan_that_was_changed_can_be_changed_again(tmp_path: Path) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0
    for dropped, since in (("Umpire 3", "10:05"), ("Umpire 4", "10:15")):
        (tmp_path / "plan.csv").replace(tmp_path / "kept.csv")
        keep = ("--keep", str(tmp_path / "kept.csv"), "--from", since)
        assert crew(tmp_path, *keep, "--drop", dropped) == 0
    rows = rows_of(tmp_path / "plan.csv")
    assert not {row["official"] for row in rows if row["last"] == "10:15"} & {
        "Umpire 3",
        "Umpire 4",
    }
    assert {row["official"] for row in rows if row["dropped_out"]} == {"Umpire 3", "Umpire 4"}


def test_a_programme_that_is_shifted_keeps_its_plan(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0
    (tmp_path / "plan.csv").rename(tmp_path / "kept.csv")
    before = {
        (row["official"], row["edge"], row["lanes"]) for row in rows_of(tmp_path / "kept.csv")
    }
    a_programme(tmp_path, ("10:20", "10:25", "10:50", "10:55", "11:00"))
    assert crew(tmp_path, "--keep", str(tmp_path / "kept.csv")) == 0
    out = capfd.readouterr().out
    assert "0 heats stood otherwise than before" in out
    after = rows_of(tmp_path / "plan.csv")
    known = [row for row in after if row["first"] < "11:00"]
    assert {(row["official"], row["edge"], row["lanes"]) for row in known} == before
    a_programme(tmp_path, STARTS[:3])
    assert crew(tmp_path, "--keep", str(tmp_path / "kept.csv")) == 0
    told = capfd.readouterr().out
    assert "Left aside in the plan, as they are run no more: Women 4x400, heats, heat 4." in told


def test_what_is_pinned_is_in_the_plan(tmp_path: Path) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    pins = ("--pin", "Umpire 2=10:05,take-over 2 start", "--pin", "Umpire 5=10:05,off")
    assert crew(tmp_path, *pins) == 0
    rows = rows_of(tmp_path / "plan.csv")
    then = [row for row in rows if row["first"] <= "10:05" <= row["last"]]
    assert {row["edge"] for row in then if row["official"] == "Umpire 2"} == {"start"}
    assert "Umpire 5" not in {row["official"] for row in then}


@pytest.mark.parametrize(
    ("starts", "pinned"),
    [
        (("2026-11-30T10:00", "2026-11-30T10:05"), "2026-11-30 10:05"),
        (("2026-11-29 10:00", "2026-11-30 10:05", "2026-11-30 10:10"), "2026-11-30 10:05"),
        (("2026-11-29 10:05", "2026-12-01 10:00"), "2026-11-29 10:05"),
    ],
)
def test_a_time_of_the_day_is_of_the_one_day_of_a_programme_that_has_it(
    tmp_path: Path, starts: Sequence[str], pinned: str
) -> None:
    a_programme(tmp_path, starts)
    a_crew(tmp_path, [*SIX, "Bo=1"])
    assert crew(tmp_path, "--pin", "Bo=1=10:05,take-over 2 end", "--pin", "Umpire 1=10:05,off") == 0
    rows = rows_of(tmp_path / "plan.csv")
    then = [row for row in rows if row["first"] <= pinned <= row["last"]]
    assert {row["edge"] for row in then if row["official"] == "Bo=1"} == {"end"}
    assert "Umpire 1" not in {row["official"] for row in then}


def test_a_plan_is_changed_from_a_time_of_the_day_on_in_a_programme_of_one_day(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, ("2026-11-30T10:00", "2026-11-30T10:05"))
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0
    (tmp_path / "plan.csv").rename(tmp_path / "kept.csv")
    keep = ("--keep", str(tmp_path / "kept.csv"), "--drop", "Umpire 3")
    assert crew(tmp_path, *keep, "--from", "10:03") == 0
    assert crew(tmp_path, *keep, "--from", "noon") == 1
    assert "noon is no time of this programme; write it as 2026-11-30 10:00" in (
        capfd.readouterr().err
    )
    after = rows_of(tmp_path / "plan.csv")
    assert "Umpire 3" not in {row["official"] for row in after if row["first"][11:] >= "10:05"}
    assert "Umpire 3" in {row["official"] for row in after if row["last"][11:] == "10:00"}


@pytest.mark.parametrize(
    ("hours", "days"),
    [
        *((f"20:00,{end}", (29, 30)) for end in ("00:00", "0:00", "24:00", "24:00:00")),
        (",24:00", (29, 30)),
        ("2026-11-29 20:00,2026-11-29 24:00", (29,)),
        ("2026-11-30 20:00,2026-11-30T24:00", (30,)),
        ("2026-11-30 20:00,2026-12-01 00:00", (30,)),
        ("2026-11-29 20:00,2026-11-30 00:00", (29,)),
    ],
)
def test_until_midnight_is_until_the_end_of_the_day(
    tmp_path: Path, hours: str, days: tuple[int, ...]
) -> None:
    """Where a day is named, 00:00 begins it and 24:00 ends it (ISO 8601, from memory)."""
    a_programme(tmp_path, ("2026-11-29 23:50", "2026-11-30 23:50"))
    a_crew(tmp_path, [f"U,{hours}"], "name,from,until")
    crew(tmp_path)
    stood = [row["first"] for row in rows_of(tmp_path / "plan.csv")]
    assert stood == [f"2026-11-{day} 23:50" for day in days]


def test_hours_are_those_of_the_days_with_heats_however_far_apart_these_are(tmp_path: Path) -> None:
    """Of a year that was typed wrongly nobody has hours on each day until then."""
    a_programme(tmp_path, ("2026-11-29 10:00", "2026-11-30 10:00", "2099-11-29 10:00"))
    rows = [f"{name},{9 + number}:00,18:00" for number, name in enumerate(SIX)]
    a_crew(tmp_path, rows, "name,from,until")
    files = [f"--{name}={tmp_path / file}" for name, file in FILES.items()]
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    task = asked_by(parser.parse_args(files)).task
    days = [heat.starts_s // DAY_S for heat in task.heats]
    assert [span.begins_s // DAY_S for span in task.people[0].hours] == days
    assert all(
        one.is_there(*(heat.starts_s,) * 2) for one in task.people[:2] for heat in task.heats
    )


@pytest.mark.parametrize("which", ["officials", "programme", "template", "keep"])
def test_a_list_without_an_end_is_refused(
    tmp_path: Path, which: str, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    assert crew(tmp_path, f"--{which}", "/dev/zero") == 1
    assert "/dev/zero: This file is larger than 8 MiB." in capfd.readouterr().err
    assert not (tmp_path / "plan.csv").exists()


def test_ten_on_the_line_of_a_4x800_are_watched_on_a_track_of_eight_lanes(tmp_path: Path) -> None:
    a_programme(tmp_path, ("10:00",), "Women 4x800", range(1, 11))
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0


def test_on_an_oval_one_crew_sees_all_take_overs_of_a_4x200(tmp_path: Path) -> None:
    """A lap of 200 m: 2 * 50 m of straights, and bends measured 0.30 m from a kerb at 15.615 m."""
    a_programme(tmp_path, ("10:00",), "Women 4x200")
    a_crew(tmp_path, SIX)
    assert crew(tmp_path, "--radius", "15.615", "--straight", "50") == 0
    assert {row["take_over"] for row in rows_of(tmp_path / "plan.csv")} == {"1, 2, 3"}


def test_no_4x100_is_planned_on_an_oval(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    a_programme(tmp_path, ("10:00",), "Women 4x100")
    a_crew(tmp_path, SIX)
    assert crew(tmp_path, "--radius", "15.615", "--straight", "50") == 1
    assert "Women 4x100, heats, heat 1: no 4x100 is run on an oval of 200 m" in (
        capfd.readouterr().err
    )


def test_a_template_of_the_meet_is_kept_to(tmp_path: Path) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    rows = ["2,start,inside,4", "2,end,outside,4"]
    template = written(tmp_path / "template.csv", "people,edge,side,lanes", rows)
    assert crew(tmp_path, "--template", str(template)) == 0
    told = {(row["edge"], row["side"], row["lanes"]) for row in rows_of(tmp_path / "plan.csv")}
    assert told == {("start", "inside", "1-4"), ("end", "outside", "1-4")}


def test_a_referee_stands_at_no_zone_and_hours_hold_each_day(tmp_path: Path) -> None:
    a_programme(tmp_path, ("2026-06-13 10:00", "2026-06-14 10:00"))
    people = ["Rita Referee,referee,", "Umpire 1,umpire,9:00", "Umpire 2,umpire,11:00"]
    a_crew(tmp_path, people, "name,roles,from")
    assert crew(tmp_path) == 3
    rows = rows_of(tmp_path / "plan.csv")
    assert {row["official"] for row in rows} == {"Umpire 1"}
    assert [row["first"] for row in rows] == ["2026-06-13 10:00", "2026-06-14 10:00"]


def test_stints_and_breaks_are_those_that_are_asked_for(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Two watch all four heats, from 9:58 to 11:05, with 13 minutes from one to the next."""
    a_programme(tmp_path, ("10:00", "10:20", "10:40", "11:00"))
    a_crew(tmp_path, SIX[:2])
    told = {}
    for more in ("", "--longest-stint 45", "--longest-stint 45 --break 13"):
        assert crew(tmp_path, *more.split()) == 0
        told[more] = re.search(
            r"(\d+) rows? of heats though a break was due", capfd.readouterr().out
        )
    assert {more: found and found[1] for more, found in told.items()} == {
        "": "0",
        "--longest-stint 45": "2",
        "--longest-stint 45 --break 13": "0",
    }


@pytest.mark.parametrize("more", ["--longest-stint 14", "--longest-stint 1e2", "--break 121"])
def test_minutes_that_no_meet_asks_for_are_refused(
    tmp_path: Path, more: str, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        crew(tmp_path, *more.split())
    assert re.search(r"choose (15 to 600|5 to 120) whole minutes", capfd.readouterr().err)


def test_what_is_written_is_what_is_read_again(tmp_path: Path) -> None:
    a_programme(tmp_path, STARTS, "Women 4x100", (2, 3, 5, 7))
    a_crew(tmp_path, SIX)
    crew(tmp_path)
    rows, ignored, problems = read_made_plan((tmp_path / "plan.csv").read_bytes())
    assert (len(rows), ignored, problems) == (6, (), ())


BAD = {
    "two heats at once": (("10:00", "10:01"), ["U"], "name", (), "row 6, scheduled: "),
    "no start": (("",), ["U"], "name", (), "row 2, scheduled: Women 4x400, heats, heat 1 has no"),
    "twice": (STARTS, ["U", "Umpire", "u"], "name", (), "row 4, name: “u” stands in row 2"),
    "hours": (STARTS, ["U,12:00,9:00"], "name,from,until", (), "row 2, until: These hours end at"),
    "position": (STARTS, ["U,the bar"], "name,not", (), "row 2, not: “the bar” is no position"),
    "experience": (STARTS, ["U,4"], "name,experience", (), "row 2, experience: There is no"),
    "dates": (STARTS, ["U,2026-06-13 9:00"], "name,from", (), "row 2, from: The programme has no"),
    "pin": (STARTS, ["U"], "name", ("--pin", "U at 10"), "U at 10 is no pin"),
    "pin of a stranger": (STARTS, ["U"], "name", ("--pin", "V=10:00,off"), "is called V"),
    "pin of no heat": (
        *(STARTS, ["U"], "name", ("--pin", "U=11:00,off")),
        "starts at 11:00; the nearest starts at 10:15",
    ),
    "pin of no time": (
        *(STARTS, ["U"], "name", ("--pin", "U=noon,off")),
        "noon is no time of this programme; write it as 10:00",
    ),
    "pin of a date, where there are none": (
        *(STARTS, ["U"], "name", ("--pin", "U=2026-05-03 10:05,off")),
        "is no time of this programme; write it as 10:00",
    ),
    "pin of no time of the dates": (
        *(("2026-11-30T10:00",), ["U"], "name", ("--pin", "U=noon,off")),
        "noon is no time of this programme; write it as 2026-11-30 10:00",
    ),
    "pin with an offset": (
        *(("2026-11-30T10:00",), ["U"], "name", ("--pin", "U=2026-11-30 10:00+01:00,off")),
        "is no time of this programme; write it as 2026-11-30 10:00",
    ),
    "pin of a time on two days": (
        *(("2026-11-29 10:00", "2026-11-30 10:00"), ["U"], "name", ("--pin", "U=10:00,off")),
        "10:00 of which day? Write it with its day, as 2026-11-29 10:00",
    ),
    "pin of a time on no day": (
        *(("2026-11-29 10:00", "2026-11-30 11:00"), ["U"], "name", ("--pin", "U=10:05,off")),
        "10:05 of which day? Write it with its day, as 2026-11-29 10:00",
    ),
    "hour": (
        *(STARTS, ["U,noon"], "name,from", ()),
        "row 2, from: “noon” is no time of the day. Write it as 09:30, or as 2026-05-03 09:30.",
    ),
    "end": (STARTS, ["U,24:01"], "name,until", (), "row 2, until: “24:01” is no time of the day."),
    "beginning": (STARTS, ["U,24:00"], "name,from", (), "row 2, from: “24:00” is no time of the"),
    "offset": (("2026-06-13 10:00Z",), ["U"], "name", (), "without an offset"),
    "hours with an offset": (
        *(STARTS, ["U,2026-06-13 9:00Z"], "name,from", ()),
        "row 2, from: Hours are those of the meet's own clock",
    ),
    "a column nobody knows": (STARTS, ["U,9"], "name,untill", (), "not known: untill"),
    "nobody for a zone": (STARTS, ["R,referee"], "name,roles", (), "has the role umpire"),
    "too few lanes": (STARTS, ["U"], "name", ("--lanes", "3"), "say --lanes 4"),
    "lanes with a template": (
        *(STARTS, ["U"], "name", ("--lanes", "4", "--template", "none.csv")),
        "--lanes is for the usual posts",
    ),
    "no track": (STARTS, ["U"], "name", ("--radius", "20"), "no 400 m track and no oval"),
    "drop alone": (STARTS, ["U"], "name", ("--drop", "U"), "--drop and --from go with --keep"),
}


def test_a_drop_out_of_one_of_several_days_is_told_with_its_day(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Also where a heat starts at that time on one of them alone: it need not be that one."""
    a_programme(tmp_path, ("2026-11-29 10:00", "2026-11-30 11:00"))
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0
    (tmp_path / "plan.csv").rename(tmp_path / "kept.csv")
    keep = ("--keep", str(tmp_path / "kept.csv"), "--from")
    assert crew(tmp_path, *keep, "10:00") == 1
    assert (
        "10:00 of which day? Write it with its day, as 2026-11-29 10:00" in capfd.readouterr().err
    )
    assert crew(tmp_path, *keep, "2026-11-30 10:00") == 0


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_told_by_row_and_column_and_nothing_is_written(
    case: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    starts, people, header, more, told = BAD[case]
    a_programme(tmp_path, starts)
    a_crew(tmp_path, people, header)
    assert crew(tmp_path, *more) == 1
    assert told in capfd.readouterr().err
    assert not (tmp_path / "plan.csv").exists()


def test_a_plan_is_written_over_no_list_and_into_no_folder_that_is_missing(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    people = a_crew(tmp_path, SIX)
    before = people.read_bytes()
    asked = ["crew", "--officials", str(people), "--programme", str(tmp_path / "programme.csv")]
    assert main([*asked, "--out", str(people)]) == 1
    assert "is one of the lists" in capfd.readouterr().err
    assert people.read_bytes() == before
    assert main([*asked, "--out", str(tmp_path / "nowhere" / "plan.csv")]) == 1
    assert "make it first" in capfd.readouterr().err
    assert main([*asked, "--out", str(tmp_path)]) == 1
    assert "is a folder; name a file in it" in capfd.readouterr().err


@pytest.mark.parametrize(("name", "why"), [("nobody.csv", "No such file"), ("", "Is a directory")])
def test_a_list_that_cannot_be_read_is_named(
    name: str, why: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    assert crew(tmp_path, "--template", str(tmp_path / name)) == 1
    told = capfd.readouterr().err
    assert f"{tmp_path / name} could not be read ({why}" in told
    assert "Errno" not in told
    assert not (tmp_path / "plan.csv").exists()


def test_columns_of_a_programme_that_nobody_knows_are_told(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = a_programme(tmp_path, STARTS)
    lines = path.read_text().splitlines()
    told = [f"{lines[0]},coach", *(f"{line},C" for line in lines[1:])]
    path.write_text("\n".join(told) + "\n")
    a_crew(tmp_path, SIX)
    assert crew(tmp_path) == 0
    assert "Left aside in the programme, as nobody knows them: coach." in capfd.readouterr().out


def test_heats_that_do_not_follow_each_other_are_named_one_by_one(tmp_path: Path) -> None:
    rows = [
        f"Women 4x400,heats,{number},{lane},T {number} {lane},Club,10:0{minute}"
        for number, minute in ((1, 0), (3, 5))
        for lane in (1, 2)
    ]
    header = "event,round,heat,lane,team,affiliation,scheduled"
    (tmp_path / "programme.csv").write_text("\n".join([header, *rows]) + "\n")
    a_crew(tmp_path, SIX)
    crew(tmp_path)
    assert {row["heat"] for row in rows_of(tmp_path / "plan.csv")} == {"1, 3"}


def test_ten_thousand_officials_are_refused_at_once(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, [f"Umpire {number}" for number in range(10_000)])
    began = time.perf_counter()
    assert crew(tmp_path) == 1
    assert time.perf_counter() - began < 3
    assert "This list names 10,000 people; a crew is planned for at most 500." in (
        capfd.readouterr().err
    )


def test_a_plan_of_another_programme_is_not_kept(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    crew(tmp_path)
    (tmp_path / "plan.csv").rename(tmp_path / "kept.csv")
    a_programme(tmp_path, STARTS, "Women 4x100")
    assert crew(tmp_path, "--keep", str(tmp_path / "kept.csv")) == 1
    assert "row 2, event: The programme has no heat of this plan" in capfd.readouterr().err


def test_one_time_is_for_all_and_each_phase_is_told(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    starts = [f"{9 + number // 10}:{number % 10 * 6:02}" for number in range(30)]
    a_programme(tmp_path, starts, "Women 4x100", range(1, 9))
    a_crew(tmp_path, [f"Umpire {number},Harbour" for number in range(5)], "name,affiliation")
    began = time.perf_counter()
    assert crew(tmp_path, "--seconds", "4") == 3
    assert time.perf_counter() - began < 4 + 8  # what is built and begun is ended a little later
    err = capfd.readouterr().err
    assert "(looking for how few people more would mend it)" in err
    assert "(looking for what keeping the wishes that were given up would cost)" in err


@pytest.mark.slow
def test_ctrl_c_ends_the_search_with_the_best_plan_so_far(tmp_path: Path) -> None:
    starts = [f"{9 + number // 10}:{number % 10 * 6:02}" for number in range(60)]
    a_programme(tmp_path, starts, "Women 4x100", range(1, 9))
    a_crew(tmp_path, [f"Umpire {number},Harbour" for number in range(20)], "name,affiliation")
    files = ["--officials", "crew.csv", "--programme", "programme.csv", "--out", "plan.csv"]
    command = [sys.executable, "-m", "app", "crew", *files, "--seconds", "300"]
    process = subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    for _ in range(3):
        assert process.stderr.readline()
    process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=30)
    assert process.returncode in {0, 3}
    assert ", stopped after " in out.splitlines()[0]
    assert rows_of(tmp_path / "plan.csv")


def test_a_start_of_the_program_loads_no_solver() -> None:
    code = "import app.cli, app.serving, sys; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"highspy", "numpy", "app.planning.search"} & set(done.stdout.split())
