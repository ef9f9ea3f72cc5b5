"""The papers of the played meet: forms, results, windows and record, as files in one folder.

The same queries and drawings that HTTP answers with. Files of the same names are replaced,
everything else in the folder is left alone. What is in the record is checked with
`app/record/check.py` before it counts as written.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from app.forms.infringement_form import draw_infringement_form
from app.forms.paper import Paper
from app.forms.result_sheet import draw_result_sheet
from app.record.check import Checked, check_lines
from app.record.queries import export_lines, head_of
from app.results.calendar import as_calendar
from app.results.printing import as_csv, as_text, sheet_facts
from app.results.queries import announcement
from app.results.windows import all_windows
from app.rulings.form import form_facts
from seed_demo.stage import Announced, Ruled, Stage


@dataclass(frozen=True, slots=True)
class PaperFile:
    """One file to write: its path below the folder, and its bytes."""

    path: Path
    content: bytes


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, and what the check of the record found."""

    files: tuple[PaperFile, ...]
    checked: Checked


def write_all(stage: Stage, out: Path) -> Written:
    """Write every paper of the meet below a folder."""
    record = list(stage.read(lambda conn: list(export_lines(conn, stage.meet_id))))
    files = [
        *(_form(stage, number, ruled) for number, ruled in enumerate(stage.rulings, start=1)),
        *(paper for announced in stage.announcements for paper in _result(stage, announced)),
        *_windows(stage),
        PaperFile(Path("record.jsonl"), "".join(f"{line}\n" for line in record).encode()),
    ]
    for file in files:
        (out / file.path).parent.mkdir(parents=True, exist_ok=True)
        (out / file.path).write_bytes(file.content)
    return Written(tuple(files), check_lines(record))


def _form(stage: Stage, number: int, ruled: Ruled) -> PaperFile:
    now = stage.clock.now()
    facts = stage.read(lambda conn: form_facts(conn, stage.meet_id, ruled.id, now))
    name = f"{number:02}-{ruled.heat}-lane-{ruled.lane or 'unknown'}.pdf"
    return PaperFile(Path("forms", name), draw_infringement_form(facts, Paper.A4))


def _result(stage: Stage, announced: Announced) -> Iterator[PaperFile]:
    made = stage.read(lambda conn: announcement(conn, stage.meet_id, announced.id))
    head = stage.read(lambda conn: head_of(conn, stage.meet_id))
    stem = f"{announced.heat}-announcement-{announced.number}"
    sheet = draw_result_sheet(sheet_facts(made, head), Paper.A4)
    contents = {
        "json": f"{made.model_dump_json(indent=2)}\n".encode(),
        "csv": as_csv(made).encode(),
        "txt": as_text(made).encode(),
        "pdf": sheet,
    }
    for kind, content in contents.items():
        yield PaperFile(Path("results", f"{stem}.{kind}"), content)


def _windows(stage: Stage) -> Iterator[PaperFile]:
    now = stage.clock.now()
    found = stage.read(lambda conn: all_windows(conn, stage.meet_id, now))
    yield PaperFile(Path("windows.json"), f"{found.model_dump_json(indent=2)}\n".encode())
    yield PaperFile(Path("windows.ics"), as_calendar(found))
