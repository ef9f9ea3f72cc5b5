"""What a decision would move, in words and lanes, and what comes too late to be moved."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.refusals import StateConflict
from app.rounds.consequences import consequences
from app.rules.orders import Correct, Disqualify, SetAside
from app.rules.qualifying import Disqualified
from tests.builders import MeetAtHand
from tests.rounds.builders import Event, an_event, two_heats


def a_drawn_final(meet: MeetAtHand, **setting: object) -> Event:
    """Both heats announced, the final drawn: Tern and Puffin by place, Gull and Curlew by time."""
    event = two_heats(meet)
    event.set(**setting)
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    event.draw({"final 1": ("Tern", "Puffin", "Gull", "Curlew")})
    return event


def out(event: Event, name: str, heat: str = "heats 1") -> Disqualify:
    return Disqualify(event.heat(heat), Disqualified(event.team(name), "new"))


def test_every_move_is_named_with_the_lane_that_falls_to_somebody(meet: MeetAtHand) -> None:
    event = a_drawn_final(meet)
    told = consequences(event.at_hand(), [out(event, "Tern")])
    assert told.summary == "Tern out of the final, Heron in on time"
    assert [move.name for move in told.moves] == ["Tern", "Heron", "Gull"]
    tern, heron, _gull = told.moves
    assert tern.sentence == "Tern is disqualified and is out of the final."
    assert heron.sentence.startswith("Heron is in the final by time (q) and ")
    assert heron.sentence.endswith("; lane 3 is free for it.")
    assert (tern.before.letter, tern.after.letter) == ("Q", "")
    assert heron.after.seat is not None
    assert heron.after.seat.lane == event.lane("Tern", "final 1")
    assert told.affiliations == ["Gull Club", "Heron Club", "Tern Club"]
    assert told.too_late == []


def test_places_and_their_difference_are_there_where_no_round_was_set(meet: MeetAtHand) -> None:
    """Rio 2016, men's 4x100 m final: third across the line disqualified, the fourth placed third
    (press accounts).
    """
    event = an_event(meet, {"final 1": ("Tern", "Gull", "Heron", "Plover")})
    event.load("final 1", "37.27", "37.60", "37.62", "37.64")
    told = consequences(event.at_hand("final"), [out(event, "Heron", "final 1")])
    assert [move.sentence for move in told.moves] == [
        "Heron is disqualified.",
        "Plover moves from place 4 to place 3.",
    ]


def test_a_final_that_was_run_is_named_as_what_can_no_longer_be_changed(meet: MeetAtHand) -> None:
    event = a_drawn_final(meet)
    event.run("final 1", "42.00", "42.10", "42.20", "42.30")
    told = consequences(event.at_hand(), [out(event, "Tern")])
    assert told.too_late == [
        "The final has been run: Tern ran in it in lane 3. This decision does not change that "
        "result.",
        "The final has been run: Heron did not run in it and can no longer be given a lane.",
    ]
    assert all(move.after.seat is None for move in told.moves)


def test_a_final_that_runs_gives_no_more_lanes_either(meet: MeetAtHand) -> None:
    event = a_drawn_final(meet)
    event.start("final 1")
    told = consequences(event.at_hand(), [out(event, "Tern")])
    assert told.too_late == [
        "The final has been started: Tern runs in it in lane 3. This decision does not change that "
        "result.",
        "The final has been started: Heron did not run in it and can no longer be given a lane.",
    ]


def test_of_several_heats_only_those_that_have_not_begun_have_lanes_to_give(
    meet: MeetAtHand,
) -> None:
    event = two_heats(meet)
    event.set(next_round="semi-finals")
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    event.draw({"semi-finals 1": ("Tern", "Puffin"), "semi-finals 2": ("Gull", "Curlew")})
    assert event.at_hand().round.seats
    event.run("semi-finals 1", "42.00", "42.10")
    told = consequences(event.at_hand(), [out(event, "Tern")])
    assert told.too_late == [
        "Heat 1 of the semi-finals has been run: Tern ran in it in lane 3. This decision does not "
        "change that result.",
        "The next round has begun: Heron can be given a lane only in heat 2.",
    ]
    event.run("semi-finals 2", "42.00", "42.10")
    told = consequences(event.at_hand(), [out(event, "Tern")])
    assert told.too_late[1] == (
        "All heats of the semi-finals have been run: Heron did not run in them and can no longer "
        "be given a lane."
    )


def test_a_reinstated_team_takes_its_place_back(meet: MeetAtHand) -> None:
    """Tokyo 2020, mixed 4x400 m: disqualified, and reinstated by the jury (press accounts)."""
    event = a_drawn_final(meet)
    event.disqualify("Tern")
    at_hand = event.at_hand()
    [known] = at_hand.round.heats[0].disqualified
    told = consequences(at_hand, [SetAside(event.heat(), known)])
    assert told.summary == "Heron out of the final, Tern in by place"


def test_an_order_that_does_not_fit_is_refused_in_plain_words(meet: MeetAtHand) -> None:
    event = a_drawn_final(meet)
    order = SetAside(event.heat(), Disqualified(event.team("Tern"), "nothing"))
    with pytest.raises(StateConflict, match="is not in force"):
        consequences(event.at_hand(), [order])


def test_free_lanes_are_given_from_the_outside_and_no_more_than_the_round_has(
    meet: MeetAtHand,
) -> None:
    """IAAF Rule 166, 2016-17, note 4: with more lanes than teams the inside ones stay free."""
    event = a_drawn_final(meet, lanes=6)
    free = event.at_hand().round.still_free
    assert [seat.lane for seat in free] == [8, 7]


def test_who_comes_into_a_tie_for_the_final_or_out_of_it_is_moved(meet: MeetAtHand) -> None:
    """Ties to 0.001 s at the cut are resolved by lot (World Athletics TR21.4, from memory)."""
    event = an_event(
        meet,
        {
            "heats 1": ("Tern", "Gull"),
            "heats 2": ("Plover", "Curlew"),
            "heats 3": ("Heron", "Puffin"),
        },
    )
    event.set(lanes=4, by_time=1)
    event.run("heats 1", "42.10", "42.50")
    event.run("heats 2", "42.20", "42.50")
    event.run("heats 3", "42.30", "42.50")
    told = consequences(event.at_hand(), [out(event, "Gull")])
    assert told.summary == "Gull no longer tied for a place in the final"
    assert "Gull Club" in told.affiliations
    told = consequences(event.at_hand(), [out(event, "Gull"), out(event, "Curlew", "heats 2")])
    assert {move.name for move in told.moves} == {"Gull", "Curlew", "Puffin"}


def test_a_juror_of_a_club_whose_team_would_come_into_a_tie_does_not_sit(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set(lanes=3, by_time=1)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    line = event.at_hand().round.heats[0].ran[1]
    slower = replace(line, finish=replace(line.finish, thousandths=42_600))
    told = consequences(event.at_hand(), [Correct(event.heat(), line, slower)])
    assert told.affiliations == ["Curlew Club", "Gull Club"]
    assert "Curlew ties for a place in the final, so that lots decide." in {
        move.sentence for move in told.moves
    }
