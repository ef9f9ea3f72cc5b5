"""What comes at the same moment is stored as if it had come one after the other."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, select

from app.access.queries import Caller
from app.ids import CallId, MeetId, ReportId, new_id
from app.refusals import Refusal
from app.reports.actions import asked_of_report, write_report
from app.reports.flags import asked_of_flag, show_flag
from app.reports.tables import calls, cases, reports
from app.reports.wire import CallIn, ReportIn
from app.store.action import Action, Actor, Asks
from tests.builders import Json, MeetAtHand, a_call, a_phone_clock, a_report, with_own_heats

WHO = st.sampled_from(["umpire", "second", "chief_umpire"])
POSTS = st.sampled_from(["umpire", "second"])
LANES = st.sampled_from([None, 3, 4, 5])
SEEN = a_phone_clock()
NAMES = st.sampled_from("abcdef")
"""Ids that several may name: a flag and its account, a request that is sent twice."""


@dataclass(frozen=True)
class Sent:
    """A flag or an account, with names in place of ids."""

    by: str
    post: str | None
    lane: int | None
    name: str
    flag: str = ""
    own_id: str = ""


flags = st.builds(
    Sent,
    by=WHO,
    post=POSTS,
    lane=LANES,
    name=st.just("") | NAMES,
    flag=st.just("yellow"),
    own_id=st.sampled_from("uvwxyz"),
)
accounts = st.builds(Sent, by=WHO, post=st.none() | POSTS, lane=st.sampled_from([3, 4]), name=NAMES)


class Heat:
    """A heat of its own, and what was sent about it."""

    def __init__(self, meet: MeetAtHand, callers: dict[str, Caller]) -> None:
        self.meet, self.callers = with_own_heats(meet), callers
        self.id = self.meet.heat()
        self.ids: dict[str, str] = {}

    def work(self, sent: Sent) -> tuple[Actor, Action[Any], Asks]:
        caller = self.callers[sent.by]
        meet, by, actor = MeetId(self.meet.id), caller.official_id, Actor(caller.official_id)
        post = self.meet.posts[sent.post] if sent.post else None
        if sent.flag:
            assert post is not None
            call_id = CallId(self._id(sent.own_id))
            report = self._id(sent.name) if sent.name else None
            call = CallIn.model_validate(
                a_call(self.id, post, sent.flag, lane=sent.lane, report=report, clock=SEEN)
            )
            asks = asked_of_flag(meet, call_id, call, by)
            return actor, show_flag(call_id, call, caller), asks
        report_id = ReportId(self._id(sent.name))
        account = ReportIn.model_validate(a_report(self.id, post, lane=sent.lane, clock=SEEN))
        asks = asked_of_report(meet, report_id, account, by)
        return actor, write_report(report_id, account, caller, None), asks

    def _id(self, name: str) -> str:
        return self.ids.setdefault(name, new_id())

    def stored(self) -> list[Json]:
        """All rows about the heat, with names in place of what differs from heat to heat."""
        return self.meet.service.store.read_now(partial(_rows, heat_id=self.id, names=self.ids))


def _rows(conn: Connection, heat_id: str, names: dict[str, str]) -> list[Json]:
    known = {own_id: name for name, own_id in names.items()}
    found: list[Json] = []
    numbers: list[int] = []
    of_case = select(cases).where(cases.c.heat_id == heat_id).order_by(cases.c.number)
    for row in conn.execute(of_case).mappings():
        numbers.append(row["number"])
        known[row["id"]] = f"case {row['number'] - numbers[0]}"
        found.append({"case": known[row["id"]], **_named(known, row, "state", "lane", "version")})
    of_report = select(reports).where(reports.c.heat_id == heat_id).order_by(reports.c.id)
    made = [dict(row) for row in conn.execute(of_report).mappings()]
    for row in made:
        known.setdefault(row["id"], "made here")
    told = ("id", "case_id", "official_id", "lane", "state", "run", "version", "came_as", "words")
    found += [_named(known, row, *told) for row in made]
    of_call = select(calls).where(calls.c.heat_id == heat_id)
    told = ("id", "report_id", "official_id", "lane", "flag", "names_report")
    found += [_named(known, row, *told) for row in conn.execute(of_call).mappings()]
    return sorted(found, key=str)


def _named(known: dict[str, str], row: Any, *columns: str) -> Json:
    return {column: known.get(row[column], row[column]) for column in columns}


def outcome(result: object) -> object:
    return type(result).__name__ if isinstance(result, BaseException) else result.created  # type: ignore[attr-defined]


def one_by_one(heat: Heat, sent: Sequence[Sent]) -> list[object]:
    outcomes: list[object] = []
    for one in sent:
        actor, action, _asks = heat.work(one)
        try:
            put = heat.meet.service.store.act_now(MeetId(heat.meet.id), actor, action)
            outcomes.append(outcome(put))
        except Refusal as refusal:
            outcomes.append(outcome(refusal))
    return outcomes


def at_once(heat: Heat, sent: Sequence[Sent]) -> list[object]:
    store, meet = heat.meet.service.store, MeetId(heat.meet.id)

    async def together() -> list[Any]:
        acts = [store.act(meet, actor, act, asks) for actor, act, asks in map(heat.work, sent)]
        return await asyncio.gather(*acts, return_exceptions=True)

    return [outcome(one) for one in asyncio.run(together())]


@pytest.fixture(scope="package")
def callers(shared_meet: MeetAtHand) -> dict[str, Caller]:
    services = shared_meet.service.app.state.services

    async def find(token: str) -> Caller:
        found = await services.callers.find(services.store, token, services.clock.now())
        assert found is not None
        return found  # type: ignore[no-any-return]

    names = ["umpire", "second", "chief_umpire"]
    return {name: asyncio.run(find(shared_meet[name].token)) for name in names}


A_FLAG = Sent(by="umpire", post="umpire", lane=None, name="", flag="yellow", own_id="x")
ITS_ACCOUNT = Sent(by="umpire", post="umpire", lane=3, name="a")
ANOTHER = Sent(by="second", post="second", lane=5, name="b")
OF_THAT_LANE = Sent(by="second", post="second", lane=3, name="c")


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example(sent=[ANOTHER, A_FLAG, ITS_ACCOUNT])
@example(sent=[ITS_ACCOUNT, OF_THAT_LANE, ANOTHER])
@given(sent=st.lists(flags | accounts, min_size=2, max_size=6))
def test_flags_and_accounts_of_one_heat_that_come_at_once_are_stored_as_one_after_the_other(
    shared_meet: MeetAtHand, callers: dict[str, Caller], sent: list[Sent]
) -> None:
    one, other = Heat(shared_meet, callers), Heat(shared_meet, callers)
    assert at_once(one, sent) == one_by_one(other, sent)
    assert one.stored() == other.stored()
