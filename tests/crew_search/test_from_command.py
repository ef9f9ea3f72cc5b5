"""The plan that the command writes can be loaded as a meet's crew list."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.cli import main
from tests.builders import a_bare_meet, add_official
from tests.running import Service


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
def test_the_plan_of_the_command_becomes_the_crew_plan(service: Service, tmp_path: Path) -> None:
    meet = a_bare_meet(service)
    names = [f"Umpire {number}" for number in range(6)]
    for name in names:
        add_official(meet, name, "umpire")
    rows = [
        f"Women 4x100 m,heats,{heat},{lane},Team {heat}-{lane},Club {lane},10:{heat}0"
        for heat in range(1, 4)
        for lane in range(1, 9)
    ]
    programme = "\n".join(["event,round,heat,lane,team,affiliation,scheduled", *rows])
    assert meet.organiser.post("start-lists", content=programme).status_code == 200
    (tmp_path / "programme.csv").write_text(programme, encoding="utf-8")
    (tmp_path / "people.csv").write_text("\n".join(["name", *names]), encoding="utf-8")
    arguments = {"officials": "people.csv", "programme": "programme.csv", "out": "plan.csv"}
    told = [
        part for name, file in arguments.items() for part in (f"--{name}", f"{tmp_path / file}")
    ]
    assert main(["crew", *told, "--seconds", "5"]) == 0
    plan = (tmp_path / "plan.csv").read_bytes()
    loaded = meet.organiser.post("crew-list", content=plan)
    assert loaded.status_code == 200, loaded.text
    assert loaded.json()["unwatched"] == []
    posts = meet.organiser.get("crew").json()["posts"]
    assert all(post["heats"] for post in posts)
