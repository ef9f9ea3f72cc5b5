"""Templates share lanes out, spells cut the day, and what contradicts itself is refused."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.planning.facts import (
    Person,
    PostShape,
    Settings,
    Span,
    Task,
    Template,
)
from app.planning.spells import cut_into_spells, own_heats, zones_of
from app.planning.templates import default_template, shared_out
from app.planning.timing import Timing
from app.rules.relay import Edge, Relay, Side
from tests.planning.builders import a_heat, a_person, a_span, a_task, at, heats, people

EIGHT = range(1, 9)


def test_the_crew_of_six_stands_as_the_handbook_has_it() -> None:
    posts = default_template(8).posts[6]
    shares = shared_out(posts, EIGHT)
    assert shares is not None
    told = [(p.edge, p.side, lanes) for p, lanes in zip(posts, shares, strict=True)]
    assert told == [
        (Edge.START, Side.INSIDE, (1, 2, 3, 4)),
        (Edge.START, Side.OUTSIDE, (5, 6, 7, 8)),
        (Edge.END, Side.INSIDE, (1, 2)),
        (Edge.END, Side.INSIDE, (3, 4)),
        (Edge.END, Side.OUTSIDE, (5, 6)),
        (Edge.END, Side.OUTSIDE, (7, 8)),
    ]


@given(st.integers(1, 10), st.data())
def test_every_default_crew_watches_every_edge_once_and_nobody_has_too_many(
    lanes: int, data: st.DataObject
) -> None:
    used = sorted(data.draw(st.sets(st.integers(1, 10), min_size=1, max_size=lanes)))
    for posts in default_template(lanes).posts.values():
        shares = shared_out(posts, used)
        assert shares is not None
        for edge in Edge:
            theirs = [(p, s) for p, s in zip(posts, shares, strict=True) if p.edge is edge]
            assert [lane for _, share in theirs for lane in share] == used
            assert all(len(share) <= post.most_lanes for post, share in theirs)


def test_inside_posts_have_the_inner_lanes_however_a_template_lists_them() -> None:
    outside, inside = (PostShape(Edge.END, side, 4) for side in (Side.OUTSIDE, Side.INSIDE))
    start = PostShape(Edge.START, Side.INSIDE, 8)
    assert shared_out((outside, inside, start), (2, 3, 5, 7)) == ((5, 7), (2, 3), (2, 3, 5, 7))


def test_a_template_that_cannot_take_the_lanes_is_not_usable() -> None:
    assert shared_out(default_template(4).posts[2], EIGHT) is None


def test_heats_of_one_relay_are_one_spell_until_it_is_long_enough() -> None:
    spells = cut_into_spells(heats(12), Settings(longest_spell_min=30))
    assert [len(spell.heats) for spell in spells] == [5, 5, 2]
    assert spells[0].begins_s == spells[0].heats[0].starts_s - 120
    assert spells[0].ends_s == spells[0].heats[-1].starts_s + 300


def test_whoever_sees_a_4x800_stays_until_its_last_take_over_is_over() -> None:
    # common practice: a slow field takes twelve minutes, of which three legs are before it
    race = a_heat(1, "10:00", Relay.FOUR_BY_800)
    (spell,) = cut_into_spells([race], Settings())
    assert spell.ends_s == at("10:12")
    with pytest.raises(ValueError, match="a heat takes 12 min"):
        cut_into_spells([race, a_heat(2, "10:11", Relay.FOUR_BY_100)], Settings())


@pytest.mark.parametrize(
    "then",
    [
        a_heat(2, "10:05", Relay.FOUR_BY_100),
        a_heat(2, "10:40"),
        a_heat(2, "10:05", lanes=(4, 5, 6)),
    ],
    ids=["another relay", "after a pause", "other lanes"],
)
def test_another_relay_a_pause_or_other_lanes_begin_a_spell(then: object) -> None:
    assert len(cut_into_spells([a_heat(1, "10:00"), then], Settings())) == 2


def test_a_cut_leaves_both_parts_the_lanes_of_the_whole() -> None:
    programme = [a_heat(1, "10:00", lanes=(1, 2, 3)), a_heat(2, "10:05", lanes=(2, 3))]
    first, second = cut_into_spells(programme, Settings(), [programme[1].starts_s])
    assert first.lanes == second.lanes == (1, 2, 3)


def test_two_heats_at_once_are_refused_with_their_names() -> None:
    programme = [a_heat(1, "10:00"), a_heat(2, "10:02")]
    with pytest.raises(ValueError, match=r"heat 2 starts while .* heat 1 is still run"):
        cut_into_spells(programme, Settings())


def test_take_overs_at_one_place_are_one_zone() -> None:
    def take_overs(relay: Relay) -> list[tuple[int, ...]]:
        (spell,) = cut_into_spells([a_heat(1, "10:00", relay)], Settings())
        return [zone.take_overs for zone in zones_of(spell)]

    assert take_overs(Relay.FOUR_BY_400) == [(1, 2, 3)]
    assert take_overs(Relay.FOUR_BY_200) == [(1, 3), (2,)]
    assert take_overs(Relay.FOUR_BY_100) == [(1,), (2,), (3,)]


def test_the_own_club_counts_the_heats_of_watched_lanes_without_regard_to_case() -> None:
    programme = [
        a_heat(1, "10:00", lanes={1: "Harbour", 2: "Millbrook"}),
        a_heat(2, "10:05", lanes={1: "Millbrook", 2: "HARBOUR "}),
    ]
    (spell,) = cut_into_spells(programme, Settings())
    assert own_heats(spell, (1,), "harbour") == 1
    assert own_heats(spell, (1, 2), "Harbour") == 2
    assert own_heats(spell, (1, 2), "") == 0


def test_a_short_spell_off_is_no_break_but_two_of_them_are() -> None:
    programme = [a_heat(number, f"10:{number:02}") for number in range(0, 50, 10)]
    kept = Settings(longest_spell_min=9, longest_stint_min=20, shortest_break_min=16)
    timing = Timing(cut_into_spells(programme, kept), kept)
    assert [(one.first, one.last) for one in timing.stretches(0, 4)] == [(1, 2), (2, 3)]
    assert not timing.is_break(0, 2)
    assert timing.is_break(0, 3)


def test_nobody_walks_half_a_lap_between_two_heats_that_follow_at_once() -> None:
    spells = cut_into_spells(
        [*heats(1), *heats(1, Relay.FOUR_BY_100, begin="10:09", first=2)], Settings()
    )
    timing = Timing(spells, Settings())
    assert timing.can_walk(0, 0, 1, 100)
    assert not timing.can_walk(0, 0, 1, 200)
    assert timing.can_walk(0, 300, 1, 300)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Span(10, 10),
        lambda: Person("U", "U", experience=4),
        lambda: Template({}),
        lambda: Template({3: (PostShape(Edge.START, Side.INSIDE, 8),)}),
        lambda: Settings(walk_m_s=0),
        lambda: Settings(heat_takes_min=0),
        lambda: Settings(longest_spell_min=60, longest_stint_min=30),
        lambda: a_task([a_person("U"), a_person("U")], ()),
        lambda: a_task((), [a_heat(1, "10:00"), a_heat(1, "11:00")]),
        lambda: Task(people(501), (), default_template(8)),
    ],
)
def test_what_contradicts_itself_is_refused(make: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        make()


def test_hours_hold_only_what_lies_wholly_within_one_of_them() -> None:
    person = a_person("U", hours=(a_span("9:00", "10:00"), a_span("10:00", "11:00")))
    assert person.is_there(9 * 3600, 10 * 3600)
    assert not person.is_there(9 * 3600 + 1, 10 * 3600 + 1)
