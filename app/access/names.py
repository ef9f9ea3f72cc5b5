"""What was an official called when something was done? Papers tell that, whatever they are called
since.

A name stands in the record with the time of its entering. Whoever was never changed has had one
name. Where a naming was erased, what stands in its place now is told: nothing leads back to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from sqlalchemy import Connection

from app.access.queries import officials_of
from app.access.tables import officials
from app.access.wire import OfficialOut
from app.clock import in_zone
from app.ids import MeetId, OfficialId
from app.record.kinds import Kind
from app.record.queries import Made, entries_about
from app.store.rows import AnyRow

WHO = (officials.c.name.label("official_name"), officials.c.version.label("official_version"))
"""What `name_then` asks of a row, beside its meet_id and its official_id."""


@dataclass(frozen=True, slots=True)
class Naming:
    """A name, and since when it is entered."""

    since: datetime
    name: str


@dataclass(frozen=True, slots=True)
class NamesOfRows:
    """What the officials of many rows were called; who has had more than one name is looked up
    once.
    """

    conn: Connection
    _known: dict[str, Sequence[Naming]] = field(default_factory=dict)

    def then(self, row: AnyRow, at: datetime) -> str:
        """What a row's official was called at a time."""
        if row.official_version == 1:
            return str(row.official_name)
        if row.official_id not in self._known:
            self._known[row.official_id] = namings_of(self.conn, row.meet_id, row.official_id)
        return _then(self._known[row.official_id], at) or str(row.official_name)


def name_then(conn: Connection, row: AnyRow, at: datetime) -> str:
    """What a row's official was called at a time."""
    return NamesOfRows(conn).then(row, at)


def namings_of(conn: Connection, meet_id: MeetId, official_id: OfficialId) -> list[Naming]:
    """The names of an official, first to last; none where one of them was erased."""
    named = entries_about(conn, meet_id, Kind.OFFICIAL_NAMED, official_id)
    changed = entries_about(conn, meet_id, Kind.OFFICIAL_CHANGED, official_id)
    if named:
        first = [_entered(one, one.body) for one in named]
    else:  # the meet's first official, who is named with the meet itself
        made = entries_about(conn, meet_id, Kind.MEET_MADE, meet_id)
        first = [_entered(one, (one.body or {}).get("organiser")) for one in made]
    found = [*first, *(_entered(one, one.body) for one in changed)]
    kept = [one for one in found if one is not None]
    return kept if len(kept) == len(found) else []


def _entered(made: Made, said: Mapping[str, Any] | None) -> Naming | None:
    return None if said is None else Naming(made.at, str(said["name"]))


def _then(namings: Sequence[Naming], at: datetime) -> str:
    """The last name before an act; the first where a clock was set back."""
    before = [one.name for one in namings if one.since <= at]
    return (before or [one.name for one in namings[:1]] or [""])[-1]


@dataclass(frozen=True)
class NamesThen:
    """What the officials of a meet were called when they did something; read once it is asked."""

    conn: Connection
    meet_id: MeetId

    @cached_property
    def _known(self) -> Sequence[OfficialOut]:
        return officials_of(self.conn, self.meet_id)

    @cached_property
    def _today(self) -> Mapping[str, str]:
        return {one.id: one.name for one in self._known}

    @cached_property
    def _namings(self) -> Mapping[str, Sequence[Naming]]:
        changed = [one.id for one in self._known if one.version > 1]
        return {one: namings_of(self.conn, self.meet_id, one) for one in changed}

    def today(self, official_id: str) -> str:
        """The present name; empty for whoever is no official of the meet."""
        return self._today.get(official_id, "")

    def at(self, official_id: str, at: datetime) -> str:
        """The name of then; empty for whoever is no official of the meet, as the server."""
        return _then(self._namings.get(official_id, ()), at) or self._today.get(official_id, "")

    def since(self, official_id: str, at: datetime) -> Naming | None:
        """The name of today and since when it is entered; None where it was the same then."""
        today, then = self._today.get(official_id, ""), self.at(official_id, at)
        if today == then:
            return None
        namings = self._namings[official_id]
        last = len(namings) - 1
        while last and namings[last - 1].name == today:
            last -= 1
        return namings[last]

    def told(self, official_id: str, at: datetime, zone: str) -> str:
        """The name of then, and what its official is called today where that is another."""
        then, now = self.at(official_id, at), self.since(official_id, at)
        if now is None:
            return then
        return f"{then} (since {in_zone(now.since, zone)} entered as {now.name})"


def entered_since(
    conn: Connection, meet_id: MeetId, acts: Iterable[tuple[str, datetime]], zone: str
) -> tuple[str, ...]:
    """A sentence for each of those who did something and are called otherwise today."""
    names = NamesThen(conn, meet_id)
    told = (_since_in_words(names, *act, zone) for act in acts)
    return tuple(dict.fromkeys(filter(None, told)))


def _since_in_words(names: NamesThen, official_id: str, at: datetime, zone: str) -> str:
    now = names.since(official_id, at)
    if now is None:
        return ""
    then = names.at(official_id, at)
    return f"{then} is entered as {now.name} since {in_zone(now.since, zone)}."
