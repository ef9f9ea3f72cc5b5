"""A finish list does not give a team what the jury has refused to make of its line, nor take from
it what the jury has found done already.

That the jury's decision is final: World Athletics TR8.11 (published summary). That it binds the
desk's list as it binds the referee, and leaves other times free, is common practice.
"""

from __future__ import annotations

import httpx
import pytest

from tests.appeals.desk import appeal, decided, lodge
from tests.appeals.test_last_instance import the_jury
from tests.appeals.test_reopening import reopen
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event, two_heats

HEAT = "heats 1"
LIST = {"Tern": "42.10", "Gull": "42.50", "Heron": "43.00"}


@pytest.fixture
def event(meet: MeetAtHand) -> Event:
    """Two heats that lead to a final, both announced."""
    event = two_heats(meet)
    event.set()
    event.run(HEAT, *LIST.values())
    event.run("heats 2", "42.20", "42.60", "43.10")
    return event


def loaded(event: Event, columns: str = "lane,time", **changes: str) -> httpx.Response:
    """The list of the first heat with other lines of these teams."""
    lines = LIST | changes
    rows = [f"{event.lane(name)},{line}" for name, line in lines.items()]
    address = f"heats/{event.heat(HEAT)}/result"
    seen = event.meet.desk.get(address).headers.get("ETag")
    return event.meet.desk.put(address, content="\n".join([columns, *rows]), etag=seen)


def refused_on_appeal(event: Event, *sought: Json) -> Json:
    """Heron's protest was rejected, and so was its appeal that sought this; gives the appeal."""
    sent = {"heat": event.heat(HEAT), "team": event.team("Heron"), "about": "other"}
    protest = lodge(event.meet, {**sent, "lodged_by": "Mira Anchor"})
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    return the_jury(event.meet, appeal(event.meet, protest, sought=list(sought)), "rejected")


def corrected(event: Event, name: str, **finish: object) -> Json:
    return {"order": "correct", "team": event.team(name), **finish}


def is_refused(answer: httpx.Response, name: str) -> str:
    told = a_problem(answer, 409, "conflict")
    assert f"the finish of {name} to what the jury has refused on appeal" in told["detail"]
    assert "TR8.11" in told["detail"]
    return str(told["detail"])


def test_a_list_does_not_give_the_time_that_the_jury_refused(event: Event) -> None:
    heard = refused_on_appeal(event, corrected(event, "Heron", time="42.45"))
    was = event.result()["lines"]
    told = is_refused(loaded(event, Heron="42.45"), "Heron")
    assert f"refused on appeal {heard['number']}," in told
    assert "with new conclusive evidence the jury can reopen" in told
    assert event.result()["lines"] == was
    is_refused(loaded(event, Heron="42.45", Gull="42.51"), "Heron")
    is_refused(loaded(event, Heron="42.449"), "Heron")


def test_a_list_in_hundredths_does_not_give_what_thousandths_that_were_refused_are_officially(
    event: Event,
) -> None:
    """42.453 is 42.46 (World Athletics TR19, from memory)."""
    refused_on_appeal(event, corrected(event, "Heron", time="42.453"))
    is_refused(loaded(event, Heron="42.46"), "Heron")
    is_refused(loaded(event, Heron="42.453"), "Heron")
    assert loaded(event, Heron="42.454").status_code == 200
    assert loaded(event, Heron="42.45").status_code == 200


def test_nor_thousandths_that_were_refused_where_it_had_their_hundredths(event: Event) -> None:
    assert loaded(event, Heron="42.46").status_code == 200
    refused_on_appeal(event, corrected(event, "Heron", time="42.453"))
    is_refused(loaded(event, Heron="42.453"), "Heron")
    assert loaded(event, Heron="42.46", Tern="42.11").status_code == 200


def test_a_place_that_was_refused_in_a_tie_does_not_come_of_no_places_either(event: Event) -> None:
    columns = "lane,time,place"
    tie = {"Gull": "42.50,2", "Heron": "42.50,3"}
    assert loaded(event, columns, Tern="42.10,1", **tie).status_code == 200
    refused_on_appeal(event, corrected(event, "Heron", time="42.50", place=2))
    is_refused(loaded(event, Gull="42.50", Heron="42.50"), "Heron")
    assert loaded(event, Gull="42.49", Heron="42.50").status_code == 200


def test_a_list_does_not_give_the_status_that_the_jury_refused(event: Event) -> None:
    refused_on_appeal(event, corrected(event, "Gull", status="DNF"))
    is_refused(loaded(event, Gull="DNF"), "Gull")


def test_a_list_does_not_part_a_tie_as_the_jury_refused(event: Event) -> None:
    tie = {"Gull": "42.50,2", "Heron": "42.50,3"}
    columns = "lane,time,place"
    assert loaded(event, columns, Tern="42.10,1", **tie).status_code == 200
    refused_on_appeal(
        event,
        corrected(event, "Heron", time="42.50", place=2),
        corrected(event, "Gull", time="42.50", place=3),
    )
    turned = {"Gull": "42.50,3", "Heron": "42.50,2"}
    is_refused(loaded(event, columns, Tern="42.10,1", **turned), "Heron and Gull")
    assert loaded(event, columns, Tern="42.15,1", **tie).status_code == 200


def test_other_times_and_other_teams_stay_free(event: Event) -> None:
    refused_on_appeal(event, corrected(event, "Heron", time="42.45"))
    assert loaded(event, Heron="42.46").status_code == 200
    assert loaded(event, Gull="42.45").status_code == 200


def test_a_line_that_stood_so_before_may_stay(event: Event) -> None:
    sought = corrected(event, "Heron", time="42.45")
    sent = {"heat": event.heat(HEAT), "team": event.team("Heron"), "about": "other"}
    protest = lodge(event.meet, {**sent, "lodged_by": "Mira Anchor"})
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(event.meet, protest, sought=[sought])
    assert loaded(event, Heron="42.45").status_code == 200
    the_jury(event.meet, lodged, "rejected")
    assert loaded(event, Heron="42.45", Tern="42.11").status_code == 200


def found_on_appeal(event: Event, *sought: Json) -> Json:
    """Heron's protest was rejected, and the jury found done already what its appeal sought."""
    sent = {"heat": event.heat(HEAT), "team": event.team("Heron"), "about": "other"}
    protest = lodge(event.meet, {**sent, "lodged_by": "Mira Anchor"})
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(event.meet, protest, sought=list(sought))
    for order in sought:
        name = next(one for one in LIST if event.team(one) == order["team"])
        line = order.get("time") or order["status"]
        assert loaded(event, **{name: line}).status_code == 200
    return the_jury(event.meet, lodged, "upheld", done_already="By the desk's new list.")


def test_a_list_does_not_take_away_the_time_that_the_jury_found_done(event: Event) -> None:
    heard = found_on_appeal(event, corrected(event, "Heron", time="42.45"))
    was = event.result()["lines"]
    for time in ("43.00", "42.46", "42.451", "DNF"):
        told = a_problem(loaded(event, Heron=time), 409, "conflict")
        said = "This list changes the finish of Heron from what the jury has found done already on "
        assert (
            f"{said}appeal {heard['number']}, and its decision is final (TR8.11)" in told["detail"]
        )
        assert "with new conclusive evidence the jury can reopen" in told["detail"]
        assert told["teams"] == [event.team("Heron")]
    assert event.result()["lines"] == was
    assert loaded(event, Heron="42.45", Tern="42.11").status_code == 200
    assert loaded(event, Heron="42.448", Tern="42.11").status_code == 200


def test_nor_the_status(event: Event) -> None:
    found_on_appeal(event, corrected(event, "Gull", status="DNF"))
    told = a_problem(loaded(event, Gull="42.50"), 409, "conflict")
    assert "the finish of Gull from what the jury has found done already" in told["detail"]


def test_a_list_does_not_give_again_what_the_jury_found_undone(event: Event) -> None:
    sent = {"heat": event.heat(HEAT), "about": "other", "lodged_by": "Mira Anchor"}

    def protested(name: str, *orders: Json) -> Json:
        protest = lodge(event.meet, {**sent, "team": event.team(name)})
        return decided(event.meet, protest, "upheld", orders=list(orders))

    made = protested("Heron", corrected(event, "Heron", time="42.45"))
    lodged = appeal(event.meet, made, team=event.team("Gull"))
    undo = {"order": "undo", "decision": made["decision"]["id"]}
    protested("Gull", undo)
    the_jury(event.meet, lodged, "upheld", done_already="The referee has undone it.")
    for time in ("42.45", "42.448"):
        is_refused(loaded(event, Heron=time), "Heron")
    assert loaded(event, Heron="42.46").status_code == 200


def test_what_the_jury_found_done_holds_for_its_race_and_until_it_finds_otherwise(
    event: Event,
) -> None:
    heard = found_on_appeal(event, corrected(event, "Heron", time="42.45"))
    assert loaded(event, Heron="43.00").status_code == 409
    assert reopen(event.meet, heard, "juror 1").status_code == 200
    the_jury(event.meet, heard, "rejected")
    assert loaded(event, Heron="43.00").status_code == 200


def test_a_race_that_is_run_again_has_other_lines_than_the_jury_found(event: Event) -> None:
    found_on_appeal(event, corrected(event, "Heron", time="42.45"))
    event.hand(HEAT).hold_back()
    event.start(HEAT)
    event.load(HEAT, "42.10", "42.50", "42.45")
    assert loaded(event, Heron="43.00").status_code == 200


def test_a_race_that_is_run_again_has_times_of_its_own(event: Event) -> None:
    refused_on_appeal(event, corrected(event, "Heron", time="42.45"))
    event.hand(HEAT).hold_back()
    event.start(HEAT)
    event.load(HEAT, "42.10", "42.50", "43.00")
    assert loaded(event, Heron="42.45").status_code == 200


def test_what_the_jury_has_corrected_on_another_appeal_stands_in_the_list(event: Event) -> None:
    order = corrected(event, "Heron", time="42.45")
    refused_on_appeal(event, order)
    sent = {"heat": event.heat(HEAT), "team": event.team("Gull"), "about": "other"}
    protest = lodge(event.meet, {**sent, "lodged_by": "Mira Anchor"})
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    the_jury(event.meet, appeal(event.meet, protest), "upheld", orders=[order])
    assert loaded(event, Heron="42.45", Tern="42.11").status_code == 200


def test_once_the_jury_has_corrected_it_after_reopening_the_list_says_so(event: Event) -> None:
    order = corrected(event, "Heron", time="42.45")
    heard = refused_on_appeal(event, order)
    assert reopen(event.meet, heard, "juror 1").status_code == 200
    the_jury(event.meet, heard, "upheld", orders=[order])
    assert loaded(event, Heron="42.45", Tern="42.11").status_code == 200
