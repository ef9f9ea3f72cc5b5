"""The plan that the command writes can be loaded as a meet's crew list."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from app.cli import main
from tests.builders import Json, MeetAtHand, a_bare_meet, add_official
from tests.running import Service

pytestmark = pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)

NAMES = [f"Umpire {number}" for number in range(6)]


@pytest.fixture
def meet(service: Service, tmp_path: Path) -> MeetAtHand:
    """Six umpires and three heats, at the meet and in files."""
    meet = a_bare_meet(service)
    for name in NAMES:
        add_official(meet, name, "umpire")
    rows = [
        f"Women 4x100 m,heats,{heat},{lane},Team {heat}-{lane},Club {lane},10:{heat}0"
        for heat in range(1, 4)
        for lane in range(1, 9)
    ]
    programme = "\n".join(["event,round,heat,lane,team,affiliation,scheduled", *rows])
    assert meet.organiser.post("start-lists", content=programme).status_code == 200
    (tmp_path / "programme.csv").write_text(programme, encoding="utf-8")
    (tmp_path / "people.csv").write_text("\n".join(["name", *NAMES]), encoding="utf-8")
    return meet


def planned(folder: Path, out: str, *more: str, ends: int = 0) -> Path:
    """The plan that the command writes; it ends with 3 where something stays unwatched."""
    arguments = {"officials": "people.csv", "programme": "programme.csv", "out": out}
    files = [part for name, file in arguments.items() for part in (f"--{name}", f"{folder / file}")]
    assert main(["crew", *files, "--seconds", "5", *more]) == ends
    return folder / out


def sent(meet: MeetAtHand, plan: Path, **params: str) -> Json:
    answer = meet.organiser.post("crew-list", content=plan.read_bytes(), params=params)
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_the_plan_of_the_command_becomes_the_crew_plan(meet: MeetAtHand, tmp_path: Path) -> None:
    told = sent(meet, planned(tmp_path, "plan.csv"))
    assert (told["unwatched"], told["dropped_out"]) == ([], [])
    posts = meet.organiser.get("crew").json()["posts"]
    assert all(post["heats"] for post in posts)


def test_whoever_dropped_out_of_the_plan_of_the_command_is_told_and_gets_no_post_by_it(
    meet: MeetAtHand, tmp_path: Path
) -> None:
    before = planned(tmp_path, "plan.csv")
    how = ("--keep", f"{before}", "--drop", NAMES[0], "--from", "10:20")
    after = planned(tmp_path, "changed.csv", *how, ends=3)
    with after.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert [row["official"] for row in rows if row["dropped_out"]] == [NAMES[0]]
    looked_at, told = sent(meet, after, check="true"), sent(meet, after)
    assert looked_at == told | {"stored": False}
    assert told["dropped_out"] == [NAMES[0]]
    heats = {one["id"]: str(one["number"]) for one in meet.organiser.get("heats").json()["heats"]}
    stands = {
        (post["official_name"], heats[heat])
        for post in meet.organiser.get("crew").json()["posts"]
        for heat in post["heats"]
    }
    written = {
        (row["official"], str(heat))
        for row in rows
        if not row["dropped_out"]
        for first, _, last in [row["heat"].partition("-")]
        for heat in range(int(first), int(last or first) + 1)
    }
    assert stands == written
    assert {heat for name, heat in stands if name == NAMES[0]} == {"1"}
