"""A disqualification in a re-run costs the team what it ran in its heat as well (World Athletics
TR7.1, from memory): so when it is set aside, both results change, and either may be announced
first.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from app.ids import new_id
from tests.appeals.desk import decide as decide_on
from tests.appeals.desk import decided, lodge
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.rounds.builders import Event, by_name, qualified, two_heats
from tests.running import Service

RE_RUN = "heats, re-run 1"
# By place Tern and Puffin, by time Gull and Curlew.
QUALIFIED = [("Tern", "Q"), ("Puffin", "Q"), ("Gull", "q"), ("Curlew", "q")]
LETTERS = {"Tern": "Q", "Gull": "q", "Heron": ""}
WITHOUT_GULL = {"Tern": "Q", "Gull": "", "Heron": "q"}
WAYS: list[Json] = [{}, {"time_to_beat": "42.60"}]
ORDERS = [("heats 1", RE_RUN), (RE_RUN, "heats 1")]


def gull_is_out(meet: MeetAtHand, first: str = "42.30", **more: object) -> Event:
    """Gull was disqualified in its re-run, which all announcements of the round tell. `first`: what
    its heat's finish list had of it.
    """
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", first, "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    decide(event, "heats 1", {"order": "run again", "teams": [event.team("Gull")], **more})
    event.read_again()
    event.run(RE_RUN, "42.35")
    event.disqualify("Gull", RE_RUN)
    for heat in (RE_RUN, "heats 1", "heats 2"):
        told = event.announce(heat, remark="Gull is disqualified in its re-run.")
        assert told.status_code == 201, told.text
    assert public_letters(event) == WITHOUT_GULL
    return event


def decide(event: Event, heat: str, order: Json) -> Json:
    """A protest of Gull in a heat is upheld with this order; gives the decision."""
    about = {"heat": event.heat(heat), "team": event.team("Gull"), "about": "placing"}
    protest = lodge(event.meet, {**about, "lodged_by": "Mira Anchor", "words": "Hindered."})
    return dict(decided(event.meet, protest, "upheld", orders=[order])["decision"])


def set_aside(event: Event) -> Json:
    """A decision sets the disqualification in the re-run aside."""
    (re_run,) = event.at_hand().round.re_runs
    ident = next(iter(re_run.disqualified)).by
    return decide(event, RE_RUN, {"order": "set aside", "disqualification": ident})


def public_letters(event: Event) -> dict[str, str | None]:
    """The letters of heat 1's teams as everybody reads them."""
    told = by_name(event.public())
    return {name: told[name]["letter"] for name in LETTERS}


def on_the_lines(told: Json) -> dict[str, str | None]:
    return {line["team_name"]: line["qualification"] for line in told["lines"]}


def holds(event: Event, heat: str) -> bool:
    """Whether a heat's announcement holds, told alike by the heat and by the list."""
    own = event.result(heat)["announced"]
    listed = event.meet.desk.get("announcements").json()["announcements"]
    (line,) = [one for one in listed if one["id"] == own["id"]]
    assert line["holds"] is own["holds"]
    return bool(own["holds"])


@pytest.mark.parametrize("first_run", ["42.30", "DNF", "DNS"])
@pytest.mark.parametrize("more", WAYS)
@pytest.mark.parametrize("order", ORDERS)
def test_whichever_heat_is_announced_first_tells_it_and_holds(
    meet: MeetAtHand, order: tuple[str, str], more: Json, first_run: str
) -> None:
    """A team that did not finish its heat has no place there that would have to be told first."""
    event = gull_is_out(meet, first_run, **more)
    before = event.public()
    set_aside(event)
    assert event.public() == before
    first, second = order
    told = event.announce(first).json()
    assert qualified(told) == QUALIFIED
    shown = on_the_lines(told)
    assert shown == {name: LETTERS[name] for name in shown}
    assert holds(event, first)
    assert not holds(event, second)
    assert public_letters(event) == LETTERS
    told = event.announce(second).json()
    assert qualified(told) == QUALIFIED
    event.announce("heats 2", remark="For the record.")
    assert [holds(event, heat) for heat in (first, second, "heats 2")] == [True] * 3
    assert public_letters(event) == LETTERS


def test_another_heat_of_the_round_tells_who_goes_on_by_it_too(meet: MeetAtHand) -> None:
    event = gull_is_out(meet)
    set_aside(event)
    told = event.announce("heats 2", remark="Who has qualified.").json()
    assert qualified(told) == QUALIFIED
    assert public_letters(event) == LETTERS
    assert [holds(event, heat) for heat in ("heats 1", RE_RUN)] == [False, False]


@pytest.mark.parametrize("order", ORDERS)
def test_so_does_whichever_comes_first_when_it_counts_again(
    meet: MeetAtHand, order: tuple[str, str]
) -> None:
    event = gull_is_out(meet)
    made = set_aside(event)
    for heat in order:
        event.announce(heat)
    decide(event, RE_RUN, {"order": "undo", "decision": made["id"]})
    assert public_letters(event) == LETTERS
    first, second = order
    told = event.announce(first).json()
    shown = on_the_lines(told)
    assert shown == {name: WITHOUT_GULL[name] for name in shown}
    assert holds(event, first)
    assert public_letters(event) == WITHOUT_GULL
    event.announce(second)
    assert [holds(event, heat) for heat in order] == [True, True]
    assert public_letters(event) == WITHOUT_GULL


def test_who_is_disqualified_in_its_heat_as_well_stays_out_of_the_round(meet: MeetAtHand) -> None:
    event = gull_is_out(meet)
    event.disqualify("Gull")
    event.announce("heats 1")
    set_aside(event)
    told = event.announce(RE_RUN).json()
    assert on_the_lines(told) == {"Gull": ""}
    event.announce("heats 1")
    assert [holds(event, heat) for heat in (RE_RUN, "heats 1")] == [True, True]
    assert public_letters(event) == WITHOUT_GULL


def ruling_in_the_re_run(event: Event) -> Json:
    """The ruling that disqualified Gull."""
    listed = event.meet.desk.get("disqualifications").json()
    (ruled,) = [one for one in listed if one["heat"] == event.heat(RE_RUN)]
    return dict(event.meet.desk.get(f"rulings/{ruled['by_ruling']}").json())


@pytest.mark.parametrize("order", ORDERS)
def test_a_ruling_that_is_reconsidered_is_told_at_once_as_well(
    meet: MeetAtHand, order: tuple[str, str]
) -> None:
    event = gull_is_out(meet)
    hand = event.hand(RE_RUN)
    ruling = ruling_in_the_re_run(event)
    again = hand.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"])
    assert again.status_code == 201, again.text
    assert public_letters(event) == WITHOUT_GULL
    first, second = order
    shown = on_the_lines(event.announce(first).json())
    assert shown == {name: LETTERS[name] for name in shown}
    assert holds(event, first)
    event.announce(second)
    assert [holds(event, heat) for heat in order] == [True, True]
    assert public_letters(event) == LETTERS


def test_where_the_judges_places_alone_rank_the_heat_itself_tells_it_first(
    meet: MeetAtHand,
) -> None:
    """What Gull ran there is not known from an announcement of heat 1 without it."""
    event = two_heats(meet)
    event.set(by_place=2, by_time=0)
    lanes = [lane["lane"] for lane in event.heats["heats 1"]["lanes"]]
    rows = "\n".join(["lane,place", *(f"{lane},{place}" for place, lane in enumerate(lanes, 1))])
    loaded = event.meet.desk.put(f"heats/{event.heat()}/result", content=rows)
    assert loaded.status_code == 201, loaded.text
    event.announce("heats 1")
    event.run("heats 2", "43.00", "42.40", "42.20")
    again = {"order": "run again", "teams": [event.team("Gull")], "added_places": 1}
    decide(event, "heats 1", again)
    event.read_again()
    event.run(RE_RUN, "42.35")
    event.disqualify("Gull", RE_RUN)
    for heat in (RE_RUN, "heats 1"):
        event.announce(heat)
    set_aside(event)
    assert on_the_lines(event.announce("heats 1").json())["Gull"] == "Q"
    event.announce(RE_RUN)
    assert [holds(event, heat) for heat in (RE_RUN, "heats 1")] == [True, True]


def a_protest(event: Event, heat: str, ruling: Json) -> Json:
    return {
        "heat": event.heat(heat),
        "team": event.team("Gull"),
        "about": "ruling",
        "ruling": ruling["id"],
        "lodged_by": "Mira Anchor",
        "words": "The baton was inside the zone.",
    }


@pytest.mark.parametrize("heat", ["heats 1", "heats 2"])
def test_whoever_names_the_wrong_heat_is_told_where_the_ruling_is_protested(
    meet: MeetAtHand, heat: str
) -> None:
    event = gull_is_out(meet)
    ruling = ruling_in_the_re_run(event)
    told = a_problem(
        event.meet.desk.put(f"protests/{new_id()}", a_protest(event, heat, ruling)),
        422,
        "malformed",
    )
    assert told["heat"] == event.heat(RE_RUN)
    assert told["errors"][0]["pointer"] == "/ruling"
    assert f"Name it in “heat”: {event.heat(RE_RUN)}." in told["detail"]
    is_repeated = "This ruling was made in the re-run of this heat, heats, re-run, heat 1."
    assert (is_repeated in told["detail"]) is (heat == "heats 1")
    lodged = lodge(event.meet, a_protest(event, RE_RUN, ruling))
    assert (lodged["timeliness"]["in_time"], lodged["took_part"]) == (True, True)


def test_what_tells_it_in_the_heat_that_it_repeats_opens_the_time_for_a_protest_too(
    meet: MeetAtHand,
) -> None:
    # World Athletics TR8.2: within 30 minutes of the announcement of the result.
    event = gull_is_out(meet)
    ruling = ruling_in_the_re_run(event)
    meet.service.clock.move(timedelta(minutes=31))
    late = lodge(meet, a_protest(event, RE_RUN, ruling))
    assert late["marks"] == ["late"]
    # What another heat tells is no news of it.
    event.announce("heats 2", remark="It was not heard.")
    meet.service.clock.move(timedelta(seconds=1))
    assert lodge(meet, a_protest(event, RE_RUN, ruling))["marks"] == ["late"]
    event.announce("heats 1", remark="It was not heard.")
    meet.service.clock.move(timedelta(minutes=29))
    timely = lodge(meet, a_protest(event, RE_RUN, ruling))
    assert timely["marks"] == []
    assert timely["timeliness"]["in_time"] is True
    meet.service.clock.move(timedelta(minutes=2))
    assert lodge(meet, a_protest(event, RE_RUN, ruling))["marks"] == ["late"]


def test_whoever_orders_it_in_the_wrong_heat_is_told_where_it_was_made(meet: MeetAtHand) -> None:
    event = gull_is_out(meet)
    ident = ruling_in_the_re_run(event)["disqualification"]
    about = {"heat": event.heat(), "team": event.team("Gull"), "about": "placing"}
    protest = lodge(event.meet, {**about, "lodged_by": "Mira Anchor", "words": "Look again."})
    orders = [{"order": "set aside", "disqualification": ident}]
    told = a_problem(decide_on(event.meet, protest, "upheld", orders=orders), 404, "not-found")
    assert (
        "it was made in heats, re-run, heat 1, and is decided on by a protest there"
        in told["detail"]
    )


def final_of(event: Event, heat: str) -> tuple[str | None, list[str]]:
    """Since when a heat's result is final, and what it waits for."""
    told = event.result(heat)["announced"]
    return told["final_since"], told["pending"]


def out_in_a_round_that_nobody_set(service: Service) -> Event:
    """Gull was disqualified in its re-run, which the re-run alone has told yet, an hour ago."""
    service.clock.stand_at(datetime(2026, 6, 13, 10, 0, tzinfo=UTC))
    event = two_heats(a_meet(service))
    event.run("heats 1", "42.10", "42.30", "42.50")
    decide(event, "heats 1", {"order": "run again", "teams": [event.team("Gull")]})
    event.read_again()
    event.run(RE_RUN, "42.35")
    event.disqualify("Gull", RE_RUN)
    event.announce(RE_RUN, remark="Gull is disqualified in its re-run.")
    service.clock.move(timedelta(hours=1))
    return event


def test_a_re_run_is_not_final_while_a_protest_against_it_is_in_time_by_what_its_heat_tells(
    service: Service,
) -> None:
    # World Athletics TR8.2: within 30 minutes of the announcement of the result.
    event = out_in_a_round_that_nobody_set(service)
    waits = "Heat 1 of this round: an amended result is to be announced."
    assert final_of(event, RE_RUN) == (None, [waits])
    event.announce("heats 1", remark="Gull is disqualified in its re-run.")
    service.clock.move(timedelta(minutes=30))
    until = "Heat 1 of this round: protests until 13:30:00 CEST."
    assert until in final_of(event, RE_RUN)[1]
    lodged = lodge(event.meet, a_protest(event, RE_RUN, ruling_in_the_re_run(event)))
    assert lodged["timeliness"]["in_time"] is True
    service.clock.move(timedelta(seconds=1))
    # The disqualification that it is about counts in the heat as well.
    number = lodged["number"]
    assert final_of(event, RE_RUN) == (None, [f"Protest {number} awaits the referee."])
    waits = f"Heat 1 of the heats, re-run: protest {number} awaits the referee."
    assert final_of(event, "heats 1") == (None, [waits])


def test_both_turn_final_together_and_no_other_heat_of_such_a_round_waits_for_them(
    service: Service,
) -> None:
    event = out_in_a_round_that_nobody_set(service)
    event.run("heats 2", "43.00", "42.40", "42.20")
    event.announce("heats 1", remark="Gull is disqualified in its re-run.")
    service.clock.move(timedelta(minutes=31))
    since = "2026-06-13T11:30:00Z"
    both = [final_of(event, heat) for heat in ("heats 1", RE_RUN)]
    assert both == [(since, []), (since, [])]
    lodge(event.meet, a_protest(event, RE_RUN, ruling_in_the_re_run(event)))
    assert final_of(event, "heats 1")[0] is None
    assert final_of(event, "heats 2") == (since, [])
