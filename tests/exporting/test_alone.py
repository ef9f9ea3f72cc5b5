"""The checker that goes with an export stands alone: one file, Python's own library, openssl."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from app.exporting import check_export
from app.exporting.check_export import OpenSSL, check

CHECKER = Path(check_export.__file__)


def imported() -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(CHECKER.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add((node.module or "").split(".")[0])
    return found


def run(
    folder: Path, *arguments: str, path: str = "/usr/bin:/bin"
) -> subprocess.CompletedProcess[str]:
    """The checker of an export, run by the bare interpreter with nothing in its environment."""
    return subprocess.run(
        [sys.executable, "-I", "-S", str(folder / "check.py"), *arguments],
        cwd="/",
        env={"PATH": path},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_it_imports_nothing_but_pythons_own_library() -> None:
    assert imported() <= sys.stdlib_module_names
    assert not imported() & {"socket", "http", "urllib", "ssl", "ctypes", "sqlite3", "pickle"}


def test_it_is_written_in_the_python_of_2020() -> None:
    """Python 3.9 came out on 5 October 2020 (PEP 596)."""
    ast.parse(CHECKER.read_text("utf-8"), feature_version=(3, 9))


def test_it_runs_on_the_bare_interpreter_in_an_empty_environment(exported: Path) -> None:
    ran = run(exported, str(exported))
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.endswith("Everything agrees.\n")


def test_it_speaks_ascii_where_the_terminal_knows_no_more(copied: Path) -> None:
    (copied / "évasion\x1b[2J").write_text("x")
    ran = run(copied, str(copied))
    assert ran.returncode == 1
    assert "\x1b" not in ran.stdout
    assert "\\x1b[2J" in ran.stdout


def test_without_openssl_it_says_what_was_not_checked(exported: Path, tmp_path: Path) -> None:
    ran = run(exported, str(exported), path=str(tmp_path))
    assert ran.returncode == 3
    for place in ("manifest.note", "papers/", "checkpoints/"):
        assert f"NOT CHECKED  {place}" in ran.stdout
    assert "there is no command openssl here" in ran.stdout


def test_an_openssl_that_is_too_old_or_hangs_is_told(
    exported: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fake = tmp_path / "openssl"
    fake.write_text("#!/bin/sh\necho LibreSSL 3.3.6\n")
    fake.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    report = check(str(exported))
    assert report.ends_with == 3
    assert "this is LibreSSL 3.3.6" in report.unchecked[0]
    fake.write_text("#!/bin/sh\n[ $1 = version ] && echo OpenSSL 3.0.1 || exec /bin/sleep 9\n")
    monkeypatch.setattr(check_export, "OPENSSL_SECONDS", 0.1)
    report = check(str(exported))
    assert report.ends_with == 1
    assert "gave no answer" in report.mismatches[0]
    fake.write_text("no command at all")
    assert check(str(exported)).ends_with == 3


def test_an_openssl_in_the_folder_of_the_export_is_never_run(
    copied: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trap = copied / "openssl"
    trap.write_text(f"#!/bin/sh\ntouch {copied}/sprung\n")
    trap.chmod(0o755)
    monkeypatch.chdir(copied)
    monkeypatch.setenv("PATH", f".:{Path(shutil.which('openssl') or '').parent}")
    assert OpenSSL().missing == ""
    check(str(copied))
    assert not (copied / "sprung").exists()


def run_among_traps(copied: Path, folder: Path, *command: str) -> str:
    """What the checker writes that is run in this folder, with modules of its own beside it."""
    for name in ("json", "hashlib", "zipfile", "argparse", "os", "dataclasses"):
        (copied / f"{name}.py").write_text(f"open({str(copied / 'sprung')!r}, 'w')")
    ran = subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert not (copied / "sprung").exists()
    return ran.stdout


def test_no_module_that_lies_beside_it_is_taken_for_pythons_own(copied: Path) -> None:
    assert "agree" in run_among_traps(copied, copied, "check.py", ".")
    assert "agree" in run_among_traps(copied, copied.parent, str(copied / "check.py"), str(copied))


def test_nor_where_the_way_to_it_leads_over_a_link(copied: Path, tmp_path: Path) -> None:
    (tmp_path / "folder").symlink_to(copied)
    (tmp_path / "link.py").symlink_to(copied / "check.py")
    for way in ("folder/check.py", "./folder/../link.py", "folder/../link.py", "link.py"):
        assert "agree" in run_among_traps(copied, tmp_path, way, str(copied)), way


@pytest.mark.skipif(sys.version_info < (3, 11), reason="-P came with Python 3.11")
def test_it_finds_python_where_its_folder_was_left_out_before(copied: Path) -> None:
    assert "agree" in run_among_traps(copied, copied, "-P", "check.py", ".")


def commands_of(readme: str) -> list[str]:
    """The lines with which one paper is checked by hand."""
    told = [line.strip() for line in readme.splitlines()]
    start = told.index(next(line for line in told if line.startswith("P=papers/NAME.pdf")))
    return told[start : start + 6]


def by_hand(export: Path, paper: Path) -> subprocess.CompletedProcess[str]:
    lines = commands_of((export / "README.txt").read_text("utf-8"))
    lines[0] = lines[0].replace("papers/NAME.pdf", str(paper))
    script = ["sh", "-euc", "\n".join(lines)]
    return subprocess.run(script, cwd=export, capture_output=True, text=True, check=False)


def test_each_paper_is_checked_by_hand_as_the_readme_says(exported: Path, tmp_path: Path) -> None:
    """With openssl, of which nothing here has a part."""
    papers = sorted((exported / "papers").iterdir())
    assert papers
    for paper in papers:
        ran = by_hand(exported, paper)
        assert ran.returncode == 0, ran.stderr
        assert "CMS Verification successful" in ran.stderr
        content = bytearray(paper.read_bytes())
        content[len(content) // 3] ^= 1
        (tmp_path / "changed.pdf").write_bytes(content)
        assert by_hand(exported, tmp_path / "changed.pdf").returncode != 0


def test_the_projects_own_readme_says_the_same(exported: Path) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    assert commands_of(readme) == commands_of((exported / "README.txt").read_text("utf-8"))


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["no such export"],
        [".", "--head", "264"],
        [".", "--head", "264 3f2a91bc"],
        [".", "--head", "no such file"],
        [".", "--seal", "3f2a"],
        [".", "--other"],
        ["README.txt"],
    ],
)
def test_a_wrong_call_is_told_and_ends_with_two(copied: Path, arguments: list[str]) -> None:
    ran = subprocess.run(
        [sys.executable, "-I", "check.py", *arguments],
        cwd=copied,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert ran.returncode == 2
    assert ran.stdout + ran.stderr != ""
    assert "Traceback" not in ran.stderr
