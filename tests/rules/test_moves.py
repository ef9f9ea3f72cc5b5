"""Moves: which there are, in which order they are told, and in which words.

Letters (Q, q, qD, qR, qJ): World Athletics CR25.4 as federation notices of 2023 give it. That
those behind a disqualified team move up a place, that the next best goes on by time instead, and
that points follow places, is common practice; order and words are the project's own.
"""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.moves import Move, difference, sentence, summary
from app.rules.orders import AnnulHeat, Disqualify, GiveLane, apply, reverse
from app.rules.qualifying import (
    Advancement,
    Disqualified,
    Letter,
    Round,
    RoundStanding,
    Seat,
    Standing,
    stand,
)
from tests.rules.round_strategies import BIRDS, a_heat, fitting_orders, rounds

IN_FIFTH = Seat("final", 5)
PLAIN = Standing("1", "heat 1", 4, False, None, Fraction(0), None)
NAMES = {"1": "Tern", "2": "Gull", "3": "Heron"}


def _said(before: dict[str, object], after: dict[str, object], next_round: str = "final") -> str:
    move = Move("1", replace(PLAIN, **before), replace(PLAIN, **after))  # type: ignore[arg-type]
    return sentence(move, "Tern", next_round, lambda seat: f"lane {seat.lane}")


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ({"letter": Letter.BY_PLACE}, {}, "Tern is out of the final."),
        ({}, {"letter": Letter.BY_TIME}, "Tern is in the final by time (q)."),
        ({}, {"letter": Letter.BY_DRAW}, "Tern is in the final by lot (qD)."),
        ({}, {"letter": Letter.BY_JURY}, "Tern is in the final by the jury's decision (qJ)."),
        (
            {},
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH},
            "Tern is in the final by the referee's decision (qR) and gets lane 5.",
        ),
        ({}, {"seat": IN_FIFTH}, "Tern keeps lane 5 until it is settled who goes on."),
        ({}, {"draws_lots": True}, "Tern ties for a place in the final, so that lots decide."),
        ({"draws_lots": True}, {}, "Tern no longer ties for a place in the final."),
        (
            {},
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH, "is_seat_free": True},
            "Tern is in the final by the referee's decision (qR); lane 5 is free for it.",
        ),
        (
            {},
            {"seat": IN_FIFTH, "is_seat_free": True, "points": Fraction(2)},
            "Tern is not drawn; lane 5 is free for it; 2 points instead of none.",
        ),
        (
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH, "is_seat_free": True},
            {"letter": Letter.BY_REFEREE, "seat": Seat("final", 6)},
            "Tern gets lane 6.",
        ),
        (
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH, "is_seat_free": True},
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH},
            "Tern gets lane 5.",
        ),
        (
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH},
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH, "is_seat_free": True},
            "Tern no longer has lane 5; lane 5 is free for it.",
        ),
        (
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH, "is_seat_free": True},
            {"letter": Letter.BY_REFEREE},
            "Tern no longer has lane 5 free for it.",
        ),
        (
            {"letter": Letter.BY_REFEREE, "seat": IN_FIFTH, "is_seat_free": True},
            {},
            "Tern is out of the final.",
        ),
        (
            {"letter": Letter.BY_PLACE},
            {"letter": Letter.BY_TIME},
            "Tern is in the final by time (q) instead of by place (Q).",
        ),
        (
            {"letter": Letter.BY_TIME},
            {"is_open": True},
            "Tern is no longer sure to be in the final.",
        ),
        ({"seat": IN_FIFTH}, {}, "Tern is out of the final."),
        (
            {"letter": Letter.BY_PLACE, "seat": IN_FIFTH},
            {"letter": Letter.BY_PLACE, "seat": Seat("final", 6)},
            "Tern changes from lane 5 to lane 6.",
        ),
        (
            {"letter": Letter.BY_PLACE, "seat": IN_FIFTH},
            {"letter": Letter.BY_PLACE},
            "Tern gives up lane 5.",
        ),
        ({}, {"place": 3}, "Tern moves from place 4 to place 3."),
        (
            {"points": Fraction(5)},
            {"place": 3, "points": Fraction(6)},
            "Tern moves from place 4 to place 3; 6 points instead of 5.",
        ),
        ({"place": None}, {"place": 1}, "Tern takes place 1."),
        ({}, {"place": None}, "Tern loses place 4."),
        ({"overall": 5}, {"overall": 3}, "Tern has place 3 overall instead of 5."),
        (
            {"overall": 5, "points": Fraction(4)},
            {"place": 3, "overall": 3, "points": Fraction(6)},
            "Tern moves from place 4 to place 3 and has place 3 overall instead of 5; 6 points "
            "instead of 4.",
        ),
        ({}, {"overall": 2}, "Tern takes place 2 overall."),
        ({"overall": 2}, {}, "Tern loses place 2 overall."),
        (
            {"overall": 2},
            {"is_disqualified": True, "place": None},
            "Tern is disqualified.",
        ),
        ({"points": Fraction(1)}, {"points": Fraction(13, 2)}, "Tern has 6.5 points instead of 1."),
        ({}, {"points": Fraction(1)}, "Tern has 1 point instead of none."),
        ({}, {"points": Fraction(16, 3)}, "Tern has 5.333 points instead of none."),
        ({"points": Fraction(10)}, {}, "Tern has no points instead of 10."),
        (
            {"letter": Letter.BY_PLACE, "seat": IN_FIFTH},
            {"is_disqualified": True, "place": None},
            "Tern is disqualified and is out of the final.",
        ),
        (
            {"is_disqualified": True, "place": None},
            {"letter": Letter.BY_PLACE, "place": 2, "seat": IN_FIFTH, "points": Fraction(7)},
            "Tern is no longer disqualified, is in the final by place (Q), takes place 2 and gets "
            "lane 5; 7 points instead of none.",
        ),
        ({}, {}, "Tern stands as before."),
    ],
)
def test_a_sentence_says_what_moves_and_nothing_else(
    before: dict[str, object], after: dict[str, object], said: str
) -> None:
    assert _said(before, after) == said


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ({"letter": Letter.BY_PLACE}, {}, "Tern does not go on."),
        ({}, {"letter": Letter.BY_TIME}, "Tern is through by time (q)."),
        (
            {"letter": Letter.BY_TIME},
            {"is_open": True},
            "Tern is no longer sure to be through.",
        ),
    ],
)
def test_a_sentence_stays_plain_where_the_next_round_has_no_name(
    before: dict[str, object], after: dict[str, object], said: str
) -> None:
    assert _said(before, after, "") == said


def test_a_next_round_may_come_with_its_article() -> None:
    assert _said({"letter": Letter.BY_PLACE}, {}, "the final") == "Tern is out of the final."


def _move(team: str, before: dict[str, object], after: dict[str, object]) -> Move:
    own = replace(PLAIN, team=team)
    return Move(team, replace(own, **before), replace(own, **after))  # type: ignore[arg-type]


def test_a_summary_says_who_is_out_and_who_is_in() -> None:
    moves = [
        _move("1", {"letter": Letter.BY_PLACE}, {"is_disqualified": True}),
        _move("2", {}, {"letter": Letter.BY_TIME}),
        _move("3", {}, {"place": 3}),
    ]
    assert summary(moves, NAMES, "final") == "Tern out of the final, Gull in on time"
    assert summary(moves[1:], NAMES, "final") == "Gull in the final on time"
    assert summary(moves, NAMES, "") == "Tern out, Gull in on time"


def test_a_summary_says_that_nothing_moves() -> None:
    assert summary([], NAMES, "final") == "nothing moves"


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ({"letter": Letter.BY_TIME}, {"is_open": True}, "Tern unsure of the final"),
        ({}, {"is_disqualified": True}, "Tern disqualified"),
        ({"is_disqualified": True}, {}, "Tern reinstated"),
        ({}, {"place": 3}, "Tern from place 4 to place 3"),
        ({}, {"place": None}, "Tern from place 4 to no place"),
        ({"overall": 5}, {"place": 3, "overall": 3}, "Tern from place 5 to place 3 overall"),
        ({"overall": 5}, {"overall": None}, "Tern from place 5 to no place overall"),
        ({}, {"points": Fraction(6)}, "Tern on 6 points instead of none"),
        ({"points": Fraction(6)}, {}, "Tern on no points instead of 6"),
        (
            {"letter": Letter.BY_PLACE},
            {"letter": Letter.BY_TIME},
            "Tern in on time",
        ),
        ({}, {"seat": IN_FIFTH}, "Tern in a lane"),
        ({"seat": IN_FIFTH}, {"seat": Seat("final", 6)}, "Tern in another lane"),
        ({"seat": IN_FIFTH}, {}, "Tern without a lane"),
        ({}, {"seat": IN_FIFTH, "is_seat_free": True}, "Tern with a lane free for it"),
        (
            {"seat": IN_FIFTH, "is_seat_free": True},
            {"seat": Seat("final", 6)},
            "Tern in a lane",
        ),
        ({"seat": IN_FIFTH, "is_seat_free": True}, {"seat": IN_FIFTH}, "Tern in a lane"),
        (
            {"seat": IN_FIFTH},
            {"seat": IN_FIFTH, "is_seat_free": True},
            "Tern with a lane free for it",
        ),
        ({}, {}, "Tern as before"),
    ],
)
def test_a_summary_tells_the_weightiest_of_a_move(
    before: dict[str, object], after: dict[str, object], told: str
) -> None:
    assert summary([_move("1", before, after)], NAMES, "final") == told


def test_a_summary_of_many_moves_stays_one_short_line() -> None:
    moves = [_move("1", {}, {"place": place}) for place in (1, 2, 3, 5, 6, 7)]
    assert summary(moves, NAMES, "final").endswith(", Tern from place 4 to place 5, and 2 more")


def test_who_loses_or_gains_the_next_round_comes_first_then_places_then_points() -> None:
    heat = a_heat("1", {"Avocet": 40000, "Bunting": 41000, "Crane": 42000, "Dipper": 43000})
    other = a_heat("2", {"Egret": 45000})
    points = tuple(Fraction(points) for points in (5, 4, 3, 2, 1))
    before = Round((heat, other), Advancement(1, 1, 8), points=points)
    after = apply(before, [Disqualify("1", Disqualified("Avocet", "ruling 1"))])
    moves = difference(stand(before), stand(after))
    assert [move.team for move in moves] == ["Avocet", "Crane", "Bunting", "Dipper", "Egret"]
    kinds = [
        (move.loses_next_round, move.gains_next_round, move.changes_place, move.changes_points)
        for move in moves
    ]
    assert kinds == [
        (True, False, True, True),
        (False, True, True, True),
        (False, False, True, True),
        (False, False, True, True),
        (False, False, False, True),
    ]
    assert moves[0].changes_disqualification
    assert moves[2].changes_qualification
    assert not moves[4].changes_seat


def test_places_are_told_as_a_result_is_read_whatever_the_order_of_the_list() -> None:
    times = {"Heron": 45000, "Avocet": 43000, "Gull": 42000, "Tern": 40000, "Crane": 44000}
    before = Round((a_heat("1", times),))
    after = apply(before, [Disqualify("1", Disqualified("Tern", "ruling 1"))])
    there = difference(stand(before), stand(after))
    assert [move.team for move in there] == ["Tern", "Gull", "Avocet", "Crane", "Heron"]
    back = difference(stand(after), stand(before))
    assert [move.team for move in back] == ["Tern", "Gull", "Avocet", "Crane", "Heron"]


def test_who_loses_its_place_is_told_by_the_place_it_had() -> None:
    heat = a_heat("1", {"Heron": 43000, "Avocet": 42000, "Gull": 40000, "Tern": 41000})
    before = Round((heat,))
    moves = difference(stand(before), stand(apply(before, [AnnulHeat(heat)])))
    assert [move.team for move in moves] == ["Gull", "Tern", "Avocet", "Heron"]


def test_the_disqualified_stand_before_those_whom_they_take_along() -> None:
    before = {"letter": Letter.BY_PLACE, "place": 2}
    moves = [
        _move("1", {"letter": Letter.BY_TIME, "place": 3}, {"place": 3}),
        _move("2", before, {"place": None, "is_disqualified": True}),
    ]
    told = difference(
        _a_round([move.before for move in moves]), _a_round([move.after for move in moves])
    )
    assert [move.team for move in told] == ["2", "1"]


def _a_round(teams: list[Standing]) -> RoundStanding:
    return RoundStanding({one.team: one for one in teams}, True, None, ())


def test_a_team_that_is_given_the_lane_that_was_free_for_it_is_moved() -> None:
    free = Seat("final", 5)
    heat = a_heat("1", {"Avocet": 40000, "Bunting": 41000})
    seats = {Seat("final", 4): "Avocet"}
    before = Round((heat,), Advancement(2, 0, 2), seats=seats, free_seats=(free,))
    given = [GiveLane(free, "Bunting")]
    (move,) = difference(stand(before), stand(apply(before, given)))
    assert sentence(move, move.team, "final", lambda seat: f"lane {seat.lane}") == (
        "Bunting gets lane 5."
    )
    after = apply(before, given)
    (back,) = difference(stand(after), stand(apply(after, reverse(given))))
    assert (back.before, back.after) == (move.after, move.before)


@given(st.data())
@settings(max_examples=100, deadline=None)
def test_within_a_kind_of_move_places_only_rise(data: st.DataObject) -> None:
    round_ = data.draw(rounds())
    before, after = stand(round_), stand(apply(round_, data.draw(fitting_orders(round_))))
    own = [move for move in difference(before, after) if not move.gains_next_round]
    placed = [move for move in own if move.changes_place and not move.loses_next_round]
    told = [move.after.place or 99 for move in placed if not move.changes_disqualification]
    assert told == sorted(told)


def test_the_teams_of_a_heat_that_is_void_are_no_longer_sure_of_anything() -> None:
    heat = a_heat("1", {"Avocet": 40000, "Bunting": 41000, "Crane": None})
    before = Round((heat,), Advancement(1, 0, 8))
    moves = difference(stand(before), stand(apply(before, [AnnulHeat(heat)])))
    said = [sentence(move, move.team, "final", str) for move in moves]
    assert said == [
        "Avocet is no longer sure to be in the final and loses place 1.",
        "Bunting loses place 2.",
    ]
    back = difference(stand(apply(before, [AnnulHeat(heat)])), stand(before))
    assert {move.team for move in back} == {"Avocet", "Bunting"}


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_whatever_moves_can_be_said_and_without_an_order_nothing_moves(
    data: st.DataObject,
) -> None:
    round_ = data.draw(rounds())
    before, after = stand(round_), stand(apply(round_, data.draw(fitting_orders(round_))))
    assert difference(before, before) == ()
    moves = difference(before, after)
    assert len({move.team for move in moves}) == len(moves)
    for move in moves:
        said = sentence(move, move.team, "final", lambda seat: f"lane {seat.lane}")
        assert said.startswith(move.team)
        assert said.endswith(".")
        assert not any(slip in said for slip in ("None", "  ", " ;", ",.", "as before"))
    assert "\n" not in summary(moves, dict(zip(BIRDS, BIRDS, strict=True)), "final")


@given(st.data())
@settings(max_examples=100, deadline=None)
def test_the_way_back_moves_the_same_teams(data: st.DataObject) -> None:
    round_ = data.draw(rounds())
    before, after = stand(round_), stand(apply(round_, data.draw(fitting_orders(round_))))
    there = {(move.team, move.before, move.after) for move in difference(before, after)}
    back = {(move.team, move.after, move.before) for move in difference(after, before)}
    assert there == back
