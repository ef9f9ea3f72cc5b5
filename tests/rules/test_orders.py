"""Orders: what fits is applied and can be taken back, what does not fit is refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.orders import (
    Advance,
    AnnulHeat,
    CallOff,
    Correct,
    Disqualify,
    Order,
    Recall,
    RestoreHeat,
    RunAgain,
    SetAside,
    TakeLane,
    apply,
    named_in,
    reverse,
)
from app.rules.qualifying import Disqualified, HeatRun, Letter, ReRun, Round, Seat, stand
from tests.rules.round_strategies import a_heat, fitting_orders, ran, rounds

TERN = Disqualified("Tern", "ruling 1")
HEAT = a_heat("1", {"Tern": 41000, "Gull": 42000})
BY_REFEREE = Letter.BY_REFEREE
AGAIN = ReRun("again", ("Tern",), BY_REFEREE)
OUT = HeatRun("2", is_in=False)


def _round(*heats: HeatRun) -> Round:
    return Round(heats or (HEAT,))


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_orders_and_their_reversal_give_the_same_round_again(data: st.DataObject) -> None:
    round_ = data.draw(rounds())
    orders = data.draw(fitting_orders(round_))
    back = apply(apply(round_, orders), reverse(orders))
    assert back == round_
    assert stand(back) == stand(round_)
    assert list(stand(back).teams) == list(stand(round_).teams)


@given(data=st.data())
@settings(deadline=None)
def test_what_takes_an_order_back_names_the_same_teams(data: st.DataObject) -> None:
    orders = data.draw(fitting_orders(data.draw(rounds())))
    assert named_in(reverse(orders)) == named_in(orders)


def test_a_team_disqualified_twice_stays_out_when_one_of_the_two_is_set_aside() -> None:
    twice = [Disqualify("1", TERN), Disqualify("1", Disqualified("Tern", "ruling 2"))]
    after = apply(_round(), [*twice, SetAside("1", TERN)])
    assert stand(after).teams["Tern"].is_disqualified
    last = apply(after, [SetAside("1", Disqualified("Tern", "ruling 2"))])
    assert stand(last).teams["Tern"].place == 1


def test_a_lane_that_is_taken_and_given_back_leaves_the_order_of_teams() -> None:
    final = {Seat("final", lane): team for lane, team in enumerate(("Avocet", "Bunting", "Crane"))}
    round_ = Round((OUT,), seats=final)
    taken = (TakeLane(Seat("final", 1), "Bunting"),)
    back = apply(apply(round_, taken), reverse(taken))
    assert list(stand(back).teams) == ["Avocet", "Bunting", "Crane"]


def test_a_corrected_time_moves_the_places() -> None:
    wrong, right = ran("Tern", 1, 41000), ran("Tern", 1, 43000)
    teams = stand(apply(_round(), [Correct("1", wrong, right)])).teams
    assert (teams["Gull"].place, teams["Tern"].place) == (1, 2)


def test_two_lanes_that_were_mixed_up_are_corrected_together() -> None:
    mixed_up = [
        Correct("1", ran("Tern", 1, 41000), ran("Gull", 1, 41000)),
        Correct("1", ran("Gull", 2, 42000), ran("Tern", 2, 42000)),
    ]
    assert stand(apply(_round(), mixed_up)).teams["Gull"].place == 1
    with pytest.raises(ValueError, match="stands twice in the round after the correction"):
        apply(_round(), mixed_up[:1])


def test_who_is_disqualified_in_a_heat_that_is_void_stays_so() -> None:
    round_ = apply(_round(), [Disqualify("1", TERN), AnnulHeat(HEAT)])
    assert stand(round_).teams["Tern"].is_disqualified
    assert not stand(round_).is_complete
    restored = apply(round_, [SetAside("1", TERN), RestoreHeat(HEAT)])
    assert restored == _round()


def test_a_team_can_be_disqualified_in_its_re_run() -> None:
    has_run = ReRun("again", ("Tern",), BY_REFEREE, (ran("Tern", 1, 40000),))
    round_ = apply(_round(), [RunAgain(has_run), Disqualify("again", TERN)])
    assert round_.re_runs[0].disqualified == {TERN}
    # World Athletics TR7.1, from memory: what was performed in the same round does not count.
    tern = stand(round_).teams["Tern"]
    assert (tern.is_disqualified, tern.place, tern.letter) == (True, None, None)


def test_what_was_in_force_can_be_put_back_though_no_list_names_the_team() -> None:
    round_ = Round(
        (HeatRun("1", HEAT.ran, frozenset({Disqualified("Crane", "ruling 3")})),),
        advanced={"Crane": BY_REFEREE},
        re_runs=(ReRun("again", ("Crane",), BY_REFEREE),),
    )
    orders: list[Order] = [
        SetAside("1", Disqualified("Crane", "ruling 3")),
        Recall("Crane", BY_REFEREE),
        CallOff(round_.re_runs[0]),
    ]
    assert apply(apply(round_, orders), reverse(orders)) == round_


def test_before_the_list_has_come_a_team_may_have_run() -> None:
    round_ = apply(
        _round(HEAT, OUT),
        [
            Disqualify("2", Disqualified("Crane", "ruling 3")),
            Advance("Egret", BY_REFEREE),
            RunAgain(ReRun("again", ("Jay",), BY_REFEREE)),
        ],
    )
    assert set(stand(round_).teams) == {"Tern", "Gull", "Crane", "Egret", "Jay"}


@pytest.mark.parametrize(
    ("first", "order", "sentence"),
    [
        ([Disqualify("1", TERN)], Disqualify("1", TERN), "in force already"),
        ([], Disqualify("1", Disqualified("Crane", "x")), "did not run in this heat"),
        ([], Disqualify("7", TERN), "not one of this round"),
        ([], Correct("1", HEAT.ran[0], ran("Tern", 2, 1)), "lane stands twice"),
        ([], SetAside("1", TERN), "not in force"),
        ([], Correct("1", ran("Tern", 1, 1), ran("Tern", 1, 2)), "does not say what is to be"),
        ([], Correct("1", HEAT.ran[0], HEAT.ran[0]), "says so already"),
        ([Advance("Tern", BY_REFEREE)], Advance("Tern", Letter.BY_JURY), "was advanced before"),
        ([], Advance("Crane", BY_REFEREE), "did not run in this round"),
        ([], Recall("Tern", BY_REFEREE), "not advanced so"),
        ([Advance("Tern", BY_REFEREE)], Recall("Tern", Letter.BY_JURY), "not advanced so"),
        ([RunAgain(AGAIN)], RunAgain(AGAIN), "ordered before"),
        ([], RunAgain(ReRun("x", ("Crane",), BY_REFEREE)), "cannot run again"),
        ([], CallOff(AGAIN), "does not stand as"),
        ([], AnnulHeat(a_heat("1", {"Tern": 1})), "has changed"),
        ([AnnulHeat(HEAT)], AnnulHeat(HEAT), "no finish list that could be void"),
        ([], RestoreHeat(HEAT), "has a finish list"),
        ([RunAgain(AGAIN)], AnnulHeat(HeatRun("again")), "not declared void"),
    ],
)
def test_an_order_that_does_not_fit_is_refused(
    first: list[Order], order: Order, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        apply(_round(), [*first, order])


def test_a_team_on_the_list_of_one_heat_cannot_be_disqualified_in_one_that_is_still_out() -> None:
    with pytest.raises(ValueError, match="did not run in this heat"):
        apply(_round(HEAT, OUT), [Disqualify("2", TERN)])


def test_a_team_out_in_one_heat_cannot_be_disqualified_in_another_before_the_lists_come() -> None:
    """Else it would stand in two heats of the round, which then could not be worked out."""
    round_ = apply(_round(OUT, HeatRun("3", is_in=False)), [Disqualify("2", TERN)])
    with pytest.raises(ValueError, match="did not run in this heat"):
        apply(round_, [Disqualify("3", Disqualified("Tern", "ruling 3"))])
    assert stand(
        apply(round_, [Disqualify("2", Disqualified("Tern", "ruling 3"))])
    ).teams.keys() == {"Tern"}


def test_only_the_referee_and_the_jury_advance_a_team() -> None:
    with pytest.raises(ValueError, match=r"referee \(qR\) or by the jury \(qJ\)"):
        Advance("Tern", Letter.BY_PLACE)
