"""Letters and points on results and announcements, and who qualified by which announcement."""

from __future__ import annotations

import csv
import io

import pytest

from app.results.changes import changes
from app.results.wire import ResultLineOut
from app.rounds.actions import order_re_run
from app.rules.qualifying import Letter
from tests.builders import Json, MeetAtHand
from tests.forms.pdf_reading import read_text
from tests.rounds.builders import Event, a_decision, an_event, by_name, qualified, two_heats

ALL_FOUR = [("Tern", "Q"), ("Puffin", "Q"), ("Gull", "q"), ("Curlew", "q")]


def both_run(meet: MeetAtHand, **setting: object) -> tuple[Event, Json, Json]:
    """Both heats announced: Tern and Puffin by place, Gull and Curlew by time."""
    event = two_heats(meet)
    event.set(**setting)
    first = event.run("heats 1", "42.10", "42.30", "42.50")
    return event, first, event.run("heats 2", "43.00", "42.40", "42.20")


def shown(event: Event, announced: Json, kind: str) -> bytes:
    address = f"/api/meets/{event.meet.id}/announcements/{announced['id']}.{kind}"
    answer = event.meet.service.http.get(address)
    assert answer.status_code == 200, answer.text
    return answer.content


def on_the_sheet(event: Event, announced: Json) -> str:
    return " ".join(read_text(shown(event, announced, "pdf")).split())


def test_a_heat_has_letters_by_place_first_and_all_once_every_other_heat_is_announced(
    meet: MeetAtHand,
) -> None:
    event, first, second = both_run(meet)
    assert [line["qualification"] for line in first["lines"]] == ["Q", None, None]
    assert (first["qualified"], first["next_round"]) == ([], "final")
    assert [line["qualification"] for line in second["lines"]] == ["Q", "q", ""]
    assert qualified(second) == ALL_FOUR
    assert event.letters("heats 1") == {"Tern": "Q", "Gull": "q", "Heron": ""}


def test_what_was_not_known_yet_contradicts_nothing(meet: MeetAtHand) -> None:
    event, first, _second = both_run(meet)
    assert (
        event.result("heats 1")["announced"]
        == {
            "id": first["id"],
            "number": 1,
            "announced_at": first["announced_at"],
            "holds": True,
        }
        | event.result("heats 1")["announced"]
    )
    assert holding(event) == {"heats 1": True, "heats 2": True}


def holding(event: Event) -> dict[str, bool]:
    """Whether what was announced still holds, as the list and as each result has it."""
    names = {event.heat(name): name for name in event.heats}
    listed = event.meet.desk.get("announcements").json()["announcements"]
    told = {
        names[line["heat"]]: line["holds"]
        for line in listed
        if line["heat"] in names and line["is_latest"]
    }
    assert told == {name: event.result(name)["announced"]["holds"] for name in told}
    return told


def test_who_loses_a_letter_by_another_heat_is_announced_anew(meet: MeetAtHand) -> None:
    event, _first, second = both_run(meet)
    event.disqualify("Tern")
    assert holding(event) == {"heats 1": False, "heats 2": True}
    event.load("heats 2", "43.00", "42.60", "42.20")
    amended = event.announce("heats 1").json()
    assert qualified(amended) == [("Puffin", "Q"), ("Gull", "Q"), ("Curlew", "q"), ("Heron", "q")]
    event.announce("heats 2")
    event.load("heats 1", "42.10", "43.10", "42.50")
    third = event.announce("heats 1").json()
    assert qualified(third) == [("Puffin", "Q"), ("Heron", "Q"), ("Curlew", "q"), ("Plover", "q")]
    assert holding(event) == {"heats 1": True, "heats 2": False}
    anew = event.announce("heats 2").json()
    lane = event.lane("Plover", "heats 2")
    assert anew["changes"] == [f"Plover, lane {lane}: through by time (q); before: not through."]
    assert holding(event) == {"heats 1": True, "heats 2": True}
    assert b"Amended result" in shown(event, anew, "txt")
    assert second["id"] != anew["id"]


def test_a_later_announcement_of_the_round_with_other_qualifiers_is_named(
    meet: MeetAtHand,
) -> None:
    event, _first, second = both_run(meet)
    event.announce("heats 1", remark="It was not heard")
    assert event_json(event, second)["qualifiers_superseded_by"] is None
    event.disqualify("Tern")
    amended = event.announce("heats 1").json()
    told = event_json(event, second)["qualifiers_superseded_by"]
    assert (told["id"], told["number"], told["heat_number"]) == (amended["id"], 3, 1)
    words = "Others have qualified by announcement 3 of heats, heat 1, made "
    assert shown(event, second, "txt").decode().startswith(words)
    assert words in on_the_sheet(event, second)
    assert event_json(event, amended)["qualifiers_superseded_by"] is None


def test_a_re_run_that_changes_who_qualified_is_named_as_well(meet: MeetAtHand) -> None:
    event, _first, second = both_run(meet)
    teams, heat = [event.team("Heron")], event.heat_out()
    letter, more = Letter.BY_REFEREE, {"time_to_beat": 42400}
    event.read(lambda unit: order_re_run(unit, heat, teams, letter, a_decision(), **more))
    event.read_again()
    again = event.run("heats, re-run 1", "42.00")
    assert qualified(again) == [("Tern", "Q"), ("Puffin", "Q"), ("Heron", "q"), ("Gull", "q")]
    told = event_json(event, second)["qualifiers_superseded_by"]
    assert (told["id"], told["round"]) == (again["id"], "heats, re-run")
    # The first heat was announced before its letters by time were known.
    assert holding(event) == {"heats 1": True, "heats 2": False, "heats, re-run 1": True}


def event_json(event: Event, announced: Json) -> Json:
    address = f"/api/meets/{event.meet.id}/announcements/{announced['id']}.json"
    return dict(event.meet.service.http.get(address).json())


def test_an_announcement_names_the_qualifiers_that_were_looked_at(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.load("heats 2", "43.00", "42.40", "42.20")
    seen = meet.desk.get(f"heats/{event.heat('heats 2')}/result").headers["ETag"]
    event.run("heats 1", "42.10", "42.30", "42.50")
    assert meet.desk.get(f"heats/{event.heat('heats 2')}/result").headers["ETag"] != seen


def test_everybody_hears_and_reads_who_qualified(meet: MeetAtHand) -> None:
    event, _first, second = both_run(meet)
    lines = shown(event, second, "txt").decode().splitlines()
    words = "Qualified for the final: Tern and Puffin by place; Gull and Curlew by time."
    assert words in lines
    assert second["abbreviations"] == {"Q": "qualified by place", "q": "qualified by time"}
    sheet = on_the_sheet(event, second)
    assert "Qualified for the final" in sheet
    assert "Q Tern, heat 1, place 1, 42.10" in sheet
    assert "q Curlew, heat 2, place 2, 42.40" in sheet
    rows = list(csv.DictReader(io.StringIO(shown(event, second, "csv").decode(), newline="")))
    assert [(row["team"], row["qualification"]) for row in rows] == [
        ("Puffin", "Q"),
        ("Curlew", "q"),
        ("Plover", ""),
    ]


def test_the_points_of_a_final_are_shared_by_those_who_tie(meet: MeetAtHand) -> None:
    """Common practice of team matches: places 2 and 3 of 7 and 6 points get 6.5 each."""
    event = an_event(meet, {"final 1": ("Tern", "Gull", "Heron", "Plover")})
    sent = {"event": event.id, "round": "final", "points": ["9", "7", "6"]}
    assert meet.organiser.put(f"rounds/{event.round}", sent).status_code == 201
    told = event.run("final 1", "42.00", "42.10", "42.10", "42.30")
    points = {line["team_name"]: line["points"] for line in told["lines"]}
    assert points == {"Tern": "9", "Gull": "6.5", "Heron": "6.5", "Plover": ""}
    assert {line["qualification"] for line in told["lines"]} == {None}
    rows = list(csv.DictReader(io.StringIO(shown(event, told, "csv").decode(), newline="")))
    assert [row["points"] for row in rows] == ["9", "6.5", "6.5", ""]


def test_points_that_become_known_by_another_heat_need_no_further_announcement(
    meet: MeetAtHand,
) -> None:
    event = two_heats(meet)
    sent = {"event": event.id, "round": "heats", "points": ["6", "5", "4"]}
    assert meet.organiser.put(f"rounds/{event.round}", sent).status_code == 201
    event.run("heats 1", "42.10", "42.20", "42.40")
    event.run("heats 2", "42.15", "42.25", "42.35")
    assert [line["points"] for line in event.result("heats 1")["lines"]] == ["6", "4", ""]
    assert holding(event) == {"heats 1": True, "heats 2": True}
    assert by_name(event.public())["Tern"]["points"] == "6"


def test_a_meet_without_rounds_has_neither_letters_nor_points(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    told = event.run("heats 1", "42.10", "42.30", "42.50")
    assert {(line["qualification"], line["points"]) for line in told["lines"]} == {(None, "")}
    assert (told["qualified"], told["next_round"]) == ([], "")


def a_line(qualification: str | None, place: int = 3) -> ResultLineOut:
    document = {
        "place": place,
        "lane": 5,
        "bib": "",
        "team": "01890a5d-ac96-774b-bcce-b302099a8057",
        "team_name": "Gull",
        "affiliation": "",
        "status": "finished",
        "thousandths": 42350,
        "time": "42.35",
        "annotation": "",
        "reason": "",
        "qualification": qualification,
    }
    return ResultLineOut.model_validate(document)


def test_a_letter_alone_is_told_alone_and_with_a_place_beside_it() -> None:
    assert changes([a_line("")], [a_line("q")]).sentences == [
        "Gull, lane 5: through by time (q); before: not through."
    ]
    both = changes([a_line("", 4)], [a_line("q")])
    assert both.sentences == [
        "Gull, lane 5: place 3, 42.35, through by time (q); before: place 4, 42.35, not through."
    ]
    assert both.moved_only == 0


def test_points_that_change_where_the_place_does_not_are_told(meet: MeetAtHand) -> None:
    """A tie for second is parted: the points are no longer shared (common practice)."""
    event = an_event(meet, {"final 1": ("Tern", "Gull", "Heron")})
    sent = {"event": event.id, "round": "final", "points": ["9", "7", "6"]}
    assert meet.organiser.put(f"rounds/{event.round}", sent).status_code == 201
    event.run("final 1", "42.00", "42.10", "42.10")
    event.disqualify("Heron", "final 1")
    told = event.announce("final 1").json()
    assert "Gull, lane 4: 7 points; before: 6.5 points." in told["changes"]
    assert told["moved_only"] == 0


def test_a_letter_that_is_not_known_on_one_side_is_no_change() -> None:
    assert changes([a_line(None)], [a_line("q")]).sentences == []
    assert changes([a_line("q")], [a_line(None)]).sentences == []


@pytest.mark.parametrize("letter", ["qR", "qJ"])
def test_a_letter_by_decision_is_a_change_whatever_was_known(letter: str) -> None:
    given = changes([a_line(None)], [a_line(letter)]).sentences
    assert given == [
        f"Gull, lane 5: through {BY[letter]} ({letter}); before: not known yet whether through."
    ]
    assert len(changes([a_line(letter)], [a_line(None)]).sentences) == 1
    assert changes([a_line(letter)], [a_line(letter)]).sentences == []


BY = {"qR": "by the referee's decision", "qJ": "by the jury's decision"}
