"""`demo --no-serve`: its papers are there, say what happened, and can be read by others' tools."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from pypdf import PdfReader

from app.cli import main
from app.record.check import check_lines
from seed_demo.files import read_meet
from seed_demo.story import Advise, Announce, JuryDecides, Rule, read_story
from seed_demo.telling import WIDTH, cells
from tests.demo.conftest import ROOT, DemoRun, bare_environment

KINDS = ("csv", "json", "pdf", "txt")


def words_of(pdf: Path) -> str:
    """The text of a PDF, with any white space as one blank."""
    pages = PdfReader(pdf).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def form_of(demo: DemoRun, name: str) -> str:
    (found,) = (demo.out / "forms").glob(f"*-{name}.pdf")
    return words_of(found)


def rows_of(demo: DemoRun, name: str) -> list[dict[str, str]]:
    with (demo.out / "results" / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, strict=True))


def windows_of(demo: DemoRun) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((demo.out / "windows.json").read_text("utf-8"))[
        "windows"
    ]
    return found


def test_the_demo_ends_well_and_writes_every_paper(demo: DemoRun) -> None:
    story = read_story()
    assert demo.ended == 0
    forms = list((demo.out / "forms").glob("*.pdf"))
    assert len(forms) == sum(isinstance(step, Rule) for step in story.step)
    results = {path.suffix[1:] for path in (demo.out / "results").iterdir()}
    assert results == set(KINDS)
    announced = sum(isinstance(step, Announce) for step in story.step)
    assert len(list((demo.out / "results").iterdir())) == announced * len(KINDS)
    for name in ("windows.json", "windows.ics", "record.jsonl"):
        assert (demo.out / name).stat().st_size > 0


def test_every_file_it_names_is_there_with_the_size_it_says(demo: DemoRun) -> None:
    listed = demo.printed.split("Written to", 1)[1].splitlines()[1:-2]
    sizes = {line.split()[0]: int(line.split()[1].replace(",", "")) for line in listed}
    there = {
        path.relative_to(demo.out).as_posix(): path.stat().st_size
        for path in demo.out.rglob("*")
        if path.is_file()
    }
    assert sizes == there


def test_the_table_fits_a_hundred_columns_and_tells_every_step(demo: DemoRun) -> None:
    table = demo.printed.split("Written to", 1)[0].splitlines()
    assert max(cells(line) for line in table) <= WIDTH
    told = [line for line in table if line[:2].isdigit()]
    assert len(told) == len(read_story().step) + 1


def test_the_story_names_its_day_and_what_is_left_to_the_reader(demo: DemoRun) -> None:
    lines = demo.printed.splitlines()
    first = next(number for number, line in enumerate(lines) if line[:2].isdigit())
    assert lines[first - 1] == "Saturday, 13 June 2026"
    (left,) = (line for line in lines if line.startswith("Left for you to rule on:"))
    assert "lane 1" in left
    assert "Men 4x400 m, final, heat 1" in left


def test_the_help_names_the_folder_that_papers_go_to(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["demo", "--help"])
    assert "(default: out, with --no-serve only)" in " ".join(capsys.readouterr().out.split())


def test_two_umpires_who_saw_the_same_stand_on_one_form(demo: DemoRun) -> None:
    """A pass completed beyond the zone disqualifies: World Athletics TR24.7."""
    form = form_of(demo, "women-heat-1-lane-4")
    assert "confirmed" in form
    assert "DQ TR24.7" in form
    assert "Pass completed beyond the take-over zone" in form
    assert "take-over 2, end, lanes 3–4, inside" in form
    assert "take-over 2, end, lanes 5–6, outside" in form
    assert "lane outside the post" in form


def test_names_in_many_scripts_are_letters_on_the_forms(demo: DemoRun) -> None:
    first = form_of(demo, "women-heat-1-lane-4")
    assert "ნინო ზღვისკარელი" in first
    assert "Արփի Ծովախորշյան" in first
    assert "Žralkův Přístav" in form_of(demo, "men-heat-1-lane-3")
    assert "Ветрогавань" in form_of(demo, "women-final-lane-3")
    for path in [*(demo.out / "forms").iterdir(), *(demo.out / "results").glob("*.pdf")]:
        assert "Could not be printed" not in words_of(path), path


def test_a_dismissed_case_has_its_form_and_no_effect(demo: DemoRun) -> None:
    form = form_of(demo, "women-heat-2-lane-6")
    assert "dismissed" in form
    assert "no disqualification" in form
    assert "The video from the stand looks along the line" in form
    team = next(row for row in rows_of(demo, "women-heat-2-announcement-1") if row["lane"] == "6")
    assert (team["place"], team["annotation"]) == ("4", "")


def test_a_report_for_the_wrong_heat_leaves_nothing_on_that_heat(demo: DemoRun) -> None:
    lanes = {row["lane"]: row for row in rows_of(demo, "women-heat-1-announcement-1")}
    assert lanes["7"]["annotation"] == ""
    form = form_of(demo, "women-heat-2-lane-7")
    assert "DQ TR24.6" in form
    assert "It was heat 2, I am sorry." in form
    forms = sorted(path.name for path in (demo.out / "forms").iterdir())
    assert [name for name in forms if "women-heat-1" in name] == ["01-women-heat-1-lane-4.pdf"]


def test_a_first_lane_infringement_is_noted_and_costs_no_place(demo: DemoRun) -> None:
    """L: lane infringement without disqualification (World Athletics CR25.4, from 1 Nov 2021)."""
    team = next(row for row in rows_of(demo, "men-heat-1-announcement-1") if row["lane"] == "3")
    assert (team["place"], team["time"], team["annotation"]) == ("2", "3:14.91", "L")


def test_after_the_late_report_the_teams_behind_move_up(demo: DemoRun) -> None:
    """As in Rio 2016, men's 4x100 m final: the third disqualified, the fourth placed third."""
    before = rows_of(demo, "men-heat-2-announcement-1")
    after = rows_of(demo, "men-heat-2-announcement-2")
    (out,) = (row for row in after if row["annotation"].startswith("DQ"))
    assert (out["lane"], out["place"], out["time"]) == ("6", "", "")
    assert out["annotation"] == "DQ TR24.20"
    kept = [row["lane"] for row in before if row["lane"] != out["lane"]]
    assert [row["lane"] for row in after if row["place"]] == kept
    assert [row["place"] for row in after if row["place"]] == [str(n) for n in range(1, 8)]


def test_announcing_with_a_silent_post_shows_the_explicit_word(demo: DemoRun) -> None:
    first = json.loads((demo.out / "results/men-heat-2-announcement-1.json").read_text("utf-8"))
    assert len(first["blockers"]["silent_posts"]) == 1
    assert "telephone has failed" in first["despite"]
    sheet = words_of(demo.out / "results/men-heat-2-announcement-1.pdf")
    assert "Announced although one post had not reported: The post" in sheet
    second = json.loads((demo.out / "results/men-heat-2-announcement-2.json").read_text("utf-8"))
    assert second["supersedes"] == first["id"]
    assert second["despite"] is None


def test_the_announcer_reads_the_disqualification_with_its_rule(demo: DemoRun) -> None:
    said = (demo.out / "results/women-heat-1-announcement-1.txt").read_text("utf-8").splitlines()
    assert said[0] == "Result for Women 4x100 m, heats, heat 1."
    assert said[1] == (
        "Harbour Lights Relay Carnival, 13 June 2026. Announcement 1, made at 14:09:00 CEST."
    )
    assert (
        "Disqualified: مرسى النورس, lane 4, by rule TR24.7: "
        "pass completed beyond the take-over zone, take-over 2." in said
    )


@pytest.mark.parametrize("kind", ["csv", "pdf"])
def test_every_form_of_a_result_says_the_same(demo: DemoRun, kind: str) -> None:
    for path in (demo.out / "results").glob("*.json"):
        lines = json.loads(path.read_text("utf-8"))["lines"]
        times = [line["time"] for line in lines if line["time"]]
        if kind == "csv":
            assert [row["time"] for row in rows_of(demo, path.stem) if row["time"]] == times
        else:
            assert all(time in words_of(path.with_suffix(".pdf")) for time in times)


def test_windows_close_thirty_minutes_after_what_opened_them(demo: DemoRun) -> None:
    """World Athletics TR8.2: within 30 minutes of the official announcement; TR8.7: appeals within
    30 of the advice. What the jury decided opens none (TR8.11).
    """
    found = windows_of(demo)
    steps = Counter(type(step) for step in read_story().step)
    opened_by = Counter(window["remedy"] for window in found)
    assert opened_by == {
        "protest": steps[Announce] - steps[JuryDecides],
        "appeal": steps[Advise],
    }
    for window in found:
        opened = datetime.fromisoformat(window["opened_at"])
        assert datetime.fromisoformat(window["closes_at"]) == opened + timedelta(minutes=30)
    states = Counter(window["state"] for window in found)
    assert set(states) == {"open", "closed", "void"}
    assert states["void"] == steps[JuryDecides], "nobody waits for an appeal that was decided"


def test_the_calendar_holds_the_same_windows(demo: DemoRun) -> None:
    """RFC 5545, read back with the library icalendar."""
    calendar = Calendar.from_ical((demo.out / "windows.ics").read_bytes())
    events = {
        str(event["uid"]).split("@")[0]: (event.decoded("dtstart"), event.decoded("dtend"))
        for event in calendar.walk("VEVENT")
    }
    assert events == {
        window["id"]: (
            datetime.fromisoformat(window["opened_at"]),
            datetime.fromisoformat(window["closes_at"]),
        )
        for window in windows_of(demo)
    }


def test_every_time_in_the_papers_is_of_the_day_the_files_name(demo: DemoRun) -> None:
    day = read_meet().set_up_at.date().isoformat()
    for window in windows_of(demo):
        assert window["opened_at_local"].startswith(day)
        assert window["opened_at"].endswith("Z")
    assert f"sealed {day}" in form_of(demo, "women-heat-1-lane-4")


def test_the_record_checks_and_holds_the_whole_story(demo: DemoRun) -> None:
    lines = (demo.out / "record.jsonl").read_text("utf-8").splitlines()
    checked = check_lines(lines)
    assert checked.is_good
    kinds = [json.loads(json.loads(line)["entry"])["kind"] for line in lines[:-1]]
    assert kinds[0] == "meet made"
    assert kinds.count("ruling") == len(list((demo.out / "forms").iterdir()))
    assert kinds.count("report returned") == 1
    assert kinds.count("report withdrawn") == 1
    assert "PIN refused" not in kinds


@pytest.mark.parametrize("share", [0.0, 0.2, 0.4, 0.6, 0.8, 0.99])
def test_a_flipped_bit_anywhere_in_the_record_is_found(
    demo: DemoRun, tmp_path: Path, share: float
) -> None:
    content = bytearray((demo.out / "record.jsonl").read_bytes())
    content[int(share * len(content))] ^= 1
    (tmp_path / "record.jsonl").write_bytes(content)
    assert main(["check", str(tmp_path)]) == 1


def test_as_a_process_it_writes_the_same_results_and_leaves_other_files_alone(
    demo: DemoRun, tmp_path: Path
) -> None:
    out, temporary = tmp_path / "out", tmp_path / "temporary"
    out.mkdir()
    temporary.mkdir()
    (out / "notes.txt").write_text("mine")
    environment = bare_environment(temporary)
    ran = run_app("demo", "--no-serve", "--out", str(out), environment=environment)
    assert ran.returncode == 0, ran.stderr
    assert ran.stderr == ""
    assert "RULES on lane 4: confirmed, DQ TR24.7" in ran.stdout
    assert (out / "notes.txt").read_text() == "mine"
    assert list(temporary.iterdir()) == []
    for kind in ("csv", "txt"):
        for path in (demo.out / "results").glob(f"*.{kind}"):
            assert (out / "results" / path.name).read_bytes() == path.read_bytes()
    checked = run_app("check", str(out), environment=environment)
    assert (checked.returncode, checked.stderr) == (0, "")
    record = out / "record.jsonl"
    record.write_bytes(record.read_bytes().replace(b"confirmed", b"dismissed", 1))
    changed = run_app("check", str(out), environment=environment)
    assert changed.returncode == 1
    assert "does not match the entry's commitment" in changed.stdout


def run_app(*arguments: str, environment: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "app", *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )


def test_the_meet_report_counts_what_became_of_the_reports_of_the_story(demo: DemoRun) -> None:
    """Counted by hand in the story: nine reports, of which five were confirmed (two about one lane
    by one ruling), two dismissed and one withdrawn; that of the men's final is open. Of seven,
    Wilson's interval is 36 % to 92 % (SciPy's binomtest).
    """
    with (demo.out / "meet-report" / "meet-report.csv").open(encoding="utf-8-sig") as lines:
        rows = [row for row in csv.DictReader(lines) if row["section"] == "meet"]
    counts = {row["measure"]: row["count"] for row in rows}
    by_hand = {"reports": "9", "confirmed": "5", "dismissed": "2", "withdrawn": "1", "open": "1"}
    assert {name: counts[name] for name in by_hand} == by_hand
    paper = words_of(demo.out / "meet-report" / "meet-report.pdf")
    assert "5 of 7, 95 % interval 36 % to 92 %" in paper


def test_the_plan_that_is_found_watches_every_edge_of_every_lane(demo: DemoRun) -> None:
    with (demo.out / "crew" / "plan-found.csv").open(encoding="utf-8-sig", newline="") as lines:
        rows = list(csv.DictReader(lines, strict=True))
    watched: Counter[tuple[str, ...]] = Counter()
    for row in rows:
        for heat in _span(row["heat"]):
            where = (row["event"], row["round"], str(heat), row["take_over"], row["edge"])
            watched[where] += len(_span(row["lanes"]))
    assert len(watched) == 5 * 3 * 2, "five heats, three take-overs, two edges"
    assert set(watched.values()) == {8}


def _span(text: str) -> range:
    first, _, last = text.partition("–")
    return range(int(first), int(last or first) + 1)
