"""An announcement as CSV, as text to be read aloud, and as the facts of its sheet.

Each says of which meet and day it is, which announcement it was, and whether that still stands.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from app.clock import clock_time, in_zone, long_date
from app.forms.record_head import UNKNOWN_HEAD
from app.forms.result_sheet import ResultLine, ResultSheet
from app.results.announcement_wire import AnnouncementOut, LaterAnnouncement, SnapshotWindow
from app.results.appealable import OPENS_ANEW
from app.results.marks_aloud import marks_aloud
from app.results.wire import QualifiedOut, ResultLineOut
from app.results.wording import (
    LETTERS,
    at_time,
    in_sentence,
    length,
    listed,
    lodged,
    number_aloud,
    tie,
    time_aloud,
)
from app.rules.windows import Remedy
from app.sheets.writing import write_csv

LINE_HEADER = (
    *("place", "lane", "bib", "team", "affiliation", "time", "annotation", "reason"),
    *("qualification", "points"),
)
ABOUT_HEADER = (
    *("meet", "event", "round", "heat", "announcement", "announced_at", "superseded_by"),
    "does_not_count",
)
ORDINALS = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth", "Ninth")


def as_csv(announced: AnnouncementOut) -> str:
    """The annotated result as RFC 4180 CSV; every row says of which announcement it is.

    `superseded_by` is the number of the announcement that stands, empty while this one does;
    `does_not_count` says why nothing follows from it, empty where something does.
    """
    stands = announced.superseded_by
    about = (
        announced.meet_name,
        announced.event_name,
        announced.round,
        announced.heat_number,
        announced.number,
        in_zone(announced.made_at, announced.time_zone),
        None if stands is None else stands.number,
        announced.does_not_count,
    )
    return write_csv(
        (*LINE_HEADER, *ABOUT_HEADER),
        [
            (
                line.place,
                line.lane,
                line.bib,
                line.team_name,
                line.affiliation,
                line.time,
                line.annotation,
                line.reason,
                line.qualification,
                line.points,
                *about,
            )
            for line in announced.lines
        ],
    )


def as_text(announced: AnnouncementOut, now: datetime, teams: Collection[str]) -> str:
    """The result as the announcer reads it aloud at this time, sentence by sentence. `teams`: the
    names of all teams of its event, which are read as they are written.
    """
    zone, told_at = announced.time_zone, announced.made_at
    sentences = _overtaken(announced, lambda one: at_time(one.announced_at, told_at, zone))
    sentences += [
        f"{_kind(announced)} for {announced.event_name}, {announced.round}, "
        f"heat {announced.heat_number}.",
        f"{announced.meet_name}, {long_date(told_at, zone)}. "
        f"Announcement {announced.number}, made at {clock_time(told_at, zone)}.",
        *filter(None, [_time_corrected(announced)]),
        *_places_aloud(announced.lines),
        *(_unplaced(line) for line in announced.lines if line.place is None),
        *parted_ties(announced.lines),
    ]
    sentences += _qualified_aloud(announced) or _through_aloud(announced)
    names = {*teams, *(line.team_name for line in announced.lines)}
    sentences += (marks_aloud(one, names) for one in announced.because)
    sentences += _changes_aloud(announced, names)
    sentences += announced.through
    if announced.remark:
        sentences.append(announced.remark.rstrip(".") + ".")
    if announced.despite:
        sentences.append(f"This result is announced although {announced.blockers.aloud}.")
    sentences += [_window_aloud(one, announced, now) for one in _windows(announced)]
    sentences += [announced.no_windows_because] if announced.no_windows_because else []
    sentences += _earlier_aloud(announced, now)
    sentences += _final_aloud(announced)
    return "\n".join(sentences) + "\n"


def _overtaken(announced: AnnouncementOut, made: Callable[[LaterAnnouncement], str]) -> list[str]:
    """That it does not count, and what a later announcement says otherwise: before anything else
    is read.
    """
    later = (announced.superseded_by, announced.qualifiers_superseded_by)
    told = [one.words(made(one)) for one in later if one is not None]
    return [announced.does_not_count, *told] if announced.does_not_count else told


def _final_aloud(announced: AnnouncementOut) -> list[str]:
    if announced.final_since is None:
        return []
    since = time_aloud(announced.final_since, announced.made_at, announced.time_zone)
    return [f"Final since {since}."]


def _qualified_aloud(announced: AnnouncementOut) -> list[str]:
    """Who goes on from the whole round: "Qualified for the final: Tern and Gull by place, …"."""
    told = _by_what([(one.letter, one.team_name) for one in _qualified(announced)])
    return [f"{_qualified_title(announced)}: {told}."] if told else []


def _by_what(letters: Iterable[tuple[str, str]]) -> str:
    """Teams by what they go on: "Tern and Gull by place; Heron by time"."""
    by_letter: dict[str, list[str]] = {}
    for letter, name in letters:
        by_letter.setdefault(letter, []).append(name)
    return "; ".join(f"{listed(names)} {LETTERS[letter]}" for letter, names in by_letter.items())


def _through_aloud(announced: AnnouncementOut) -> Iterator[str]:
    """While it is not settled who goes on from the round: who does from this heat in any case,
    between whom lots decide, and that others may. It stays true when it is read again after the
    round's last heat, or after the lots.
    """
    if announced.does_not_count or not announced.next_round:
        return
    lines, draw = announced.lines, announced.open_draw
    told = _by_what([(line.qualification, line.team_name) for line in lines if line.qualification])
    if told:
        yield f"Through to the {announced.next_round} from this heat: {told}."
    if draw is not None:
        yield f"{tie([team.name for team in draw.teams], draw.places)}: lots decide."
    if _others_may_go_on_by_time(announced):
        others = "Others" if told or draw is not None else "Teams of this heat"
        yield f"{others} may go on by time: that is not known before {_awaited(announced)}."


def _others_may_go_on_by_time(announced: AnnouncementOut) -> bool:
    """Whether that is open for a team of the heat that no lots are drawn for."""
    draw = announced.open_draw
    in_draw = {team.team for team in draw.teams} if draw is not None else set()
    return announced.by_time > 0 and any(
        line.qualification is None and line.time and line.team not in in_draw
        for line in announced.lines
    )


def _awaited(announced: AnnouncementOut) -> str:
    """Without what nobody knows who goes on by time: the other heats, lots for a place, or both."""
    heats = [] if announced.is_round_complete else ["all heats have been announced"]
    lots = ["lots have been drawn"] if announced.open_draw is not None else []
    return listed([*heats, *lots])


def _qualified(announced: AnnouncementOut) -> Sequence[QualifiedOut]:
    """Who goes on by it; nobody by a result that does not count."""
    return () if announced.does_not_count else announced.qualified


def _windows(announced: AnnouncementOut) -> Sequence[SnapshotWindow]:
    """What can be lodged after it; into a result that does not count, nothing."""
    return () if announced.does_not_count else announced.windows_as_corrected


def _qualified_title(announced: AnnouncementOut) -> str:
    return f"Qualified for the {announced.next_round}"


def _kind(announced: AnnouncementOut) -> str:
    if announced.number == 1:
        return "Result"
    return "Amended result" if announced.is_amended else "Result, announced again,"


def _changes_aloud(announced: AnnouncementOut, names: Collection[str]) -> list[str]:
    """What changed for whom; who only moved with that was read in the new order just before."""
    moved = announced.moved_only
    sentences = [
        f"Changed: {marks_aloud(change, names)}"
        for change in announced.changes[: len(announced.changes) - moved]
    ]
    if moved:
        teams = "team moves" if moved == 1 else "teams move"
        sentences.append(f"With that, {number_aloud(moved)} other {teams} to another place.")
    return sentences


def _qualified_line(one: QualifiedOut) -> str:
    """A team that goes on, for the sheet: "Q  Tern, heat 1, place 1, 42.35"."""
    heat = f"heat {one.heat_number}" if one.heat_number is not None else ""
    place = f"place {one.place}" if one.place is not None else ""
    return f"{one.letter}  {', '.join(filter(None, [one.team_name, heat, place, one.time]))}"


def _places_aloud(lines: Iterable[ResultLineOut]) -> Iterator[str]:
    """Who has a place, a sentence each; a place that several share is said of each."""
    placed = [line for line in lines if line.place is not None]
    shared = Counter(line.place for line in placed)
    return (_placed(line, is_shared=shared[line.place] > 1) for line in placed)


def _placed(line: ResultLineOut, *, is_shared: bool) -> str:
    place = line.place or 0
    word = ORDINALS[place - 1] if place <= len(ORDINALS) else f"Place {place}"
    word = f"Equal {in_sentence(word)}" if is_shared else word
    return ", ".join(filter(None, [word, line.team_name, line.time])) + "." + _noted(line)


def _noted(line: ResultLineOut) -> str:
    return f" {line.reason}." if line.reason else ""


def _unplaced(line: ResultLineOut) -> str:
    if line.annotation.startswith("DQ"):
        rule = line.annotation.removeprefix("DQ ")
        reason = in_sentence(line.reason)
        return f"Disqualified: {line.team_name}, lane {line.lane}, by rule {rule}: {reason}."
    said = {"DNS": "did not start", "DNF": "did not finish"}
    words = said.get(line.annotation.split(" ")[0], "has no place")
    return f"{line.team_name}, lane {line.lane}, {words}.{_noted(line)}"


def _window_aloud(window: SnapshotWindow, announced: AnnouncementOut, now: datetime) -> str:
    zone = announced.time_zone
    what = lodged(window.remedy, window.kind)
    if _is_void(window, announced):
        return f"{what}{_why_void(announced, ' can no longer be lodged: ')}."
    if window.closes_at is None and not window.counts_from:
        return f"{what} can be lodged without a closing time."
    if window.closes_at is None:
        return f"{what} can be lodged until {_from_end(window)}."
    until = time_aloud(window.closes_at, announced.made_at, zone)
    if window.closes_at < now:
        return f"{what} could be lodged until {until}: that time is over."
    counted = _from_end(window) if window.counts_from else _from_here(window)
    return f"{what} can be lodged until {until}, {counted}."


def _why_void(announced: AnnouncementOut, for_good: str) -> str:
    """Why a time for appeals is void: `for_good`, or since it opens anew later."""
    if announced.appeals_void == OPENS_ANEW:
        return " can be lodged anew from the announcement that tells the decision again"
    return f"{for_good}the jury has decided, and that is final"


def _earlier_aloud(announced: AnnouncementOut, now: datetime) -> Iterator[str]:
    """What can still be lodged by an earlier announcement, where this one opens no window."""
    for window in () if announced.does_not_count else announced.earlier_windows:
        if window.closes_at is not None and window.closes_at < now:
            continue
        end = "without a closing time"
        if window.closes_at is not None:
            until = time_aloud(window.closes_at, announced.made_at, announced.time_zone)
            end = f"until {until}"
        elif window.counts_from:
            end = f"until {_from_end(window)}"
        what, by = lodged(window.remedy, window.kind), f"by announcement {window.announcement}"
        yield f"{what} can still be lodged {end}, {by}."


def _is_void(window: SnapshotWindow, announced: AnnouncementOut) -> bool:
    """Whether nothing can be lodged in a window any more, whenever it closes."""
    return window.remedy is Remedy.APPEAL and bool(announced.appeals_void)


def _from_end(window: SnapshotWindow) -> str:
    return f"{length(window.minutes or 0)} after the end of the meet"


def _from_here(window: SnapshotWindow) -> str:
    return f"{length(window.minutes or 0)} from this announcement"


def _time_corrected(announced: AnnouncementOut) -> str:
    """The time as first given, and why it was wrong; empty where it never was."""
    if not announced.time_corrections:
        return ""
    first = time_aloud(announced.announced_at, announced.made_at, announced.time_zone)
    last = announced.time_corrections[-1]
    why = last.reasons.rstrip(".")
    remark = f" Remark: {last.remark.rstrip('.')}." if last.remark else ""
    return f"The time was corrected: first given as {first}. Reason: {why}.{remark}"


def final_note(announced: AnnouncementOut) -> str:
    """Since when the result is final, or what it waits for; empty where another one stands, or it
    does not count.
    """
    if announced.final_since is not None:
        return f"Final since {in_zone(announced.final_since, announced.time_zone)}."
    if not announced.pending:
        return ""
    return f"Not final yet. {' '.join(announced.pending)}"


def sheet_facts(announced: AnnouncementOut, now: datetime) -> ResultSheet:
    """What stands on the announcement's sheet when it is printed at this time."""
    return ResultSheet(
        meet=announced.meet_name,
        place=announced.venue,
        date=in_zone(announced.made_at, announced.time_zone)[:10],
        time_zone=announced.time_zone,
        event=announced.event_name,
        round=announced.round,
        heat=str(announced.heat_number),
        number=announced.number,
        is_amended=announced.is_amended,
        supersedes=f"announcement {announced.number - 1}" if announced.supersedes else "",
        superseded=" ".join(_overtaken(announced, lambda one: one.announced_at_local)),
        announced_at=in_zone(announced.made_at, announced.time_zone),
        announced_by=announced.announced_by_name,
        lines=tuple(_sheet_line(line) for line in announced.lines),
        remarks=tuple(_remarks(announced)),
        windows=tuple(_window_words(one, announced) for one in _windows(announced)),
        because=tuple(announced.because),
        time_corrected=_time_corrected(announced),
        final_note=final_note(announced),
        abbreviations=tuple(announced.abbreviations.items()),
        head=UNKNOWN_HEAD,
        digest=announced.statement_digest,
        signed=_signed(announced),
        printed_at=in_zone(now, announced.time_zone),
        qualified_title=_qualified_title(announced) if _qualified(announced) else "",
        qualified=tuple(_qualified_line(one) for one in _qualified(announced)),
    )


def _signed(announced: AnnouncementOut) -> str:
    """Who signed it, when, and how; the time of announcing may be another, typed or corrected."""
    at = in_zone(announced.entered_at, announced.time_zone)
    return f"{announced.announced_by_name}, {at}, {announced.signed_with}"


def _sheet_line(line: ResultLineOut) -> ResultLine:
    return ResultLine(
        place="" if line.place is None else str(line.place),
        lane=str(line.lane),
        bib=line.bib,
        team=line.team_name,
        affiliation=line.affiliation,
        time=line.time,
        annotation=line.annotation,
        qualification=line.qualification or "",
        points=line.points,
    )


def _remarks(announced: AnnouncementOut) -> list[str]:
    remarks = [
        f"{', '.join(filter(None, [f'Lane {line.lane}', line.annotation]))}: "
        f"{in_sentence(line.reason)}."
        for line in announced.lines
        if line.reason
    ]
    remarks += parted_ties(announced.lines)
    remarks += [f"Changed: {change}" for change in announced.changes]
    remarks += announced.through
    if announced.remark:
        remarks.append(announced.remark)
    if announced.despite:
        remarks.append(f"Announced although {announced.blockers.aloud}: {announced.despite}")
    return [*remarks, announced.no_windows_because] if announced.no_windows_because else remarks


def parted_ties(lines: Iterable[ResultLineOut]) -> Iterator[str]:
    """Why teams with the same time as shown have different places, a sentence for each time."""
    shown: dict[str, list[ResultLineOut]] = {}
    for line in lines:
        if line.place is not None and line.time:
            shown.setdefault(line.time, []).append(line)
    for time, tied in shown.items():
        if len({line.place for line in tied}) > 1:
            lanes = listed([str(line.lane) for line in tied])
            yield f"Lanes {lanes}, {time}: placed by {_parted(tied)}."


def _parted(tied: Sequence[ResultLineOut]) -> str:
    """Thousandths decide where they differ; else the photo finish was read (World Athletics TR19,
    from memory).
    """
    places: Mapping[int | None, set[int | None]] = {
        line.thousandths: {other.place for other in tied if other.thousandths == line.thousandths}
        for line in tied
    }
    apart = all(len(taken) == 1 for taken in places.values())
    return "thousandths of a second" if apart else "photo finish"


def _window_words(window: SnapshotWindow, announced: AnnouncementOut) -> str:
    what = lodged(window.remedy, window.kind)
    if _is_void(window, announced):
        return f"{what}{_why_void(announced, ': none any more, for ')}"
    whose = ", by the meet's own setting" if window.origin == "meet" else ""
    if window.closes_at is None and not window.counts_from:
        return f"{what}: no closing time ({window.rule})"
    if window.closes_at is None:
        return f"{what} until {_from_end(window)} ({window.rule})"
    until = in_zone(window.closes_at, announced.time_zone)
    counted = _from_end(window) if window.counts_from else length(window.minutes or 0)
    return f"{what} until {until}: {counted} ({window.rule}{whose})"
