"""`demo` as a real process: the played meet is served, its links work, a signal ends it well."""

from __future__ import annotations

import json
import re
import signal
import time
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import make_url

from app.cli import main
from app.record.check import check_lines
from app.store.engine import only_process
from seed_demo.files import read_meet
from tests.demo.served import Served, a_served_demo

ROLES = ("referee", "chief umpire", "results", "jury", "organiser", "umpire")


def join_as_printed(served: Served) -> dict[str, Any]:
    """Join with exactly the document that the printed curl command sends."""
    document, _ruling = re.findall(r"-d '(.+?)'", " ".join(served.lines))
    joined = httpx.post(f"{served.links[0][0]}/api/join", json=json.loads(document))
    assert joined.status_code == 200, joined.text
    return dict(joined.json())


def test_the_links_of_every_role_are_printed_and_the_demo_goes_on(tmp_path: Path) -> None:
    with a_served_demo(tmp_path) as served:
        text = "\n".join(served.lines)
        assert len(served.links) == len(ROLES)
        assert all(f"\n  {role:<12}  " in text for role in ROLES)
        referee = join_as_printed(served)
        assert referee["roles"] == ["referee"]
        look_around(served.links[0][0], referee)
        rule_as_printed(served, referee)
        for address, token in served.links[1:]:
            look = httpx.post(f"{address}/api/join/look", json={"token": token})
            assert look.status_code == 200
        umpire = look.json()["name"]
        assert [line for line in served.lines if line[:2].isdigit() and umpire in line]
        began = time.monotonic()
        served.process.send_signal(signal.SIGTERM)
        assert served.process.wait(10) == 0
        assert time.monotonic() - began < 3
    assert list((tmp_path / "temporary").iterdir()) == []


def look_around(address: str, referee: dict[str, Any]) -> None:
    """A case waits, and a window runs."""
    meet = f"{address}/api/meets/{referee['meet']}"
    headers = {"Authorization": f"Bearer {referee['token']}"}
    windows = httpx.get(f"{meet}/windows.json").json()["windows"]
    assert any(window["state"] == "open" for window in windows)
    assert httpx.get(f"{meet}/heats").json()["running"]
    (case,) = httpx.get(f"{meet}/docket", headers=headers).json()["cases"]
    assert httpx.get(f"{meet}/cases/{case['id']}", headers=headers).json()["state"] == "open"


def rule_as_printed(served: Served, referee: dict[str, Any]) -> None:
    """Rule on the case that is left, with exactly the command that is printed."""
    text = " ".join(served.lines)
    (address,) = re.findall(r"curl -X PUT (\S+)", text)
    (etag,) = re.findall(r"If-Match: (\S+)'", text)
    _join, document = re.findall(r"-d '(.+?)'", text)
    headers = {"Authorization": f"Bearer {referee['token']}", "If-Match": etag}
    ruled = httpx.put(address, headers=headers, json=json.loads(document))
    assert ruled.status_code == 201, ruled.text
    # Pushing or any help disqualifies the team: IAAF Rule 170.16 (2012).
    assert ruled.json()["effect"].startswith("DQ ")


def test_told_to_stop_at_once_it_ends_well_and_leaves_papers_and_database(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with a_served_demo(tmp_path, "--out", str(out)) as served:
        served.process.send_signal(signal.SIGTERM)
        assert served.process.wait(10) == 0
    assert (out / "demo.db").stat().st_size > 0
    announced = json.loads((out / "results/women-final-announcement-1.json").read_text("utf-8"))
    assert announced["meet_name"] == read_meet().name
    checked = check_lines((out / "record.jsonl").read_text("utf-8").splitlines())
    assert checked.is_good


def test_a_folder_that_another_demo_serves_from_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with only_process(make_url(f"sqlite:///{tmp_path / 'demo.db'}")):
        assert main(["demo", "--port", "0", "--out", str(tmp_path)]) == 1
    assert "stop the other one" in capsys.readouterr().err
