"""Any sequence of flags, reports, questions, withdrawals, rulings and announcements, over HTTP.

After every step the database is asked: no forbidden state or change of state, no report lost, no
two open cases for one team in one heat, no disqualification in force for a replaced ruling, one
record entry for each act, and none for a refused or a repeated one.
"""

from __future__ import annotations

from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from app.ids import new_id
from app.meets.states import HEAT_TABLE, HeatState
from app.reports.states import CASE_TABLE, REPORT_TABLE, CaseState, ReportState
from app.rulings.states import DISQUALIFICATION_TABLE, DisqualificationState
from tests.builders import (
    Json,
    MeetAtHand,
    a_call,
    a_meet,
    a_report,
    a_ruling,
    add_official,
    with_own_heats,
)
from tests.rulings.flow_checks import (
    Rows,
    Stored,
    insist_on_effects,
    insist_on_one_open_case,
    insist_on_places,
    insist_on_steps,
    read_stored,
)
from tests.running import Service

AUTHORS = st.sampled_from(["umpire", "second", "referee"])
HEATS = st.integers(0, 1)
LANES = st.sampled_from([3, 4, 4, 9])
CHOICES = st.integers(0, 10_000)
VERDICTS = st.sampled_from(["confirmed", "confirmed", "dismissed"])
REFUSED = {403, 404, 409, 412, 422, 428}
ONE_STEP: Json = {
    "seen": "lane_infringement",
    "on_bend": "yes",
    "inner_line": "yes",
    "distance_gained": "no",
    "other_team_impeded": "no",
}
BEYOND: Json = {"seen": "pass_completed_beyond_zone", "clearly": "yes"}


class Flow(RuleBasedStateMachine):
    """Officials who do whatever comes to their minds, in any order."""

    stadium: MeetAtHand
    sound = False

    @initialize()
    def begin(self) -> None:
        self.meet = with_own_heats(self.stadium)
        self.told: set[str] = set()
        self.drawn = [False, False]
        self.sent: list[tuple[str, str, Json, str | None]] = []
        self.size = self.meet.head()["size"]
        self.stored = self.read()

    def read(self) -> Stored:
        ids = [self.meet.heat(0), self.meet.heat(1)]
        return self.meet.service.store.read_now(lambda conn: read_stored(conn, ids))

    def settle(self, answer: httpx.Response) -> None:
        """Every act leaves one entry in the record; a refusal leaves none."""
        self.sound = False
        size = self.meet.head()["size"]
        if answer.is_success:
            assert size == self.size + 1, answer.text
        else:
            assert answer.status_code in REFUSED, (answer.status_code, answer.text)
            assert size == self.size, answer.text
        self.size = size

    def put(self, by: str, path: str, body: Json, etag: str | None = None) -> httpx.Response:
        answer = self.meet[by].put(path, body, etag=etag)
        self.settle(answer)
        if answer.is_success:
            self.sent.append((by, path, body, etag))
        return answer

    def etag_of(self, thing: Any, *, stale: bool) -> str:
        return f'"v{thing.version + (1 if stale else 0)}"'

    def pick(self, among: Rows, choice: int) -> Any:
        return among[sorted(among)[choice % len(among)]]

    @rule(by=st.sampled_from(["umpire", "second"]), flag=st.sampled_from(["white", "yellow"]))
    def show_flag(self, by: str, flag: str) -> None:
        body = a_call(self.meet.heat(), self.meet.posts[by], flag)
        answer = self.put(by, f"calls/{new_id()}", body)
        self.told |= {answer.json()["report"]} - {None}

    @rule(by=AUTHORS, heat=HEATS, lane=st.none() | LANES, named=st.booleans(), choice=CHOICES)
    def show_yellow(self, by: str, heat: int, lane: int | None, named: bool, choice: int) -> None:
        report = None
        if named:
            known = self.stored.reports
            report = self.pick(known, choice).id if known and choice % 3 == 0 else new_id()
        post = self.meet.posts.get(by, self.meet.posts["umpire"])
        body = a_call(self.meet.heat(heat), post, "yellow", lane=lane, report=report)
        answer = self.put(by, f"calls/{new_id()}", body)
        if answer.is_success:
            self.told.add(answer.json()["report"])

    @rule(
        by=AUTHORS,
        heat=HEATS,
        lane=LANES,
        seen=st.sampled_from([BEYOND, ONE_STEP]),
        at_post=st.booleans(),
    )
    def write_new(self, by: str, heat: int, lane: int, seen: Json, at_post: bool) -> None:
        """From the post it may be the account of a flag that awaits one."""
        post = self.meet.posts.get(by) if at_post else None
        body = a_report(self.meet.heat(heat), post, take_over=1, lane=lane, observation=seen)
        answer = self.put(by, f"reports/{new_id()}", body)
        assert answer.status_code == 201, answer.text
        self.told.add(answer.json()["id"])

    @precondition(lambda self: self.stored.reports)
    @rule(
        by=AUTHORS,
        heat=HEATS,
        lane=LANES,
        choice=CHOICES,
        version=st.sampled_from(["none", "seen", "seen", "stale"]),
    )
    def write_again(self, by: str, heat: int, lane: int, choice: int, version: str) -> None:
        report = self.pick(self.stored.reports, choice)
        post = self.meet.posts.get(by) if choice % 2 else None
        body = a_report(self.meet.heat(heat), post, lane=lane, words=f"Again, {new_id()}.")
        etag = None if version == "none" else self.etag_of(report, stale=version == "stale")
        self.put(by, f"reports/{report.id}", body, etag)

    @precondition(lambda self: self.stored.reports)
    @rule(choice=CHOICES, stale=st.booleans())
    def ask_back(self, choice: int, stale: bool) -> None:
        report = self.pick(self.stored.reports, choice)
        etag = self.etag_of(report, stale=stale and choice % 4 == 0)
        reason = {"reason": f"How far, {choice}?"}
        self.settle(self.meet.referee.post(f"reports/{report.id}/return", reason, etag=etag))

    @precondition(lambda self: self.stored.reports)
    @rule(by=AUTHORS, choice=CHOICES)
    def withdraw(self, by: str, choice: int) -> None:
        report = self.pick(self.stored.reports, choice)
        etag, reason = self.etag_of(report, stale=False), {"reason": "It was another lane."}
        self.settle(self.meet[by].post(f"reports/{report.id}/withdraw", reason, etag=etag))

    @precondition(lambda self: self.stored.cases)
    @rule(
        by=st.sampled_from(["referee", "deputy", "deputy"]),
        choice=CHOICES,
        verdict=VERDICTS,
        infringement=st.sampled_from([None, "help_given", "lane_infringement"]),
        stale=st.booleans(),
    )
    def rule_on_case(
        self, by: str, choice: int, verdict: str, infringement: str | None, stale: bool
    ) -> None:
        case = self.pick(self.stored.cases, choice)
        named = infringement if verdict == "confirmed" else None
        etag = self.etag_of(case, stale=stale and choice % 4 == 0)
        body = a_ruling(verdict=verdict, infringement=named)
        if named == "lane_infringement":
            body["separate"] = 1 + choice % 2
        self.put(by, f"cases/{case.id}/rulings/{new_id()}", body, etag)

    @precondition(lambda self: self.stored.rulings)
    @rule(choice=CHOICES, verdict=VERDICTS)
    def reconsider(self, choice: int, verdict: str) -> None:
        """Any ruling, also one that has been replaced: that one is refused."""
        ruling = self.pick(self.stored.rulings, choice)
        named = "lane_infringement" if verdict == "confirmed" and choice % 2 else None
        body = a_ruling(verdict=verdict, infringement=named, reconsiders=ruling.id)
        etag = self.etag_of(self.stored.cases[ruling.case_id], stale=False)
        self.put("deputy", f"cases/{ruling.case_id}/rulings/{new_id()}", body, etag)

    @rule(heat=HEATS, act=st.sampled_from(["start", "start", "hold-back"]))
    def move_heat(self, heat: int, act: str) -> None:
        known = self.stored.heats[self.meet.heat(heat)]
        etag = self.etag_of(known, stale=False)
        self.settle(self.meet.referee.post(f"heats/{known.id}/{act}", etag=etag))

    @rule(heat=HEATS)
    def draw_lanes_anew(self, heat: int) -> None:
        """The teams of lanes 3 and 4 change places, as long as the heat has not begun."""
        lanes = {3: 3, 4: 4} if self.drawn[heat] else {3: 4, 4: 3}
        answer = self.meet.draw_lanes(lanes, heat)
        self.settle(answer)
        self.drawn[heat] ^= answer.is_success

    @rule(heat=HEATS, despite=st.sampled_from([None, "It was late."]))
    def announce(self, heat: int, despite: str | None) -> None:
        address = f"heats/{self.meet.heat(heat)}/result"
        if self.meet.desk.get(address).status_code == 404:
            self.settle(self.meet.load_result(heat))
            return
        answer = self.meet.announce(heat, despite=despite)
        self.settle(answer)
        if answer.is_success:
            self.compare_with_result(heat, answer.json()["lines"])

    def compare_with_result(self, heat: int, lines: list[Json]) -> None:
        """The result shows the disqualifications in force, all of them and no others."""
        shown = {line["team"] for line in lines if line["annotation"].startswith("DQ")}
        assert shown == {
            one.team_id
            for one in self.stored.disqualifications.values()
            if one.heat_id == self.meet.heat(heat) and one.state == "in force"
        }

    @precondition(lambda self: self.sent)
    @rule(choice=CHOICES)
    def send_again(self, choice: int) -> None:
        """A phone that heard no answer repeats itself, however late: nothing changes."""
        by, path, body, etag = self.sent[choice % len(self.sent)]
        answer = self.meet[by].put(path, body, etag=etag)
        assert answer.status_code in {200, *REFUSED}, answer.text
        assert self.meet.head()["size"] == self.size

    @invariant()
    def everything_is_as_it_must_be(self) -> None:
        if not hasattr(self, "stored"):
            return
        self.sound = False
        before, now = self.stored, self.read()
        assert set(now.reports) == self.told
        insist_on_steps(HEAT_TABLE, HeatState, before.heats, now.heats)
        insist_on_steps(CASE_TABLE, CaseState, before.cases, now.cases)
        insist_on_steps(REPORT_TABLE, ReportState, before.reports, now.reports)
        insist_on_steps(
            DISQUALIFICATION_TABLE,
            DisqualificationState,
            before.disqualifications,
            now.disqualifications,
        )
        insist_on_one_open_case(now)
        insist_on_places(now)
        insist_on_effects(now)
        self.stored = now
        self.sound = True

    def teardown(self) -> None:
        """The docket lists what is open; not asked where a step has already gone wrong."""
        if self.sound:
            is_open = {one.id for one in self.stored.cases.values() if one.state == "open"}
            assert {*self.meet.open_cases(0), *self.meet.open_cases(1)} == is_open


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    hand = a_meet(running_service)
    add_official(hand, "deputy", "referee")
    return hand


def test_no_sequence_of_acts_reaches_what_must_not_be(
    stadium: MeetAtHand, service: Service
) -> None:
    class FlowHere(Flow):
        pass

    FlowHere.stadium = stadium
    run_state_machine_as_test(
        FlowHere,
        settings=settings(
            max_examples=12,
            stateful_step_count=30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
