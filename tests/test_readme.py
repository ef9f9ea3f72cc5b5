"""The README tells the truth: its example runs and prints what it says, its names exist."""

from __future__ import annotations

import re
import subprocess
from dataclasses import fields
from datetime import datetime, timedelta
from pathlib import Path
from typing import get_args

import pytest

from app.cli import main
from app.config import Settings
from app.meets.wire import JuryTermsIn, TermsIn
from app.roles import Role
from app.rules.book import editions
from app.rules.observation import Observation
from tests.running import SETUP_KEY, Service

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")

DAY = r"\d+ [A-Z][a-z]+ \d{4}"
MOVES = re.compile(rf"({DAY}, )?\d\d:\d\d:\d\d|\d{{4}}-\d\d-\d\d|{DAY}|CES?T|\{{'outcome'.*")
"""What differs from run to run: times (those of the next day with it, late in the evening), days,
summer time, and the finding that is folded.
"""


def block(language: str, holding: str) -> str:
    found = re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)
    return next(text for text in found if holding in text)


def test_the_example_prints_what_the_readme_says(service: Service, tmp_path: Path) -> None:
    ran = subprocess.run(
        ["bash", "-euc", block("bash", "start-list.csv") + block("bash", "The team protests")],
        cwd=tmp_path,
        env={"BASE": service.address, "KEY": SETUP_KEY, "PATH": "/usr/local/bin:/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    printed = [MOVES.sub("~", line) for line in ran.stdout.replace("\r", "").splitlines()]
    pasted = block("text", "Bo Halyard") + block("text", "Ines Compass")
    assert printed == [MOVES.sub("~", line) for line in pasted.splitlines()]
    assert (tmp_path / "form.pdf").read_bytes().startswith(b"%PDF-")


def test_the_run_that_was_pasted_agrees_with_itself() -> None:
    """Protests run 30 minutes from the announcement: World Athletics TR8.2."""
    told = block("text", "Bo Halyard")
    moments = [datetime.fromisoformat(found) for found in re.findall(r"2\d{3}-\S+ [\d:]{8}", told)]
    announced, closes = min(moments), max(moments)
    assert closes - announced == timedelta(minutes=30)
    assert f"until {closes:%H:%M:%S} " in told


def test_the_example_tells_the_day_on_which_it_is_run() -> None:
    assert not re.search(r"20\d\d-\d\d-\d\d", block("bash", "start-list.csv"))


def test_every_role_edition_and_setting_has_its_place_in_the_readme() -> None:
    for name in [*Role, *editions()]:
        assert f"`{name}`" in README
    for field in Settings.model_fields:
        assert f"{field.upper()}`" in README


def test_every_term_that_a_meet_may_set_has_its_place_in_the_readme() -> None:
    names = {*TermsIn.model_fields} - {"jury"}
    names |= {f"jury.{name}" for name in JuryTermsIn.model_fields}
    assert [name for name in sorted(names) if f"| `{name}` |" not in README] == []


def test_every_kind_of_observation_and_its_facts_have_their_place_in_the_readme() -> None:
    rows = [line for line in README.splitlines() if line.startswith("| `")]
    for kind in get_args(Observation):
        first, *facts = (one.name for one in fields(kind))
        told = next(row for row in rows if f"`{kind().seen}`" in row)
        assert first == "seen"
        assert [fact for fact in facts if f"`{fact}`" not in told] == []


def test_every_command_of_the_readme_exists() -> None:
    kept = ("migrate", "check", "backup", "restore", "erase")
    for command in ("demo", "serve", "survey", "crew", *kept):
        assert f"`{command}`" in README
        with pytest.raises(SystemExit) as ended:
            main([command, "--help"])
        assert ended.value.code == 0


def test_the_table_of_where_to_read_leads_to_every_part() -> None:
    """Anchors as code hosts make them of headings (common practice): small letters, hyphens for
    blanks, no other signs.
    """
    prose = re.sub(r"```.*?```", "", README, flags=re.DOTALL)
    headings = re.findall(r"^##+ (.+)$", prose, flags=re.MULTILINE)
    anchors = [re.sub(r"[^\w -]", "", one.lower()).replace(" ", "-") for one in headings]
    assert len(headings) > 15
    assert sorted(re.findall(r"\]\(#([^)]+)\)", prose.split("## Try it")[0])) == sorted(anchors)
