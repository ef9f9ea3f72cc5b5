"""Setting a round: who goes on, what it scores, and what is refused."""

from __future__ import annotations

import pytest

from app.ids import new_id
from app.rounds.actions import order_re_run
from app.rules.qualifying import Letter
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event, a_decision, an_event, two_heats


def test_a_round_is_set_once_and_everybody_reads_it(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    told = event.set(round="HEATS", points=["5", "2.5"])
    assert told["round"] == "heats"
    assert (told["heats"], told["next_heats"], told["version"]) == (2, 0, 1)
    assert told["points"] == ["5", "2.5"]
    public = meet.service.http.get(f"/api/meets/{meet.id}/rounds/{event.round}")
    assert public.json() == told
    assert told in meet.service.http.get(f"/api/meets/{meet.id}/rounds").json()["rounds"]


@pytest.mark.parametrize("role", ["organiser", "referee", "results"])
def test_organiser_referee_and_desk_may_set_it_and_it_is_recorded_once(
    meet: MeetAtHand, role: str
) -> None:
    event = two_heats(meet)
    before = meet.head()["size"]
    address = f"rounds/{event.round}"
    assert meet[role].put(address, event.setting()).status_code == 201
    assert meet[role].put(address, event.setting()).status_code == 200
    assert meet.head()["size"] == before + 1


def test_a_change_names_the_version_it_changes(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    address = f"rounds/{event.round}"
    a_problem(meet.organiser.put(address, event.setting(by_time=1)), 409, "id-taken")
    a_problem(meet.organiser.put(address, event.setting(by_time=1), etag='"v7"'), 412, "stale")
    changed = meet.organiser.put(address, event.setting(by_time=1), etag='"v1"')
    assert (changed.status_code, changed.headers["ETag"]) == (200, '"v2"')
    unknown = meet.organiser.put(f"rounds/{new_id()}", event.setting(), etag='"v1"')
    a_problem(unknown, 412, "stale")


def test_a_round_is_set_under_one_id_only_and_stays_with_it(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.draw({"final 1": ("Tern", "Plover")})
    event.set()
    told = a_problem(meet.organiser.put(f"rounds/{new_id()}", event.setting()), 409, "conflict")
    assert event.round in told["detail"]
    final = {"event": event.id, "round": "final"}
    a_problem(meet.organiser.put(f"rounds/{event.round}", final, etag='"v1"'), 409, "conflict")


def test_an_unknown_event_or_round_is_refused_naming_those_there_are(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    address = f"rounds/{event.round}"
    no_event = a_problem(
        meet.organiser.put(address, event.setting(event=new_id())), 422, "malformed"
    )
    assert event.name in no_event["detail"]
    no_round = a_problem(
        meet.organiser.put(address, event.setting(round="semis")), 422, "malformed"
    )
    assert "They have: heats." in no_round["detail"]
    assert no_round["errors"][0]["pointer"] == "/round"


@pytest.mark.parametrize(
    "changes",
    [
        {"next_round": None},
        {"by_time": None},
        {"by_place": 0, "by_time": 0},
        {"next_round": "Heats"},
        {"points": ["five"]},
        {"points": ["1.2345"]},
        {"points": [5]},
    ],
)
def test_what_leads_nowhere_or_is_no_number_is_refused(
    meet: MeetAtHand, changes: dict[str, object]
) -> None:
    event = two_heats(meet)
    before = meet.head()
    a_problem(
        meet.organiser.put(f"rounds/{event.round}", event.setting(**changes)), 422, "malformed"
    )
    assert meet.head() == before


def test_more_teams_than_the_next_round_has_lanes_are_refused(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    sent = event.setting(by_place=2, by_time=1)
    told = a_problem(meet.organiser.put(f"rounds/{event.round}", sent), 422, "malformed")
    assert "5 teams" in told["detail"]
    assert told["errors"][0]["pointer"] == "/lanes"


@pytest.mark.parametrize(
    ("field", "way_out"), [("round", "Set “heats” instead"), ("next_round", "nobody goes on to it")]
)
def test_a_re_run_is_set_with_the_round_that_it_belongs_to(
    meet: MeetAtHand, field: str, way_out: str
) -> None:
    event = two_heats(meet)
    heat, teams = event.heat_out(), [event.team("Heron")]
    event.read(lambda unit: order_re_run(unit, heat, teams, Letter.BY_REFEREE, a_decision()))
    sent = event.setting(**{field: "Heats, re-run"})
    refused = a_problem(meet.organiser.put(f"rounds/{event.round}", sent), 422, "malformed")
    assert refused["errors"][0]["pointer"] == f"/{field}"
    assert "“heats” and belongs to it" in refused["detail"]
    assert way_out in refused["detail"]
    unknown = event.setting(round="semi-final")
    listed = a_problem(meet.organiser.put(f"rounds/{event.round}", unknown), 422, "malformed")
    assert "They have: heats." in listed["detail"]


def a_final_to_come(event: Event, **changes: object) -> Json:
    return {"event": event.id, "round": "final", "points": ["5", "3"], **changes}


def test_a_round_is_set_before_it_is_drawn_where_another_one_leads_to_it(
    meet: MeetAtHand,
) -> None:
    event, address = two_heats(meet), f"rounds/{new_id()}"
    early = a_problem(meet.desk.put(address, a_final_to_come(event)), 422, "malformed")
    assert "with “final” as its “next_round”" in early["detail"]
    event.set()
    told = meet.desk.put(address, a_final_to_come(event, round="FINAL"))
    assert told.status_code == 201, told.text
    assert (told.json()["round"], told.json()["heats"]) == ("final", 0)
    listed = meet.service.http.get(f"/api/meets/{meet.id}/rounds").json()["rounds"]
    own = [one["round"] for one in listed if one["event"] == event.id]
    assert own == ["heats", "final"]
    event.draw({"Final 1": ("Tern", "Plover")})
    same = meet.desk.put(address, a_final_to_come(event))
    assert (same.status_code, same.json()["heats"]) == (200, 1)


def test_a_round_that_none_leads_to_any_more_can_still_be_changed(meet: MeetAtHand) -> None:
    event, address = two_heats(meet), f"rounds/{new_id()}"
    event.set()
    assert meet.desk.put(address, a_final_to_come(event)).status_code == 201
    renamed = event.setting(next_round="A final")
    assert meet.organiser.put(f"rounds/{event.round}", renamed, etag='"v1"').status_code == 200
    emptied = meet.desk.put(address, a_final_to_come(event, points=[]), etag='"v1"')
    assert (emptied.status_code, emptied.json()["points"]) == (200, [])


def test_more_than_fit_from_one_heat_are_refused_before_it_is_drawn(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set(next_round="semis")
    sent = event.setting(round="semis", by_place=4, by_time=1, lanes=4)
    told = a_problem(meet.organiser.put(f"rounds/{new_id()}", sent), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/lanes"


def test_a_round_that_is_not_there_is_not_found(meet: MeetAtHand) -> None:
    a_problem(meet.organiser.get(f"rounds/{new_id()}"), 404, "not-found")
    event = an_event(meet, {"heats 1": ("Tern", "Gull")})
    a_problem(event.meet.desk.get(f"heats/{new_id()}/round"), 404, "not-found")
