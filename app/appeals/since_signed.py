"""What became known after a decision was signed, for the foot of its paper.

The signed part never changes. That the protesters were told, until when an appeal can be lodged,
what was corrected, and that the jury has decided since is read at printing, and stands apart below
the signatures.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from app.appeals.about_not_held import Counted, time_since_not_held
from app.appeals.affected import affected_by
from app.appeals.corrected import corrected_in_words, measure_in_words, subjects_of_decision
from app.appeals.decision_queries import decision_out, decision_row, decisions_on
from app.appeals.in_round import window_for_appeal
from app.appeals.queries import appeal_row, measured, protest_out
from app.appeals.standing import appeal_out
from app.appeals.which_heat import heat_called, opened_by
from app.appeals.wire import AppealTimeOut, DecisionOut, Instance, Mark, Verdict
from app.clock import in_zone, rfc3339
from app.forms.remedy_paper import Section
from app.ids import AppealId, DecisionId, HeatId, ProtestId, TeamId
from app.meets.queries import MeetFacts
from app.record.erasures import erased_since_signed
from app.results.wording import length
from app.store.rows import AnyRow

TITLE = "After the signature, and no part of what was signed"


def since_signed(
    conn: Connection, meet: MeetFacts, decided: AnyRow, protest: AnyRow, now: datetime
) -> tuple[Section, ...]:
    """One part of a paper; none where nothing has become known since."""
    later = list(erased_since_signed(conn, meet.id, [decided.id]))
    later += _corrected_since(conn, meet, decided, protest)
    if decided.instance == Instance.REFEREE:
        later += [
            *_measured_otherwise(conn, meet, decided, protest),
            *_of_the_referees(conn, meet, decided, protest),
            *_affected_elsewhere(conn, meet, decided, protest, now),
        ]
    return (Section(TITLE, items=tuple(later)),) if later else ()


def _corrected_since(
    conn: Connection, meet: MeetFacts, decided: AnyRow, protest: AnyRow
) -> Iterator[str]:
    """What was corrected and does not stand among what was signed."""
    subjects = subjects_of_decision(
        conn, meet, decided.id, ProtestId(protest.id), decided.appeal_id
    )
    said = [*_measured_by(conn, meet, decided, protest), *corrected_in_words(conn, meet, subjects)]
    signed = _signed(decided.form_facts["sections"])
    return (one for one in said if one not in signed)


def _measured_by(
    conn: Connection, meet: MeetFacts, decided: AnyRow, protest: AnyRow
) -> Iterator[str]:
    """Corrections of the time by which what was decided is measured."""
    yield from measure_in_words(conn, meet, protest_out(conn, meet.id, ProtestId(protest.id)))
    if decided.appeal_id is not None:
        appeal = appeal_out(conn, meet.id, AppealId(decided.appeal_id))
        yield from measure_in_words(conn, meet, appeal)


def _signed(sections: Iterable[Mapping[str, Any]]) -> set[str]:
    """All lines of the sections of a paper as it was signed."""
    return {
        line
        for part in sections
        for line in [*part["items"], *(value for _label, value in part["facts"])]
    }


def _measured_otherwise(
    conn: Connection, meet: MeetFacts, decided: AnyRow, protest: AnyRow
) -> Iterator[str]:
    """That a protest is in time now and was late when it was decided, or the reverse."""
    marks = decided.statement.get("marks")
    timely = measured(conn, protest, meet.time_zone)
    if marks is not None and timely.in_time is (Mark.LATE in marks):
        yield f"By the times as they stand now, the protest is measured anew: {timely.words}."


def _of_the_referees(
    conn: Connection, meet: MeetFacts, decided: AnyRow, protest: AnyRow
) -> Iterator[str]:
    at = decided.advised_at
    if at is not None and rfc3339(at) != decided.statement["advised_at"]:
        yield f"Told to those who protested at {in_zone(at, meet.time_zone)}."
    jurys = _the_jurys(conn, meet, protest)
    if decided.settled_by is not None:
        undoing = decision_row(conn, meet.id, DecisionId(decided.settled_by))
        number = appeal_row(conn, meet.id, AppealId(undoing.appeal_id)).number
        at = in_zone(undoing.decided_at, meet.time_zone)
        yield f"The jury has undone this on appeal {number}, decided at {at}."
    elif decided.verdict != Verdict.REFERRED and not jurys and decided.replaced_by is None:
        own = window_for_appeal(conn, decided, TeamId(protest.team_id))
        window = own or time_since_not_held(conn, decided)
        if window is not None:
            time = appeal_time(conn, window, HeatId(decided.heat_id))
            yield appeals_until(time, meet.time_zone)
    for one in jurys:
        assert one.appeal is not None
        number = appeal_row(conn, meet.id, one.appeal).number
        at, verdict = one.decided_at_local, one.verdict.value
        yield f"The jury decided on appeal {number} at {at}: {verdict}."
    if jurys:
        final_by = meet.book.jury_final_by
        yield f"No appeal can be lodged any more: the decision of the jury is final ({final_by})."


def _affected_elsewhere(
    conn: Connection, meet: MeetFacts, decided: AnyRow, protest: AnyRow, now: datetime
) -> Iterator[str]:
    """The teams of other heats that a decision moved, each with its own time for an appeal; nobody
    once that is over for all, since the jury has decided or another decision stands instead.
    """
    made = decision_out(conn, decided, meet.time_zone)
    if made.replaced_by is not None or _the_jurys(conn, meet, protest):
        return
    for one in affected_by(conn, meet, [made], now).get(made.id, ()):
        if one.heat not in {None, made.heat} and one.team != protest.team_id:
            heat = heat_called(conn, meet.id, one.heat)
            yield f"Affected: {one.team_name} ({heat}): {one.words}."


def _the_jurys(conn: Connection, meet: MeetFacts, protest: AnyRow) -> list[DecisionOut]:
    """The jury's decisions on a protest that stand."""
    made = decisions_on(conn, meet, ProtestId(protest.id))
    return [one for one in made if one.appeal is not None and one.replaced_by is None]


def appeal_time(conn: Connection, window: AnyRow | Counted, about: HeatId) -> AppealTimeOut:
    """The time in which an appeal about this heat can be lodged, and what opened it."""
    return AppealTimeOut(
        opened_by=opened_by(conn, window, about),
        opened_at=window.opened_at,
        closes_at=window.closes_at,
        minutes=window.minutes,
        rule=window.rule,
        origin=window.origin,
    )


def appeals_until(time: AppealTimeOut, zone: str) -> str:
    """The same as a paper says it."""
    opened = f"opened by {time.opened_by} at {in_zone(time.opened_at, zone)}"
    if time.closes_at is None:
        return f"Appeals: no closing time ({time.rule}), {opened}."
    whose = ", by the meet's own setting" if time.origin == "meet" else ""
    until = in_zone(time.closes_at, zone)
    return f"Appeals until {until}: {length(time.minutes or 0)} ({time.rule}{whose}), {opened}."
