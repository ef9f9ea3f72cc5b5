"""The PostgreSQL of the tests is found wherever they are run."""

from __future__ import annotations

import subprocess

import pytest

from tests.postgres import _binaries


def test_its_programs_run_where_the_path_is_that_of_a_plain_user(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PATH", "/usr/bin:/bin")
    binaries, prefix = _binaries()
    ran = subprocess.run(
        [*prefix, str(binaries / "initdb"), "--version"],
        cwd="/",
        capture_output=True,
        text=True,
        check=True,
    )
    assert "PostgreSQL" in ran.stdout
