"""Taking over a list of officials: who is new, who changes, who stays as they are.

A name is compared without regard to case and blanks. Nobody is taken off the meet by a list: who is
not in it stays. Each official is an act of their own on the record, as if named one by one, so a
list that was cut off half-way is simply sent again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.access.actions import change_official, name_official
from app.access.wire import OfficialIn, OfficialOut, OfficialsListOut
from app.ids import MeetId, OfficialId, new_id
from app.refusals import FileRefused
from app.roles import Role
from app.sheets.listed import Listed, read_listed
from app.sheets.officials_list import OfficialRow, read_officials_list
from app.sheets.problems import ProblemList
from app.store.action import Actor
from app.store.store import Store
from app.visible import likeness


@dataclass(frozen=True, slots=True)
class Step:
    """An official of the list beside the one whom the meet knows by that name, if any."""

    known: OfficialOut | None
    sent: OfficialIn

    @property
    def is_change(self) -> bool:
        return self.known is not None and not self._is_same(self.known)

    def _is_same(self, known: OfficialOut) -> bool:
        before = (known.name, known.affiliation, set(known.roles), known.active)
        return before == (self.sent.name, self.sent.affiliation, set(self.sent.roles), True)


def read_file(content: bytes, columns: Mapping[str, str]) -> Listed[OfficialRow]:
    """The officials in a file and every problem in it, by row and column."""
    return read_listed(read_officials_list, content, columns)


def plan(
    listed: Listed[OfficialRow], known: Sequence[OfficialOut], actor: str | None
) -> tuple[list[Step], Listed[OfficialRow]]:
    """What taking the list over does, and the list with what stands against that."""
    by_name: dict[str, list[OfficialOut]] = {}
    for one in known:
        by_name.setdefault(likeness(one.name), []).append(one)
    problems, steps = ProblemList(), []
    for row in listed.rows:
        found = by_name.get(likeness(row.name), [])
        _tell_of_trouble(row, found, actor, problems)
        steps.append(Step(found[0] if found else None, _as_sent(row, found)))
    return steps, listed.with_problems(problems.told())


def _tell_of_trouble(
    row: OfficialRow, found: Sequence[OfficialOut], actor: str | None, problems: ProblemList
) -> None:
    if len(found) > 1:
        why = f"The meet has {len(found)} officials of this name. Change them one by one."
        problems.add(row.row, "name", why)
    if found and found[0].id == actor and Role.ORGANISER not in row.roles:
        why = "Nobody takes the organiser's role from themselves. Write it here as well."
        problems.add(row.row, "roles", why)


def _as_sent(row: OfficialRow, found: Sequence[OfficialOut]) -> OfficialIn:
    stays = found[0].affiliation if found else ""
    roles = [Role(role) for role in row.roles]
    return OfficialIn(name=row.name, affiliation=row.affiliation or stays, roles=roles)


def summary(
    steps: Sequence[Step], listed: Listed[OfficialRow], *, stored: bool
) -> OfficialsListOut:
    """What the list holds, and what taking it over does or would do."""
    return OfficialsListOut(
        stored=stored,
        officials=len(steps),
        added=[step.sent.name for step in steps if step.known is None],
        changed=[step.sent.name for step in steps if step.is_change],
        unchanged=sum(step.known is not None and not step.is_change for step in steps),
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )


async def take_over(
    store: Store, meet_id: MeetId, actor: Actor, steps: Sequence[Step], listed: Listed[OfficialRow]
) -> OfficialsListOut:
    """Name and change them, one after another; FileRefused where anything stands against it."""
    if listed.problems:
        raise FileRefused("list of officials", listed.problems)
    for step in steps:
        if step.known is None:
            await store.act(meet_id, actor, name_official(OfficialId(new_id()), step.sent))
        elif step.is_change:
            changed = change_official(step.known.id, step.sent, step.known.version)
            await store.act(meet_id, actor, changed)
    return summary(steps, listed, stored=True)
