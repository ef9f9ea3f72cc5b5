"""Which heat is now, and which next: the rule by itself, what of it is read, and over HTTP.

That a crew follows the head official's word, and the programme where there is none, is common
practice.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, create_engine, insert

from app.ids import HeatId, MeetId, new_id
from app.meets.heat_now import NowAndNext, Standing, find_heat_now
from app.meets.pointing import now_and_next
from app.meets.states import HeatState
from app.meets.tables import events, heats, meets
from app.record.kinds import KINDS, Kind
from app.roles import Role
from app.rounds.tables import re_runs
from app.schema import all_tables
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.running import Service

NOON = datetime(2026, 6, 13, 12, tzinfo=UTC)
STARTED = (HeatState.RUNNING, HeatState.JUDGED, HeatState.ANNOUNCED)


def a_standing(position: int, state: str = "to come", *, rehearsal: bool = False) -> Standing:
    """A heat named by its place, started as many minutes after noon where it has been started."""
    started = NOON + timedelta(minutes=position) if HeatState(state) in STARTED else None
    return Standing(HeatId(f"heat {position}"), position, HeatState(state), started, rehearsal)


def found(states: Iterable[str], pointed_at: int | None = None) -> tuple[int | None, int | None]:
    """The places of the heats that are now and next; the first heat has place 1."""
    standing = [a_standing(place, state) for place, state in enumerate(states, start=1)]
    told = find_heat_now(standing, None if pointed_at is None else HeatId(f"heat {pointed_at}"))
    now, then = (None if one is None else int(one.split()[1]) for one in (told.now, told.next))
    return now, then


@pytest.mark.parametrize(
    ("states", "pointed_at", "expected"),
    [
        ([], None, (None, None)),
        (["to come"], None, (1, None)),
        (["to come", "to come"], None, (1, 2)),
        (["running", "to come"], 1, (1, 2)),
        (["judged", "to come", "to come"], 1, (2, 3)),
        (["announced", "to come", "to come"], 3, (3, 2)),
        # The head official has called the next one up while the last is still on its way.
        (["to come", "running", "to come", "to come"], 4, (2, 4)),
        # A heat whose last post never called does not hold the crew back.
        (["running", "judged", "to come"], 2, (3, None)),
        (["running", "running", "to come"], 1, (1, 3)),
        # After the last of the programme comes what was left before it.
        (["to come", "judged"], 2, (1, None)),
        (["to come", "judged", "to come"], 2, (3, 1)),
        (["not held", "to come"], 1, (2, None)),
        (["judged", "judged"], 2, (2, None)),
        (["judged", "announced"], 2, (None, None)),
        (["judged", "not held"], 1, (1, None)),
    ],
)
def test_the_heat_now_is_the_one_that_a_crew_would_look_at(
    states: list[str], pointed_at: int | None, expected: tuple[int | None, int | None]
) -> None:
    assert found(states, pointed_at) == expected


def test_a_rehearsal_is_now_only_where_somebody_says_so() -> None:
    programme = [a_standing(1, "judged"), a_standing(2), a_standing(3)]
    for state in ("to come", "running"):
        rehearsal = a_standing(9, state, rehearsal=True)
        pointed = find_heat_now([*programme, rehearsal], rehearsal.id)
        assert pointed == NowAndNext(rehearsal.id, HeatId("heat 2"))
        unsaid = find_heat_now([*programme, rehearsal], None)
        assert unsaid == NowAndNext(HeatId("heat 2"), HeatId("heat 3"))
    judged = a_standing(9, "judged", rehearsal=True)
    assert find_heat_now([*programme, judged], judged.id).now == "heat 2"
    assert find_heat_now([judged], judged.id) == NowAndNext(None, None)


@st.composite
def programmes(draw: st.DrawFn) -> tuple[list[Standing], HeatId | None]:
    """A programme in whatever state, some of it started in another order, and where one points."""
    count = draw(st.integers(0, 9))
    minutes = draw(st.permutations(range(count)))
    states = st.sampled_from([one for one in HeatState if one is not HeatState.FINAL])
    heats = [
        Standing(
            HeatId(new_id()),
            place + 1,
            state,
            NOON + timedelta(minutes=minutes[place]) if state in STARTED else None,
            draw(st.booleans()) and draw(st.booleans()),
        )
        for place in range(count)
        for state in [draw(states)]
    ]
    return heats, draw(st.sampled_from([None, *(heat.id for heat in heats)]))


@given(programmes())
def test_what_is_now_and_next_is_never_over_and_never_the_same(
    drawn: tuple[list[Standing], HeatId | None],
) -> None:
    standing, pointed_at = drawn
    by_id = {heat.id: heat for heat in standing}
    told = find_heat_now(standing, pointed_at)
    assert told == find_heat_now(reversed(standing), pointed_at)
    if told.next is not None:
        assert told.next != told.now
        assert by_id[told.next].is_to_come
    left = [heat for heat in standing if heat.is_to_come and not heat.rehearsal]
    if told.now is None:
        assert not left
        assert not any(heat.runs and heat.id == pointed_at for heat in standing)
    else:
        assert by_id[told.now].state not in {HeatState.NOT_HELD, HeatState.ANNOUNCED}
        assert by_id[told.now].state is not HeatState.JUDGED or not left
        assert not by_id[told.now].rehearsal or told.now == pointed_at
        # A rehearsal is next only where the head official has pointed at it.
        wanted = {heat.id for heat in standing if heat.is_to_come and heat.id == pointed_at}
        may_come = {heat.id for heat in left} | wanted
        assert (told.next is None) == (not may_come - {told.now})


@pytest.fixture(scope="module")
def empty() -> Iterator[Connection]:
    """All tables in memory, without a row."""
    engine = create_engine("sqlite://")
    with engine.connect() as conn:
        all_tables().create_all(conn)
        yield conn
    engine.dispose()


@given(programmes(), st.integers(0, 3))
@settings(max_examples=60)
def test_the_few_heats_that_are_read_give_the_same_as_all_of_them(
    empty: Connection, drawn: tuple[list[Standing], HeatId | None], off: int
) -> None:
    standing, pointed_at = drawn
    meet = MeetId(new_id())
    _store(empty, meet, standing, pointed_at)
    called_off = standing[:off]
    for heat in called_off:
        _call_off(empty, meet, heat.id)
    counting = [heat for heat in standing if heat not in called_off]
    assert now_and_next(empty, meet) == find_heat_now(counting, pointed_at)


def _store(
    conn: Connection, meet: MeetId, standing: Iterable[Standing], pointed_at: HeatId | None
) -> None:
    row = {"id": meet, "name": "", "time_zone": "", "edition": "", "facts": {}, "version": 1}
    conn.execute(insert(meets).values(**row, made_at=NOON, heat_now=pointed_at))
    event = {"id": meet, "meet_id": meet, "name": "", "name_key": "", "relay": "4x100"}
    conn.execute(insert(events).values(**event))
    for heat in standing:
        name = {"round": "", "round_key": "", "number": heat.position, "run": 0, "version": 1}
        stands = {"state": heat.state.value, "started_at": heat.started_at}
        where = {"meet_id": meet, "event_id": meet, "position": heat.position}
        values = {"id": heat.id, "rehearsal": heat.rehearsal, **name, **stands, **where}
        conn.execute(insert(heats).values(**values))


def _call_off(conn: Connection, meet: MeetId, heat: HeatId) -> None:
    row = {"id": new_id(), "meet_id": meet, "event_id": meet, "round_key": "", "heat_id": heat}
    row |= {"run_heat_id": heat, "letter": "qR", "added_places": 0, "by_decision": "none"}
    conn.execute(insert(re_runs).values(**row, teams=[], state="called off", since=NOON))


def told(meet: MeetAtHand, by: str = "umpire") -> tuple[str | None, str | None]:
    """The ids of the heats that are now and next, as somebody reads them."""
    answer = meet[by].get("heat-now")
    assert answer.status_code == 200, answer.text
    return _ids(answer.json())


def _ids(document: Json) -> tuple[str | None, str | None]:
    now, then = (document[name] and document[name]["id"] for name in ("now", "next"))
    return now, then


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return a_meet(service, heats=4)


def kinds(meet: MeetAtHand) -> list[str]:
    """The kinds of the newest entries, the last one first."""
    lines = meet.referee.get("record").text.splitlines()[:-1]
    return [json.loads(json.loads(line)["entry"])["kind"] for line in reversed(lines)]


def test_everybody_follows_the_programme_and_the_head_official(meet: MeetAtHand) -> None:
    assert told(meet) == (meet.heat(0), meet.heat(1))
    first = meet.referee.put("heat-now", {"heat": meet.heat(2)})
    assert first.status_code == 201, first.text
    assert _ids(first.json()) == (meet.heat(2), meet.heat(3))
    assert kinds(meet)[0] == "heat now"
    assert told(meet, "results") == (meet.heat(2), meet.heat(3))
    moved = meet["chief_umpire"].put("heat-now", {"heat": meet.heat(1)})
    assert moved.status_code == 200
    assert told(meet) == (meet.heat(1), meet.heat(2))


def test_starting_a_heat_moves_the_pointer_and_its_last_flag_lets_it_go(meet: MeetAtHand) -> None:
    assert meet.referee.put("heat-now", {"heat": meet.heat(3)}).status_code == 201
    meet.start(1)
    assert told(meet) == (meet.heat(1), meet.heat(2))
    assert meet.referee.get("heat-now").json()["now"]["state"] == "running"
    for name in ("umpire", "second"):
        assert meet.call(by=name, heat=1).status_code == 201
    assert told(meet) == (meet.heat(2), meet.heat(3))
    meet.hold_back(1)
    assert told(meet) == (meet.heat(1), meet.heat(2))


def test_the_same_word_again_is_harmless(meet: MeetAtHand) -> None:
    sent = {"heat": meet.heat(2)}
    assert meet.referee.put("heat-now", sent).status_code == 201
    before = meet.head()
    assert meet.referee.put("heat-now", sent).status_code == 200
    meet.start(2)
    for name in ("umpire", "second"):
        assert meet.call(by=name, heat=2).status_code == 201
    before = meet.head()
    # A phone that sends again what it has no receipt for, after all has gone on.
    late = meet.referee.put("heat-now", sent)
    assert (late.status_code, _ids(late.json())) == (200, (meet.heat(3), meet.heat(0)))
    assert meet.head() == before


def test_a_heat_that_is_over_or_not_held_is_not_the_heat_now(meet: MeetAtHand) -> None:
    meet.start(0)
    for name in ("umpire", "second"):
        assert meet.call(by=name).status_code == 201
    meet.start(1)
    off = {"reasons": "Scratched."}
    answer = meet.organiser.post(f"heats/{meet.heat(2)}/not-held", off, etag='"v1"')
    assert answer.status_code == 200, answer.text
    before = meet.head()
    for number in (0, 2):
        sent = {"heat": meet.heat(number)}
        a_problem(meet.referee.put("heat-now", sent), 409, "conflict")
    a_problem(meet.referee.put("heat-now", {"heat": new_id()}), 404, "not-found")
    assert meet.head() == before
    assert told(meet) == (meet.heat(1), meet.heat(3))


def test_phones_hear_of_it_without_asking(meet: MeetAtHand) -> None:
    assert KINDS[Kind.HEAT_NOW].followers == frozenset(Role)
    before = meet.head()["size"]
    meet.referee.put("heat-now", {"heat": meet.heat(1)})
    address, session = f"/api/meets/{meet.id}/feed", f"Bearer {meet.umpire.token}"
    headers = {"Authorization": session, "Last-Event-ID": str(before)}
    with meet.service.http.stream("GET", address, headers=headers, timeout=10) as stream:
        data = next(line for line in stream.iter_lines() if line.startswith("data"))
    assert "heat now" in data
    assert meet.heat(1) in data
