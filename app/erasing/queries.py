"""Whose names are looked for, which meets are due, and what earlier erasures said."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import chain
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, select

from app.access.queries import official_names, official_row
from app.erasing.plan import texts_in_bodies, texts_in_rows
from app.erasing.scope import ERASED, Notes
from app.erasing.spelling import same
from app.erasing.what import Sort, is_id_or_instant, sort_of
from app.forms.erased import NAME_ERASED
from app.ids import MeetId, OfficialId
from app.meets.queries import meet_row
from app.record.kinds import Kind
from app.record.queries import entries_about, is_closed
from app.refusals import NotFound
from app.schema import all_tables


@dataclass(frozen=True, slots=True)
class Due:
    """A meet whose days of keeping are over."""

    meet_id: MeetId
    keep_days: int


def note_of(at: datetime, by: str, because: str) -> str:
    """What stands in place of free text, on papers as in answers."""
    return f"erased on {at.date().isoformat()}, by {by}, for: {because}"


def notes_of(conn: Connection, meet_id: MeetId, now: str) -> Notes:
    """This erasure's note, and those of all earlier ones."""
    made = entries_about(conn, meet_id, Kind.ERASED, meet_id)
    told = [(one.at, one.body) for one in made]
    before = (note_of(at, body["by"], body["because"]) for at, body in told if body)
    return Notes(now, frozenset(before))


@dataclass(frozen=True, slots=True)
class OfPeople:
    """What a meet holds that sentences of the program repeat: names, and free texts."""

    names: set[str]
    words: set[str]


def of_people(conn: Connection, meet_id: MeetId) -> OfPeople:
    """All names of people that a meet holds, and all free texts."""
    found = OfPeople(set(), set())
    for place, text in chain(texts_in_rows(conn, meet_id), texts_in_bodies(conn, meet_id)):
        sort = sort_of(place)
        if sort is Sort.WORDS:
            found.words.add(text)
        elif _is_like_a_name(sort, text):
            found.names.add(text)
    found.names.difference_update({ERASED, NAME_ERASED})
    return found


def _is_like_a_name(sort: Sort, text: str) -> bool:
    """A receipt's number without a letter is no name, and stands in every second sentence."""
    if sort is Sort.RECEIPT:
        has_letters = any(one.isalpha() for one in text)
        return len(text) > 2 and has_letters and not is_id_or_instant(text)
    return sort is Sort.NAME and bool(text)


def names_of(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> set[str]:
    """The names that an official has and has had; NotFound for no official of this meet."""
    row = official_row(conn, meet_id, official_id)
    kinds = (Kind.OFFICIAL_NAMED, Kind.OFFICIAL_CHANGED)
    had = [one.body for kind in kinds for one in entries_about(conn, meet_id, kind, official_id)]
    first = [one.body for one in entries_about(conn, meet_id, Kind.MEET_MADE, meet_id)]
    organisers = [body["organiser"] for body in first if body and body["organiser"]]
    names = {row.name, *(body["name"] for body in had if body)}
    names |= {one["name"] for one in organisers if one["id"] == official_id}
    return names - {ERASED, NAME_ERASED}


def officials_named(conn: Connection, meet_id: MeetId, names: Iterable[str]) -> set[str]:
    """The officials of a meet who have one of these names, however it is written."""
    alike = {same(name) for name in names}
    officials = official_names(conn, meet_id).items()
    return {official for official, name in officials if same(name) in alike}


def insist_there(conn: Connection, meet_id: MeetId) -> None:
    """NotFound for a meet that nobody has made."""
    meet_row(conn, meet_id)


def insist_pictures(conn: Connection, meet_id: MeetId, asked: frozenset[str]) -> None:
    """NotFound for a picture that is none of this meet's."""
    pictures = all_tables().tables["pictures"]
    mine = select(pictures.c.id).where(pictures.c.meet_id == meet_id, pictures.c.id.in_(asked))
    unknown = asked - set(conn.execute(mine).scalars())
    if unknown:
        raise NotFound(f"There is no picture {min(unknown)} at this meet.")


def meets_due(conn: Connection, now: datetime) -> Iterator[Due]:
    """The meets whose terms say how long they keep names, and that have kept them so long.

    From the end of the meet where that was told, else from the end of its last day.
    """
    meets = all_tables().tables["meets"]
    for row in conn.execute(select(meets).order_by(meets.c.made_at, meets.c.id)):
        days = row.facts["terms"].get("keep_days")
        if days is None or is_closed(conn, MeetId(row.id)):
            continue
        ended = row.ended_at or _end_of(row.facts["last_day"], row.time_zone)
        if ended + timedelta(days=days) <= now:
            yield Due(MeetId(row.id), days)


def _end_of(day: str, zone: str) -> datetime:
    following = date.fromisoformat(day) + timedelta(days=1)
    return datetime.combine(following, time(), ZoneInfo(zone))
