"""Who goes on: the letters, the cut, lots, lanes, by worked rounds."""

from dataclasses import replace

import pytest

from app.rules.orders import Disqualify, apply
from app.rules.placing import Finish, hundredths
from app.rules.qualifying import (
    Advancement,
    Disqualified,
    HeatRun,
    Letter,
    OpenDraw,
    Placed,
    Ran,
    ReRun,
    Round,
    RoundStanding,
    Seat,
    stand,
)
from tests.rules.round_strategies import FINISHED, a_heat, drawn_seats, ran

Q, BY_TIME, BY_LOT = Letter.BY_PLACE, Letter.BY_TIME, Letter.BY_DRAW
FIRST = a_heat("1", {"Avocet": 40000, "Bunting": 41000, "Crane": 41500, "Dipper": 42000})
SECOND = a_heat("2", {"Egret": 40500, "Fulmar": 41200, "Godwit": 41500, "Heron": 43000})


def _letters(standing: RoundStanding) -> dict[str, str]:
    return {team: str(one.letter) for team, one in standing.teams.items() if one.letter is not None}


def _round(by_place: int, by_time: int, lanes: int, *heats: HeatRun) -> Round:
    return Round(heats or (FIRST, SECOND), Advancement(by_place, by_time, lanes))


def test_the_best_of_each_heat_go_on_by_place_and_the_fastest_others_by_time() -> None:
    # IAAF Rule 166.2, older tables (public copy): some by place in each heat, the rest by time
    standing = stand(_round(1, 2, 4))
    assert _letters(standing) == {"Avocet": "Q", "Egret": "Q", "Bunting": "q", "Fulmar": "q"}
    assert standing.qualified == ("Avocet", "Egret", "Bunting", "Fulmar")
    assert standing.is_complete


def test_by_place_a_team_is_through_as_soon_as_its_heat_is_in_by_time_only_when_all_are() -> None:
    standing = stand(_round(1, 2, 4, FIRST, HeatRun("2", is_in=False)))
    assert _letters(standing) == {"Avocet": "Q"}
    assert not standing.is_complete
    assert standing.teams["Dipper"].is_open


def test_two_who_tie_by_time_across_the_cut_both_go_on_where_there_is_room() -> None:
    # World Athletics TR21.3-21.4 and IAAF Rule 167.2, as federations retell them
    standing = stand(_round(1, 3, 6))
    assert standing.qualified[-2:] == ("Crane", "Godwit")
    assert len(standing.qualified) == 6


def test_two_who_tie_by_time_across_the_cut_draw_lots_where_there_is_no_room() -> None:
    # qD since 1 Nov 2023: Athletics Ireland, 31 Oct 2023
    no_room = _round(1, 3, 5)
    assert stand(no_room).open_draw == OpenDraw(("Crane", "Godwit"), 1)
    assert len(stand(no_room).qualified) == 4
    assert stand(no_room).teams["Godwit"].is_open
    drawn = stand(replace(no_room, lots=(("Godwit", "Crane"),)))
    assert drawn.open_draw is None
    assert drawn.teams["Godwit"].letter is BY_LOT
    assert drawn.teams["Crane"].letter is None


def test_a_draw_among_other_teams_settles_nothing() -> None:
    other = replace(_round(1, 3, 5), lots=(("Godwit", "Crane", "Heron"), ("Crane", "Bunting")))
    assert stand(other).open_draw == OpenDraw(("Crane", "Godwit"), 1)


def test_whoever_is_advanced_anyway_draws_no_lots() -> None:
    # our reading: the lot would cost the other a place that the advanced team does not need
    advanced = replace(_round(1, 3, 5), advanced={"Crane": Letter.BY_JURY})
    assert stand(advanced).open_draw is None
    assert _letters(stand(advanced))["Godwit"] == "q"
    assert _letters(stand(advanced))["Crane"] == "qJ"


def _tied_at_the_cut(*last: Finish) -> RoundStanding:
    heats = (
        HeatRun(f"{at}", (ran(f"Avocet {at}", 1, 40000), Ran(f"Tern {at}", one)))
        for at, one in enumerate(last, start=1)
    )
    return stand(_round(1, 1, len(last) + 1, *heats))


def test_thousandths_part_a_tie_at_the_cut_only_where_all_of_it_have_them() -> None:
    # World Athletics TR21.3 (public retelling): "look at times to 0.001 s"
    fine = [Finish(2, FINISHED, 41004), Finish(2, FINISHED, 41002)]
    assert _tied_at_the_cut(*fine).teams["Tern 2"].letter is BY_TIME
    rough = Finish(2, FINISHED, 41010, None, 2)
    assert _tied_at_the_cut(*fine, rough).open_draw == OpenDraw(("Tern 1", "Tern 2", "Tern 3"), 1)


def test_a_tie_for_the_last_place_costs_a_place_by_time() -> None:
    # World Athletics TR21, interpretation: a tie by place may cost one time place
    tied = a_heat("1", {"Avocet": 40000, "Bunting": 40000, "Crane": 41000})
    assert _letters(stand(_round(1, 1, 3, tied, SECOND))) == {
        "Avocet": "Q",
        "Bunting": "Q",
        "Egret": "Q",
    }


def test_a_tie_for_the_last_place_goes_to_lots_where_not_all_fit() -> None:
    tied = a_heat("1", {"Avocet": 40000, "Bunting": 40000, "Crane": 41000})
    full = _round(1, 0, 2, tied, SECOND)
    assert stand(full).open_draw == OpenDraw(("Avocet", "Bunting"), 1)
    drawn = stand(replace(full, lots=(("Bunting", "Avocet"),)))
    assert _letters(drawn) == {"Egret": "Q", "Bunting": "qD"}


def test_while_a_draw_for_a_place_is_open_nobody_goes_on_by_time() -> None:
    # whoever loses that draw may be among the fastest of the others
    tied = a_heat("1", {"Avocet": 40000, "Bunting": 40000, "Crane": 40000, "Dipper": 41000})
    full = _round(1, 1, 3, tied, SECOND)
    assert _letters(stand(full)) == {"Egret": "Q"}
    drawn = stand(replace(full, lots=(("Crane", "Avocet", "Bunting"), ("Avocet", "Bunting"))))
    assert _letters(drawn) == {"Egret": "Q", "Crane": "qD", "Avocet": "qD"}


def test_places_that_a_short_heat_leaves_over_go_by_time() -> None:
    short = a_heat("2", {"Egret": 43000, "Fulmar": None})
    assert _letters(stand(_round(2, 1, 5, FIRST, short))) == {
        "Avocet": "Q",
        "Bunting": "Q",
        "Egret": "Q",
        "Crane": "q",
        "Dipper": "q",
    }


def test_a_team_placed_by_the_judges_without_a_time_goes_on_by_place_alone() -> None:
    watch_failed = HeatRun(
        "1", (ran("Avocet", 1, None, 1), ran("Bunting", 2, None, 2), ran("Crane", 3, 42000, 3))
    )
    standing = stand(_round(1, 4, 6, watch_failed, SECOND))
    assert standing.teams["Avocet"].letter is Q
    assert standing.teams["Bunting"].letter is None
    assert standing.teams["Crane"].letter is BY_TIME


def test_more_promised_than_there_are_lanes_leaves_the_last_without_one() -> None:
    seats = tuple(Seat("final", lane) for lane in (1, 2))
    standing = stand(replace(_round(1, 1, 2), free_seats=seats))
    assert standing.unseated == ("Bunting",)
    assert Advancement(1, 1, 2).promised(heats=2) == 3


def test_whoever_comes_in_gets_the_lane_of_whoever_is_out() -> None:
    seats = drawn_seats(["Avocet", "Egret", "Bunting", "Fulmar"])
    round_ = replace(_round(1, 2, 4), seats=seats)
    after = stand(apply(round_, [Disqualify("1", Disqualified("Bunting", "ruling 1"))]))
    assert after.teams["Crane"].letter is None
    assert after.open_draw == OpenDraw(("Crane", "Godwit"), 1)
    lots = apply(
        replace(round_, lots=(("Crane", "Godwit"),)),
        [Disqualify("1", Disqualified("Bunting", "ruling 1"))],
    )
    assert stand(lots).teams["Crane"].seat == Seat("final", 6)
    assert stand(lots).teams["Fulmar"].seat == Seat("final", 5)
    assert stand(lots).teams["Bunting"].seat is None


def test_while_the_round_is_open_nobody_who_may_still_go_on_loses_its_lane() -> None:
    seats = drawn_seats(["Avocet", "Egret", "Bunting", "Fulmar"])
    again = ReRun("again", ("Heron",), Letter.BY_REFEREE)
    standing = stand(replace(_round(1, 2, 4), seats=seats, re_runs=(again,)))
    assert standing.teams["Bunting"].letter is None
    assert standing.teams["Bunting"].is_open
    assert standing.teams["Bunting"].seat == Seat("final", 6)
    assert standing.unseated == ()


def test_where_the_round_says_nothing_of_advancement_only_a_disqualification_costs_a_lane() -> None:
    round_ = Round((FIRST,), seats=drawn_seats(["Avocet", "Bunting"]))
    after = stand(apply(round_, [Disqualify("1", Disqualified("Avocet", "ruling 1"))]))
    assert after.teams["Avocet"].seat is None
    assert after.teams["Bunting"].seat == Seat("final", 7)
    assert after.qualified == ()


def test_a_disqualified_team_does_not_go_on_though_it_is_advanced() -> None:
    out = a_heat("1", {"Avocet": 40000, "Bunting": 41000}, "Avocet")
    standing = stand(replace(_round(1, 0, 8, out), advanced={"Avocet": Letter.BY_REFEREE}))
    assert standing.qualified == ("Bunting",)


def test_a_team_in_two_heats_of_a_round_is_refused() -> None:
    with pytest.raises(ValueError, match="stands in heat 1 and again in heat 2"):
        stand(Round((FIRST, replace(FIRST, heat="2"))))


def test_a_heat_that_stays_as_it_was_is_placed_once() -> None:
    second = a_heat("2", {"Egret": 40500, "Fulmar": 41200})
    before = Round((FIRST, second))
    placed: Placed = {}
    stand(before, placed)
    first, known = placed["1"], placed["2"]
    out = frozenset({Disqualified("Egret", "ruling")})
    after = replace(before, heats=(FIRST, replace(second, disqualified=out)))
    assert stand(after, placed) == stand(after)
    assert placed["1"] is first
    assert placed["2"] is not known


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Advancement(-1, 2, 8), "not fewer"),
        (lambda: Advancement(2, 2, 0), "at least one lane"),
        (lambda: HeatRun("1", FIRST.ran, is_in=False), "so it is in"),
        (lambda: Round((FIRST, FIRST)), "stands twice in its round"),
        (lambda: Round((FIRST,), advanced={"Avocet": Q}), "advanced by the referee"),
        (lambda: ReRun("x", (), Q), "at least one team"),
        (lambda: ReRun("x", ("Avocet",), Q, added_places=1), r"the referee's \(qR\)"),
        (lambda: ReRun("x", ("Avocet",), Q, added_places=-1), "0 places or more"),
        (lambda: ReRun("x", ("Avocet",), Q, time_to_beat=0), "more than nothing"),
        (lambda: ReRun("x", ("Heron",), Q, FIRST.ran), "not ordered for it"),
    ],
)
def test_what_cannot_be_is_refused(make: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        make()  # type: ignore[operator]


def test_a_time_to_beat_is_beaten_only_by_a_faster_hundredth() -> None:
    # World Athletics TR19 (from memory): rounded up to 0.01 s before it is compared
    heat = a_heat("1", {"Avocet": 40000, "Bunting": 42345, "Crane": None})
    for time, goes_on in ((42345, False), (42341, False), (42340, True), (42331, True)):
        lines = (ran("Crane", 3, time),)
        again = ReRun("again", ("Crane",), Letter.BY_REFEREE, lines, time_to_beat=42345)
        standing = stand(replace(_round(1, 1, 2, heat), re_runs=(again,)))
        assert (standing.teams["Crane"].letter is BY_TIME) is goes_on
        assert hundredths(time) == (4234 if goes_on else 4235)
