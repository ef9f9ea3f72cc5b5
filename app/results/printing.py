"""An announcement as CSV, as text to be read aloud, and as the facts of its sheet."""

from __future__ import annotations

from app.clock import clock_time, in_zone
from app.forms.result_sheet import ResultLine, ResultSheet
from app.record.log import Head
from app.results.wire import AnnouncementOut, ResultLineOut, SnapshotWindow
from app.sheets.writing import write_csv

HEADER = ("place", "lane", "bib", "team", "affiliation", "time", "annotation")
ORDINALS = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth", "Ninth")


def as_csv(announced: AnnouncementOut) -> str:
    """The annotated result as RFC 4180 CSV."""
    return write_csv(
        HEADER,
        [
            (
                line.place,
                line.lane,
                line.bib,
                line.team_name,
                line.affiliation,
                line.time,
                line.annotation,
            )
            for line in announced.lines
        ],
    )


def as_text(announced: AnnouncementOut) -> str:
    """The result as the announcer reads it aloud, sentence by sentence."""
    sentences = [
        f"{_kind(announced)} for {announced.event_name}, {announced.round}, "
        f"heat {announced.heat_number}.",
        *(_placed(line) for line in announced.lines if line.place is not None),
        *(_unplaced(line) for line in announced.lines if line.place is None),
    ]
    if announced.remark:
        sentences.append(announced.remark.rstrip(".") + ".")
    if announced.despite:
        sentences.append("This result is announced while reports are still awaited.")
    sentences += [_window_aloud(window, announced.time_zone) for window in announced.windows]
    return "\n".join(sentences) + "\n"


def _kind(announced: AnnouncementOut) -> str:
    return "Result" if announced.number == 1 else "Amended result"


def _placed(line: ResultLineOut) -> str:
    place = line.place or 0
    word = ORDINALS[place - 1] if place <= len(ORDINALS) else f"Place {place}"
    noted = " A lane infringement was noted." if "L" in line.annotation.split() else ""
    return ", ".join(filter(None, [word, line.team_name, line.time])) + "." + noted


def _unplaced(line: ResultLineOut) -> str:
    if line.annotation.startswith("DQ"):
        rule = line.annotation.removeprefix("DQ ")
        reason = line.reason[:1].lower() + line.reason[1:]
        return f"Disqualified: {line.team_name}, lane {line.lane}, by rule {rule}: {reason}."
    said = {"DNS": "did not start", "DNF": "did not finish"}
    words = said.get(line.annotation.split(" ")[0], "has no place")
    return f"{line.team_name}, lane {line.lane}, {words}."


def _window_aloud(window: SnapshotWindow, zone: str) -> str:
    what = "Protests" if window.remedy == "protest" else "Appeals"
    if window.closes_at is None:
        return f"{what} ({window.kind}) can be lodged without a closing time."
    return (
        f"{what} can be lodged until {clock_time(window.closes_at, zone)}, "
        f"{window.minutes} minutes from this announcement."
    )


def sheet_facts(announced: AnnouncementOut, head: Head) -> ResultSheet:
    """What stands on the announcement's sheet."""
    return ResultSheet(
        meet=announced.meet_name,
        place=announced.venue,
        date=announced.announced_at_local[:10],
        time_zone=announced.time_zone,
        event=announced.event_name,
        round=announced.round,
        heat=str(announced.heat_number),
        number=announced.number,
        supersedes=f"announcement {announced.number - 1}" if announced.supersedes else "",
        announced_at=announced.announced_at_local,
        announced_by=announced.announced_by_name,
        lines=tuple(_sheet_line(line) for line in announced.lines),
        remarks=tuple(_remarks(announced)),
        windows=tuple(_window_words(window, announced) for window in announced.windows),
        abbreviations=tuple(announced.abbreviations.items()),
        record_head=f"{head.size} entries, root {head.root}",
        digest=announced.statement_digest,
    )


def _sheet_line(line: ResultLineOut) -> ResultLine:
    return ResultLine(
        place="" if line.place is None else str(line.place),
        lane=str(line.lane),
        bib=line.bib,
        team=line.team_name,
        affiliation=line.affiliation,
        time=line.time,
        annotation=line.annotation,
    )


def _remarks(announced: AnnouncementOut) -> list[str]:
    remarks = [
        f"Lane {line.lane}, {line.annotation}: {line.reason}."
        for line in announced.lines
        if line.reason
    ]
    if announced.remark:
        remarks.append(announced.remark)
    if announced.despite:
        silent = len(announced.blockers.silent_posts)
        cases = len(announced.blockers.open_cases)
        remarks.append(
            f"Announced with {silent} silent post(s) and {cases} open case(s): {announced.despite}"
        )
    return remarks


def _window_words(window: SnapshotWindow, announced: AnnouncementOut) -> str:
    what = "Protests" if window.remedy == "protest" else "Appeals"
    whose = ", by the meet's own setting" if window.origin == "meet" else ""
    if window.closes_at is None:
        return f"{what} ({window.kind}): no closing time ({window.rule})"
    until = in_zone(window.closes_at, announced.time_zone)
    return f"{what} until {until}: {window.minutes} minutes ({window.rule}{whose})"
