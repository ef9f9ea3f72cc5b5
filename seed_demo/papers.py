"""The papers of the played meet, as files in one folder: forms of rulings, protests, appeals and
decisions, results, rounds and scores, windows, record, and the export of all of it.

The same queries and drawings that HTTP answers with. Files of the same names are replaced,
everything else in the folder is left alone. What is in the record is checked with
`app/record/check.py` before it counts as written.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from sqlalchemy import Connection

from app.access.queries import official_names
from app.appeals.decision_papers import decision_form
from app.appeals.dossier import dossier
from app.appeals.lodged_papers import appeal_form, protest_form
from app.appeals.queries import protest_out
from app.appeals.standing import appeal_out
from app.casefiles.drawing_up import draw_up
from app.casefiles.scope import Asked, Of
from app.crew.briefing import brief
from app.crew.chiefs import for_the_chief
from app.crew.day import day_of
from app.crew.heats_named import HeatNames
from app.crew.plan_list import listed
from app.crew.queries import post_sent
from app.crew_search.found import posts_found
from app.exporting.building import export_to
from app.exporting.files import a_zip
from app.exporting.wanted import Order
from app.forms.briefing_card import draw_briefing_cards
from app.forms.chiefs_sheet import draw_chiefs_sheet
from app.forms.meet_report_sheet import draw_meet_report
from app.forms.paper import Paper
from app.forms.survey_sheet import draw_survey_sheets
from app.ids import AppealId, HeatId, PictureId, ProtestId
from app.meet_report.gathering import sheet_for
from app.meet_report.queries import figures_for, names_for
from app.meet_report.telling import report_csv
from app.meets.queries import heat, names_in_event_of
from app.pictures.queries import shown_copy
from app.planning.effort import Effort
from app.planning.making import plan_crew
from app.record.check import Checked, check_lines
from app.record.queries import export_lines
from app.results.calendar import as_calendar
from app.results.finality import announcement_shown
from app.results.printing import as_csv, as_text
from app.results.sheet import announcement_sheet
from app.results.windows import all_windows
from app.roles import Role
from app.rounds.announced import as_announced, scores_out
from app.rounds.telling import standing_out
from app.rounds.wire import RoundStandingOut
from app.rulings.form import ruling_form
from app.sealing.papers import give_out
from app.sealing.told import Facts, Wanted
from app.surveys.gathering import sheets_of, zones_wanted
from app.surveys.lines_list import lines_csv
from app.visible import likeness
from app.wire import Wire
from seed_demo.stage import Announced, Decided, Ruled, Stage

SEARCH_S = 8.0


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
    files = [
        *(_form(stage, number, ruled) for number, ruled in enumerate(stage.rulings, start=1)),
        *(_protest(stage, protest) for protest in stage.protests.values()),
        *(paper for appeal in stage.appeals.values() for paper in _appeal(stage, appeal)),
        *(_decision(stage, number, one) for number, one in enumerate(stage.decisions, start=1)),
        *(paper for announced in stage.announcements for paper in _result(stage, announced)),
        *(_round(stage, name, heat_id) for name, heat_id in stage.rounds.items()),
        _document("scores.json", stage.read(lambda conn: scores_out(conn, stage.meet_id))),
        *_windows(stage),
        *_survey(stage),
        *_crew(stage),
        *_meet_report(stage),
        *(_case_file(stage, appeal) for appeal in stage.appeals.values()),
    ]
    # Last, since a paper that is sealed has its entry in the record.
    record = list(stage.read(lambda conn: list(export_lines(conn, stage.meet_id))))
    files.append(PaperFile(Path("record.jsonl"), "".join(f"{line}\n" for line in record).encode()))
    files.append(PaperFile(Path("export.zip"), _export(stage)))
    for file in files:
        (out / file.path).parent.mkdir(parents=True, exist_ok=True)
        (out / file.path).write_bytes(file.content)
    return Written(tuple(files), check_lines(record))


def _export(stage: Stage) -> bytes:
    """The record with all that belongs to it, as one ZIP that stands for itself."""
    signer = stage.seals.known_signer(stage.meet_id)
    order, written = Order(stage.meet_id, stage.clock.now(), signer), BytesIO()
    with a_zip(written, order.now) as place:
        stage.read(lambda conn: export_to(conn, order, place))
    return written.getvalue()


def _survey(stage: Stage) -> Iterator[PaperFile]:
    """The survey sheets with what was measured, and the list of all lines."""
    now = stage.clock.now()
    sheets, lines = stage.read(
        lambda conn: (
            sheets_of(conn, stage.meet_id, None, now),
            zones_wanted(conn, stage.meet_id, None),
        )
    )
    yield PaperFile(Path("survey", "survey-sheets.pdf"), draw_survey_sheets(sheets, Paper.A4))
    yield PaperFile(Path("survey", "survey.csv"), lines_csv(lines).encode("utf-8-sig"))


def _crew(stage: Stage) -> Iterator[PaperFile]:
    """A card for each umpire, without codes, since all have joined; the chief's sheet; and the plan
    that was found before the first heat.
    """
    now = stage.clock.now()
    day = stage.read(lambda conn: day_of(conn, stage.meet_id))
    sheet = stage.read(lambda conn: for_the_chief(conn, stage.meet_id, now))
    cards = draw_briefing_cards(brief(day, now, {}), Paper.A4)
    yield PaperFile(Path("crew", "briefing-cards.pdf"), cards)
    yield PaperFile(Path("crew", "chiefs-sheet.pdf"), draw_chiefs_sheet(sheet, Paper.A4))
    yield PaperFile(Path("crew", "plan-found.csv"), _plan_found(stage).encode("utf-8-sig"))


def _plan_found(stage: Stage) -> str:
    """The plan that is found for the first start list, as a crew list."""
    if (asked := stage.asked) is None:
        raise ValueError("nobody was asked for a plan: set the meet up first")
    found = posts_found(asked, plan_crew(asked.task, Effort(limit_s=SEARCH_S)))
    relays = {heat.id: heat.relay for heat in asked.heats.values()}
    posts = [post_sent(one, {relays[HeatId(heat)] for heat in one.heats}) for one in found]
    names = stage.read(lambda conn: official_names(conn, stage.meet_id))
    return listed(posts, names, HeatNames(list(asked.heats.values())))


def _meet_report(stage: Stage) -> Iterator[PaperFile]:
    """All figures of the meet, as the referee sees them."""
    now = stage.clock.now()
    who = next(stage.caller(key) for key in stage.people if Role.REFEREE in stage.people[key].roles)
    sheet, written = stage.read(
        lambda conn: (
            sheet_for(conn, stage.meet_id, who, now),
            report_csv(figures_for(conn, stage.meet_id, who), names_for(conn, stage.meet_id, who)),
        )
    )
    yield PaperFile(Path("meet-report", "meet-report.pdf"), draw_meet_report(sheet, Paper.A4))
    yield PaperFile(Path("meet-report", "meet-report.csv"), written.encode("utf-8-sig"))


def _form(stage: Stage, number: int, ruled: Ruled) -> PaperFile:
    name = f"{number:02}-{ruled.heat}-lane-{ruled.lane or 'unknown'}.pdf"
    return _sealed(stage, Path("forms", name), ruling_form(stage.meet_id, ruled.id))


def _protest(stage: Stage, protest_id: ProtestId) -> PaperFile:
    out = stage.read(lambda conn: protest_out(conn, stage.meet_id, protest_id))
    name = f"{out.number:02}-{stage.heat_key(out.heat)}-lane-{out.lane}.pdf"
    return _sealed(stage, Path("protests", name), protest_form(stage.meet_id, protest_id))


def _appeal(stage: Stage, appeal_id: AppealId) -> Iterator[PaperFile]:
    """The appeal, and what lay before the jury."""
    now = stage.clock.now()
    out = stage.read(lambda conn: appeal_out(conn, stage.meet_id, appeal_id))
    name = f"{out.number:02}-{stage.heat_key(out.heat)}-lane-{out.lane}.pdf"
    yield _sealed(stage, Path("appeals", name), appeal_form(stage.meet_id, appeal_id))
    before_jury = stage.read(lambda conn: dossier(conn, stage.meet_id, appeal_id, now))
    yield _document(f"dossiers/appeal-{out.number}.json", before_jury)
    reports = [report for case in before_jury.cases for report in case.reports]
    shown = [picture.id for report in reports for picture in report.pictures]
    for number, picture in enumerate(shown, start=1):
        yield _picture(stage, f"dossiers/appeal-{out.number}-picture-{number}.jpg", picture)


def _case_file(stage: Stage, appeal_id: AppealId) -> PaperFile:
    """The same on paper, as one sealed file."""
    out = stage.read(lambda conn: appeal_out(conn, stage.meet_id, appeal_id))
    asked = Asked(stage.meet_id, Of.APPEAL, appeal_id)
    drawn = draw_up(stage.store, stage.seals, asked, Paper.A4)
    return PaperFile(Path("dossiers", f"appeal-{out.number}-case-file.pdf"), drawn.content)


def _picture(stage: Stage, name: str, picture: PictureId) -> PaperFile:
    return PaperFile(Path(name), stage.read(lambda conn: shown_copy(conn, picture)))


def _decision(stage: Stage, number: int, decided: Decided) -> PaperFile:
    name = f"{number:02}-{decided.instance}-{decided.heat}-lane-{decided.lane}.pdf"
    return _sealed(stage, Path("decisions", name), decision_form(stage.meet_id, decided.id))


def _sealed(stage: Stage, path: Path, wanted: Wanted[Facts]) -> PaperFile:
    return PaperFile(path, give_out(stage.store, stage.seals, stage.meet_id, Paper.A4, wanted))


def _round(stage: Stage, name: str, heat_id: HeatId) -> PaperFile:
    def read(conn: Connection) -> RoundStandingOut:
        known = heat(conn, stage.meet_id, heat_id)
        at_hand = as_announced(conn, stage.meet_id, known.event, likeness(known.round))
        return standing_out(at_hand, only_drawn=True)

    return _document(f"rounds/{name}.json", stage.read(read))


def _document(path: str, content: Wire) -> PaperFile:
    return PaperFile(Path(path), f"{content.model_dump_json(indent=2)}\n".encode())


def _result(stage: Stage, announced: Announced) -> Iterator[PaperFile]:
    now = stage.clock.now()
    made = stage.read(lambda conn: announcement_shown(conn, stage.meet_id, announced.id, now))
    teams = stage.read(lambda conn: names_in_event_of(conn, made.heat))
    stem = f"{announced.heat}-announcement-{announced.number}"
    contents = {
        "json": f"{made.model_dump_json(indent=2)}\n".encode(),
        "csv": as_csv(made).encode(),
        "txt": as_text(made, now, teams).encode(),
    }
    for kind, content in contents.items():
        yield PaperFile(Path("results", f"{stem}.{kind}"), content)
    sheet = announcement_sheet(stage.meet_id, announced.id)
    yield _sealed(stage, Path("results", f"{stem}.pdf"), sheet)


def _windows(stage: Stage) -> Iterator[PaperFile]:
    now = stage.clock.now()
    found = stage.read(lambda conn: all_windows(conn, stage.meet_id, now))
    yield _document("windows.json", found)
    yield PaperFile(Path("windows.ics"), as_calendar(found))
