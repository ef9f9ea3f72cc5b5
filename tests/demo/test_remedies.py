"""The demo's protests and its appeal: their papers, who is in the final, and what is final."""

from __future__ import annotations

import csv
import json
from collections import Counter
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from app.sheets.race_time import parse_time
from seed_demo.files import FOLDER, read_meet
from seed_demo.story import Appeal, Decide, JuryDecides, Protest, SetRound, Vote, read_story
from tests.demo.conftest import DemoRun
from tests.forms.pdf_reading import read_pages, read_text
from tests.sealing.reading import seals_in

BY_PLACE, BY_TIME = 3, 2
HEATS = ("men-heat-1", "men-heat-2")


def paper(demo: DemoRun, folder: str, name: str) -> str:
    """The text of the one paper of that name, as poppler reads it."""
    (found,) = (demo.out / folder).glob(f"*{name}*.pdf")
    return " ".join(read_pages(found.read_bytes()))


def document(demo: DemoRun, path: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((demo.out / path).read_text("utf-8"))
    return found


def rows(path: Any) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, strict=True))


def result(demo: DemoRun, name: str) -> list[dict[str, str]]:
    return rows(demo.out / "results" / f"{name}.csv")


def teams_of(file: str, event: str, round_: str, heat: str = "1") -> dict[str, str]:
    """The teams of a heat in a start list, by lane."""
    named = (event, round_, heat)
    return {
        row["lane"]: row["team"]
        for row in rows(FOLDER / file)
        if (row["event"], row["round"], row["heat"]) == named
    }


def as_they_finished(without: str = "") -> list[tuple[int, int, str]]:
    """The teams of the men's heats by their finish lists alone: thousandths, place in its heat."""
    found = []
    for number, key in enumerate(HEATS, start=1):
        teams = teams_of("start-list.csv", "Men 4x400 m", "heats", str(number))
        ran = [row for row in rows(FOLDER / "finish" / f"{key}.csv") if row["time"][0].isdigit()]
        known = ((parse_time(row["time"])[0], teams[row["lane"]]) for row in ran)
        times = sorted(one for one in known if one[1] != without)
        found += [(time, place, team) for place, (time, team) in enumerate(times, start=1)]
    return found


def those_through(finished: list[tuple[int, int, str]]) -> dict[str, str]:
    """The first three of each heat and the next two times: IAAF Rule 167 (2010-11)."""
    by_place = {team: "Q" for _, place, team in finished if place <= BY_PLACE}
    rest = sorted((time, team) for time, place, team in finished if place > BY_PLACE)
    return by_place | {team: "q" for _, team in rest[:BY_TIME]}


def test_each_protest_appeal_and_decision_has_its_paper(demo: DemoRun) -> None:
    steps = Counter(type(step) for step in read_story().step)
    there = {folder: len(list((demo.out / folder).iterdir())) for folder in ("protests", "appeals")}
    assert there == {"protests": steps[Protest], "appeals": steps[Appeal]}
    names = sorted(path.name.split("-")[1] for path in (demo.out / "decisions").iterdir())
    assert Counter(names) == {"referee": steps[Decide], "jury": steps[JuryDecides]}
    assert len(list((demo.out / "rounds").iterdir())) == steps[SetRound]
    assert (demo.out / "dossiers" / "appeal-1.json").stat().st_size > 0


def test_no_name_is_lost_on_the_papers_of_protests_and_appeals(demo: DemoRun) -> None:
    for folder in ("protests", "appeals", "decisions"):
        for path in (demo.out / folder).iterdir():
            assert "Could not be printed" not in " ".join(read_pages(path.read_bytes())), path


def test_a_protest_in_time_is_rejected_with_reasons(demo: DemoRun) -> None:
    """World Athletics TR8.2: until 30 minutes after the announcement, here of 14:09."""
    lodged = paper(demo, "protests", "women-heat-1-lane-4")
    assert "in time by 15 min 20 s" in lodged
    assert "until 14:39:00 CEST; TR8.2" in lodged
    assert "Our receiver had the baton before the line." in lodged
    decided = paper(demo, "decisions", "referee-women-heat-1-lane-4")
    assert "rejected" in decided
    assert "nothing is amended" in decided
    assert "Two umpires on both sides of the track saw both hands on the baton" in decided
    assert "with a deposit of 100 EUR" in decided


def test_a_late_protest_is_kept_marked_and_rejected_for_that(demo: DemoRun) -> None:
    """World Athletics TR8.2: the time ended at 14:53, 30 minutes after the announcement."""
    for folder in ("protests", "decisions"):
        text = paper(demo, folder, "women-heat-2-lane-3")
        assert "LATE by 5 min (opened by announcement 1, until 14:53:00 CEST; TR8.2)" in text
        assert "rejected" in text
    assert "It is not heard." in paper(demo, "decisions", "women-heat-2-lane-3")


def test_the_appeal_is_in_writing_in_time_and_with_the_meets_own_deposit(demo: DemoRun) -> None:
    """World Athletics TR8.7: within 30 minutes of the advice, given here at 15:03:10."""
    text = paper(demo, "appeals", "men-heat-2-lane-6")
    assert "opened by advice on protest 3, until 15:33:10 CEST; TR8.7.2" in text
    assert "deposit asked 100 EUR" in text
    assert "100 EUR, receipt R-17" in text
    assert "The film of our second camera shows the whole zone." in text


def test_the_jurys_decision_tells_votes_panel_orders_and_what_moves(demo: DemoRun) -> None:
    text = paper(demo, "decisions", "jury-men-heat-2-lane-6")
    assert "2 for, 1 against; quorum 3" in text
    assert "secretary, no vote Ottokar Inkwell" in text
    assert "My club's team would lose its place in the final." in text
    assert "The disqualification of Ծովախորշ (DQ TR24.20) is set aside." in text
    assert "is out of the final and moves from place 4 to place 5." in text
    assert "Gullhaven is in the final by time (q) instead of by place (Q)" in text
    assert "The deposit is returned." in text


def test_nobody_votes_whose_club_the_consequence_touches(demo: DemoRun) -> None:
    """World Athletics CR12, from memory: a member with an interest withdraws."""
    appeal = document(demo, "dossiers/appeal-1.json")["appeal"]
    moved = set(appeal["decision"]["consequences"]["affiliations"])
    clubs = {line.key: line.affiliation for line in read_meet().officials}
    (voting,) = (step for step in read_story().step if isinstance(step, Vote))
    assert not {clubs[key] for key in voting.votes} & moved
    assert clubs["vela"] in moved
    assert set(appeal["panel"]["affected"]) == moved
    states = [member["state"] for member in appeal["panel"]["members"]]
    assert states == ["sits", "sits", "sits", "withdrawn"]


def test_the_case_file_tells_the_appeal_on_paper_with_its_picture_as_it_is_shown(
    demo: DemoRun, tmp_path: Path
) -> None:
    pdf = (demo.out / "dossiers" / "appeal-1-case-file.pdf").read_bytes()
    words = " ".join(read_text(pdf).split())
    told = document(demo, "dossiers/appeal-1.json")
    assert "File of appeal 1" in words
    assert told["appeal"]["words"] in words
    assert told["cases"][0]["reports"][0]["words"] in words
    assert (demo.out / "dossiers" / "appeal-1-picture-1.jpg").read_bytes() in pdf
    (seal,) = seals_in(pdf, tmp_path)
    assert (seal.is_valid, seal.covers_all) == (True, True)


def test_the_dossier_holds_all_that_lay_before_the_jury(demo: DemoRun) -> None:
    found = document(demo, "dossiers/appeal-1.json")
    assert [one["number"] for one in found["announcements"]] == [1, 2, 3]
    assert [one["instance"] for one in found["decisions"]] == ["referee", "jury"]
    (ruling,) = found["rulings"]
    (case,) = found["cases"]
    assert ruling["case"] == case["id"]
    assert "my paper notes of 14:41" in case["reports"][0]["words"]
    (picture,) = case["reports"][0]["pictures"]
    copy = (demo.out / "dossiers" / "appeal-1-picture-1.jpg").read_bytes()
    assert sha256(copy).hexdigest() == picture["shown_sha256"]
    assert found["appeal"]["deposit"]["outcome"] == "returned"
    remedies = [window["remedy"] for window in found["windows"]]
    assert sorted(remedies) == ["appeal", "protest", "protest"]


def test_the_final_changes_by_the_jurys_decision(demo: DemoRun) -> None:
    """Worked out from the finish lists alone, with the disqualified team and without it."""
    out = "Ծովախորշ"
    drawn = set(teams_of("finals.csv", "Men 4x400 m", "final").values())
    drawn_anew = set(teams_of("men-final.csv", "Men 4x400 m", "final").values())
    assert those_through(as_they_finished(without=out)).keys() == drawn
    assert those_through(as_they_finished()).keys() == drawn_anew
    assert (drawn - drawn_anew, drawn_anew - drawn) == ({"शंखतट"}, {out})


def test_the_rounds_document_says_who_goes_on_and_in_which_lane(demo: DemoRun) -> None:
    found = document(demo, "rounds/men-heats.json")
    letters = {team["name"]: team["letter"] for team in found["teams"] if team["letter"]}
    assert letters == those_through(as_they_finished())
    lanes = {str(team["seat"]["lane"]): team["name"] for team in found["teams"] if team["seat"]}
    assert lanes == teams_of("men-final.csv", "Men 4x400 m", "final")
    assert (found["is_complete"], found["unseated"]) == (True, [])


def test_the_amended_result_says_why_and_opens_no_further_window(demo: DemoRun) -> None:
    """World Athletics TR8.11: the decision of the jury is final."""
    last = document(demo, "results/men-heat-2-announcement-3.json")
    assert last["windows"] == []
    assert "TR8.11" in last["no_windows_because"]
    team = next(
        row for row in result(demo, "men-heat-2-announcement-3") if row["team"] == "Ծովախորշ"
    )
    assert (team["place"], team["annotation"], team["qualification"]) == ("3", "", "Q")
    said = (demo.out / "results/men-heat-2-announcement-3.txt").read_text("utf-8")
    assert "Appeal 1 of Ծովախորշ was upheld by the jury" in said


@pytest.mark.parametrize(
    ("name", "since"),
    [
        ("women-heat-1-announcement-1", "15:30:50"),
        ("women-heat-2-announcement-1", "15:30:50"),
        ("men-heat-1-announcement-1", "15:33:00"),
        ("men-heat-2-announcement-3", "15:33:00"),
    ],
)
def test_a_result_is_final_when_its_round_is_announced_and_its_last_window_has_closed(
    demo: DemoRun, name: str, since: str
) -> None:
    """Common practice; 30 minutes from announcement and from advice (World Athletics TR8). Heats
    from which teams go on wait for each other, since each can move the others' letters; nobody
    waits for the time for an appeal that the jury has decided (TR8.11).
    """
    made = document(demo, f"results/{name}.json")
    closed = [
        datetime.fromisoformat(window["closes_at"])
        for window in document(demo, "windows.json")["windows"]
        if window["subject"].startswith(f"{made['event_name']}, {made['round']}, heat ")
        and window["state"] != "void"
    ]
    announced = [
        datetime.fromisoformat(one["announced_at"])
        for one in map(json.loads, map(Path.read_text, demo.out.glob("results/*.json")))
        if (one["event_name"], one["round"]) == (made["event_name"], made["round"])
    ]
    assert datetime.fromisoformat(made["final_since"]) == max(*closed, *announced)
    assert made["pending"] == []
    heat = name.partition("-announcement")[0].replace("-", " ").capitalize()
    assert f"\n{heat}: final since {since} CEST.\n" in demo.printed


def test_what_still_runs_is_not_final(demo: DemoRun) -> None:
    made = document(demo, "results/women-final-announcement-1.json")
    assert made["final_since"] is None
    assert "\nWomen final: not final. Protests until 15:59:00 CEST.\n" in demo.printed


def test_a_corrected_time_moves_its_window(demo: DemoRun) -> None:
    """World Athletics TR8.2: the time of the announcement counts, read out here at 15:16:10."""
    made = document(demo, "results/medley-announcement-1.json")
    (window,) = (
        one for one in document(demo, "windows.json")["windows"] if one["heat"] == made["heat"]
    )
    truly = datetime.fromisoformat(made["time_corrections"][0]["becomes"])
    assert truly - datetime.fromisoformat(made["announced_at"]) == timedelta(seconds=70)
    assert datetime.fromisoformat(window["closes_at"]) == truly + timedelta(minutes=30)


def test_the_clubs_score_what_their_teams_brought_in(demo: DemoRun) -> None:
    """Nine for the first, then 7, 6, 5, 4, 3, 2, 1, as the story sets it."""
    earned: Counter[str] = Counter()
    for name in ("women-final-announcement-1", "medley-announcement-1"):
        for row in result(demo, name):
            worth = ("9", "7", "6", "5", "4", "3", "2", "1")
            assert row["points"] == (worth[int(row["place"]) - 1] if row["place"] else "")
            earned[row["affiliation"]] += int(row["points"] or 0)
    found = document(demo, "scores.json")
    assert {one["affiliation"]: int(one["points"]) for one in found["scores"]} == {
        club: points for club, points in earned.items() if points
    }
    assert found["awaited"] == ["Men 4x400 m, final"]
