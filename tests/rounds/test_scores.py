"""Team scores by affiliation, from what has been announced."""

from __future__ import annotations

from sqlalchemy import Connection
from sqlalchemy import event as happening

from app.ids import MeetId, new_id
from app.rounds.announced import scores_out
from tests.builders import Json, MeetAtHand, a_meet
from tests.rounds.builders import Event, an_event
from tests.running import Service


def scores(meet: MeetAtHand) -> Json:
    answer = meet.service.http.get(f"/api/meets/{meet.id}/scores")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def a_final(meet: MeetAtHand, *teams: str) -> Event:
    event = an_event(meet, {"final 1": teams})
    sent = {"event": event.id, "round": "final", "points": ["5", "3", "2"]}
    assert meet.organiser.put(f"rounds/{new_id()}", sent).status_code == 201
    return event


def test_scores_add_up_what_was_announced_and_name_what_is_awaited(service: Service) -> None:
    meet = a_meet(service, roles=("results", "referee", "umpire"), umpires=(), heats=1)
    women, men = a_final(meet, "Tern", "Gull", "Heron"), a_final(meet, "Gull", "Tern")
    assert scores(meet) == {
        "scores": [],
        "awaited": [f"{event.name}, final" for event in (women, men)],
    }
    women.run("final 1", "42.00", "42.10", "42.10")
    men.load("final 1", "38.00", "38.10")
    told = scores(meet)
    assert [(one["place"], one["affiliation"], one["points"]) for one in told["scores"]] == [
        (1, "Tern Club", "5"),
        (2, "Gull Club", "2.5"),
        (2, "Heron Club", "2.5"),
    ]
    assert told["awaited"] == [f"{men.name}, final"]
    men.announce("final 1")
    told = scores(meet)
    assert [(one["place"], one["affiliation"], one["points"]) for one in told["scores"]] == [
        (1, "Tern Club", "8"),
        (2, "Gull Club", "7.5"),
        (3, "Heron Club", "2.5"),
    ]
    assert [(part["event_name"], part["points"]) for part in told["scores"][0]["made_of"]] == [
        (women.name, "5"),
        (men.name, "3"),
    ]


def test_a_final_that_is_still_to_be_drawn_is_awaited_and_scores_once_it_is_announced(
    service: Service,
) -> None:
    meet = a_meet(service, roles=("results",), umpires=(), heats=1)
    event = an_event(meet, {"heats 1": ("Tern", "Gull"), "heats 2": ("Heron", "Plover")})
    event.set()
    sent = {"event": event.id, "round": "final", "points": ["5", "3"]}
    assert meet.desk.put(f"rounds/{new_id()}", sent).status_code == 201
    awaited = {"scores": [], "awaited": [f"{event.name}, final"]}
    assert scores(meet) == awaited
    event.run("heats 1", "42.00", "42.10")
    event.run("heats 2", "42.20", "42.30")
    assert scores(meet) == awaited
    event.draw({"final 1": ("Tern", "Heron")})
    assert scores(meet) == awaited
    told = event.run("final 1", "41.00", "41.10")
    assert [line["points"] for line in told["lines"]] == ["5", "3"]
    earned = [(one["affiliation"], one["points"]) for one in scores(meet)["scores"]]
    assert earned == [("Tern Club", "5"), ("Heron Club", "3")]
    assert scores(meet)["awaited"] == []


def test_a_ruling_moves_scores_only_once_it_is_announced(service: Service) -> None:
    meet = a_meet(service, roles=("results", "referee", "umpire"), umpires=(), heats=1)
    event = a_final(meet, "Tern", "Gull")
    event.run("final 1", "42.00", "42.10")
    event.disqualify("Tern", "final 1")
    assert scores(meet)["scores"][0]["affiliation"] == "Tern Club"
    amended = event.announce("final 1", despite=None)
    assert amended.status_code == 201, amended.text
    assert [one["affiliation"] for one in scores(meet)["scores"]] == ["Gull Club"]


def test_a_round_that_cannot_be_worked_out_is_awaited_and_keeps_no_other_from_scoring(
    service: Service,
) -> None:
    meet = a_meet(service, roles=("results",), umpires=(), heats=1)
    twice = an_event(meet, {"final 1": ("Tern", "Gull"), "final 2": ("Tern", "Heron")})
    sent = {"event": twice.id, "round": "final", "points": ["5"]}
    assert meet.organiser.put(f"rounds/{new_id()}", sent).status_code == 201
    twice.run("final 1", "42.00", "42.10")
    twice.run("final 2", "42.00", "42.10")
    a_final(meet, "Plover", "Gull").run("final 1", "42.00", "42.10")
    assert scores(meet)["awaited"] == [f"{twice.name}, final"]
    assert scores(meet)["scores"][0]["affiliation"] == "Plover Club"


def test_a_team_without_affiliation_scores_for_itself(service: Service) -> None:
    meet = a_meet(service, roles=("results",), umpires=(), heats=1)
    rows = "event,round,heat,lane,team\nMen 4x100 m,final,1,3,Tern\n"
    assert meet.organiser.post("start-lists", content=rows).status_code == 200
    event = Event(meet, "Men 4x100 m")
    event.read_again()
    sent = {"event": event.id, "round": "final", "points": ["5"]}
    assert meet.organiser.put(f"rounds/{new_id()}", sent).status_code == 201
    event.run("final 1", "42.00")
    assert [one["affiliation"] for one in scores(meet)["scores"]] == ["Tern"]


def test_three_finals_take_as_many_statements_as_one(service: Service) -> None:
    meet = a_meet(service, roles=("results", "referee", "umpire"), umpires=(), heats=1)
    counts = []
    for _ in range(3):
        a_final(meet, "Tern", "Gull").run("final 1", "42.00", "42.10")
        counts.append(service.store.read_now(lambda conn: statements_for_scores(conn, meet)))
    assert counts[0] == counts[1] == counts[2]
    assert counts[2] <= 12


def statements_for_scores(conn: Connection, meet: MeetAtHand) -> int:
    asked: list[object] = []

    def count(*executed: object) -> None:
        asked.append(executed)

    happening.listen(conn, "before_cursor_execute", count)
    found = scores_out(conn, MeetId(meet.id))
    happening.remove(conn, "before_cursor_execute", count)
    assert found.scores
    return len(asked)
