"""Whoever stays at a zone keeps their seat (common practice: they know their lanes by then)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.planning.building import build
from app.planning.effort import Effort
from app.planning.facts import Assignment, Person, Pin, Task
from app.planning.making import assignments, placed_of
from app.planning.search import Search
from app.planning.settling import settled
from app.planning.tally import tally
from app.rules.relay import Edge, Relay
from tests.planning.builders import a_person, a_small_template, a_task, heats, people
from tests.planning.test_plans import a_meet
from tests.planning.verifier import Verifier

QUICK = Effort(limit_s=1.0)


def seat_changes(plan: Sequence[Assignment]) -> int:
    """How often somebody has another seat of the same zone in the next row of heats."""
    changes = 0
    for one in {post.person for post in plan}:
        theirs = [post for post in plan if post.person == one]
        for was, now in pairwise(theirs):
            same_zone = (was.relay, was.take_overs) == (now.relay, now.take_overs)
            changes += same_zone and (was.edge, was.lanes) != (now.edge, now.lanes)
    return changes


def swapping(pins: tuple[Pin, ...] = ()) -> tuple[Task, list[Assignment]]:
    """Two people at the one place of a 4x400 who change seats between two rows of heats."""
    crew = (*people(2), a_person("Late", hours=()))
    task = a_task(crew, heats(12, lanes=(1, 2)), a_small_template(2), pins=pins)
    posts = {"Umpire 1": Edge.START, "Umpire 2": Edge.END}
    swapped = {"Umpire 1": Edge.END, "Umpire 2": Edge.START}
    model = build(task)
    rows = [tuple(heat.id for heat in spell.heats) for spell in model.spells]
    seats = {seat.edge: seat for seat in model.staffings[0].seatings[-1].seats}
    plan = [
        Assignment(
            who, row, Relay.FOUR_BY_400, (1, 2, 3), edge, seats[edge].lanes, seats[edge].side
        )
        for number, row in enumerate(rows)
        for who, edge in _turn(number, posts, swapped).items()
    ]
    return task, plan


def _turn(
    number: int, posts: Mapping[str, Edge], swapped: Mapping[str, Edge]
) -> Mapping[str, Edge]:
    return swapped if number % 2 else posts


def settle(task: Task, plan: Sequence[Assignment]) -> list[Assignment]:
    model = build(task)
    return list(assignments(model, settled(model, placed_of(model, plan))))


def test_two_who_would_change_seats_at_every_turn_keep_theirs() -> None:
    task, plan = swapping()
    assert seat_changes(plan) > 0
    assert seat_changes(settle(task, plan)) == 0


def test_whoever_is_pinned_to_a_seat_stays_there() -> None:
    _, plan = swapping()
    heat = plan[2].heats[0]
    task, plan = swapping((Pin("Umpire 1", heat, 1, Edge.END),))
    theirs = [post for post in settle(task, plan) if post.person == "Umpire 1"]
    assert [post.edge for post in theirs if heat in post.heats] == [Edge.END]


def test_an_own_club_is_not_given_a_lane_for_the_sake_of_a_seat() -> None:
    crew = (Person("A", "A", affiliation="Harbour"), Person("B", "B"))
    lanes = {1: "Harbour", 2: "Tollgate"}
    task = a_task(crew, heats(12, Relay.FOUR_BY_100, lanes=lanes), a_small_template(2))
    model = build(task)
    found = Search(model, QUICK).run().placed
    assert tally(model, settled(model, found)) == tally(model, found)


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 10_000), crew=st.integers(12, 24))
def test_no_count_changes_and_no_firm_rule_is_broken(seed: int, crew: int) -> None:
    task = a_meet(seed, crew, 12)
    model = build(task)
    found = Search(model, QUICK).run().placed
    after = settled(model, found)
    assert tally(model, after) == tally(model, found)
    plan = list(assignments(model, after))
    assert not Verifier(task).broken(plan)
