"""What a decision moves in a round: who goes on, by whose word, and what comes too late."""

from __future__ import annotations

from tests.appeals.desk import a_panel, cast, decide, decided, jury_decides, lodge
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event, an_event, by_name, two_heats


def a_round(meet: MeetAtHand, **changes: object) -> Event:
    """Two heats of three are announced: the first of each goes on, and two by time."""
    event = two_heats(meet)
    event.set(**changes)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    return event


def protest(event: Event, name: str, heat: str = "heats 1") -> Json:
    sent = {
        "heat": event.heat(heat),
        "team": event.team(name),
        "about": "placing",
        "lodged_by": "Mira Anchor",
        "words": "We were obstructed.",
    }
    return lodge(event.meet, sent)


def letters(event: Event) -> dict[str, str | None]:
    return {name: one["letter"] for name, one in by_name(event.now()).items()}


def test_the_referee_lets_a_team_go_on_with_qr(meet: MeetAtHand) -> None:
    event = a_round(meet)
    assert letters(event)["Heron"] == ""
    lodged = protest(event, "Heron")
    orders = [{"order": "advance", "team": event.team("Heron")}]
    out = decided(meet, lodged, "upheld", orders=orders)
    (move,) = out["decision"]["consequences"]["moves"]
    assert (move["name"], move["after"]["letter"]) == ("Heron", "qR")
    assert letters(event) == {
        "Tern": "Q",
        "Plover": "Q",
        "Gull": "q",
        "Curlew": "q",
        "Heron": "qR",
        "Puffin": "",
    }
    # World Athletics CR25.4, in federation notices of 2023: qR advanced by the referee.
    assert event.letters()["Heron"] == "qR"
    assert event.announce("heats 1").status_code == 201


def test_the_jury_lets_a_team_go_on_with_qj(meet: MeetAtHand) -> None:
    event = a_round(meet)
    lodged = protest(event, "Heron")
    (appeal,) = decided(meet, lodged, "referred")["appeals"]
    names = a_panel(meet, {"id": appeal})
    for name in names:
        assert cast(meet, {"id": appeal}, name).status_code == 201
    orders = [{"order": "advance", "team": event.team("Heron")}]
    out = jury_decides(meet, {"id": appeal}, names[0], orders=orders)
    assert out.status_code == 201, out.text
    assert letters(event)["Heron"] == "qJ"


def test_a_team_that_was_advanced_is_not_advanced_again(meet: MeetAtHand) -> None:
    event = a_round(meet)
    orders = [{"order": "advance", "team": event.team("Heron")}]
    decided(meet, protest(event, "Heron"), "upheld", orders=orders)
    again = decide(meet, protest(event, "Tern"), "upheld", orders=orders)
    assert "advanced before" in a_problem(again, 409, "conflict")["detail"]


def test_a_team_that_stays_disqualified_is_helped_by_no_order(meet: MeetAtHand) -> None:
    """Who is disqualified does not run again with the obstructed (World Athletics TR17.1, in press
    accounts of Rio 2016), nor go on.
    """
    event = a_round(meet)
    out = {"order": "disqualify", "team": event.team("Heron"), "infringement": "help_given"}
    lodged = protest(event, "Heron")
    for order in (
        {"order": "advance", "team": event.team("Heron")},
        {"order": "run again", "teams": [event.team("Heron")], "added_places": 1},
    ):
        told = a_problem(decide(meet, lodged, "upheld", orders=[out, order]), 409, "conflict")
        assert "Heron is disqualified" in told["detail"]


def test_whom_a_decision_pushes_out_in_another_heat_the_same_decision_can_keep_in(
    meet: MeetAtHand,
) -> None:
    """Where somebody is let in, lanes may be added (World Athletics TR17.1; press accounts of the
    ninth team of London 2012).
    """
    event = a_round(meet)
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Curlew")})
    lodged = protest(event, "Heron")
    orders: list[Json] = [
        {"order": "correct", "team": event.team("Heron"), "time": "42.55"},
        {"order": "advance", "team": event.team("Curlew")},
    ]
    foreseen = meet.referee.post(f"protests/{lodged['id']}/consequences", {"orders": orders[:1]})
    assert "Curlew out of the final" in foreseen.json()["summary"]
    decided(meet, lodged, "upheld", orders=orders)
    assert (letters(event)["Heron"], letters(event)["Curlew"]) == ("q", "qR")
    stranger = {"order": "advance", "team": event_elsewhere(meet)}
    a_problem(decide(meet, protest(event, "Tern"), "upheld", orders=[stranger]), 422, "malformed")


def test_letting_a_team_go_on_and_not_in_one_decision_is_answered_in_words(
    meet: MeetAtHand,
) -> None:
    event = a_round(meet)
    decided(meet, protest(event, "Heron"), "upheld", orders=[{"order": "run again"}])
    both = [{"order": name, "team": event.team("Heron")} for name in ("advance", "recall")]
    answer = decide(meet, protest(event, "Tern"), "upheld", orders=both)
    assert answer.status_code in {201, 409}, answer.text


def test_what_running_again_can_no_longer_bring_is_said(meet: MeetAtHand) -> None:
    event = a_round(meet)
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Curlew")})
    lodged = protest(event, "Heron")
    event.start("final 1")
    again = {"order": "run again", "teams": [event.team("Heron")], "added_places": 1}
    for order, words in (
        (again, "Heron did not run in it"),
        ({"order": "run again"}, "whoever comes in by the heat that runs again did not run in it"),
    ):
        sent = {"orders": [order]}
        foreseen = meet.referee.post(f"protests/{lodged['id']}/consequences", sent).json()
        assert any(words in told for told in foreseen["too_late"]), foreseen


def event_elsewhere(meet: MeetAtHand) -> str:
    """A team of another event."""
    return str(meet.heats[0]["lanes"][0]["team"])


def test_from_a_round_that_leads_nowhere_nobody_is_advanced(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.run("heats 1", "42.10", "42.50", "43.00")
    orders = [{"order": "advance", "team": event.team("Heron")}]
    refused = decide(meet, protest(event, "Heron"), "upheld", orders=orders)
    assert "no next round" in a_problem(refused, 409, "conflict")["detail"]


def re_run_of(event: Event) -> str:
    event.read_again()
    return next(name for name in event.heats if "re-run" in name)


def test_one_team_runs_again_against_the_time_of_the_last_qualifier(meet: MeetAtHand) -> None:
    """Rio 2016, women's 4x100 m: one team ran alone and had to beat the eighth's time (press)."""
    for time, letter in (("42.55", "q"), ("42.65", "")):
        event = a_round(meet)
        orders = [{"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}]
        decided(meet, protest(event, "Heron"), "upheld", orders=orders)
        again = re_run_of(event)
        event.load(again, time)
        stand = letters(event)
        assert stand["Heron"] == letter, time
        assert stand["Curlew"] == ("" if letter else "q")


def test_who_obstructed_is_disqualified_where_the_obstructed_team_runs_again(
    meet: MeetAtHand,
) -> None:
    """Rio 2016, women's 4x100 m: the team that was obstructed ran again alone, the other was
    disqualified under 163.2(b) (IAAF communication); TR17.1.2 in results of September 2025.
    """
    event = a_round(meet)
    sent = {"order": "disqualify", "team": event.team("Gull")}
    orders = [
        {**sent, "infringement": "another_team_obstructed", "take_over": 2},
        {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"},
    ]
    out = decided(meet, protest(event, "Heron"), "upheld", orders=orders)
    assert "DQ TR17.1.2: another team obstructed" in out["decision"]["ordered"][0]
    event.load(re_run_of(event), "42.55")
    stand = letters(event)
    assert (stand["Gull"], stand["Heron"], stand["Curlew"]) == ("", "q", "q")


def test_a_result_says_what_a_team_came_to_that_ran_again(meet: MeetAtHand) -> None:
    """Rio 2016: 42.70 was to beat (press accounts); in our round 42.60 is."""
    for time, words in (("42.55", "faster than 42.60"), ("42.65", "not faster than 42.60")):
        event = a_round(meet)
        orders = [{"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}]
        decided(meet, protest(event, "Heron"), "upheld", orders=orders)
        again = re_run_of(event)
        event.load(again, time)
        assert event.announce(again).status_code == 201
        lines = event.result("heats 1")["lines"]
        told = {line["team_name"]: line["reason"] for line in lines}
        assert told == {"Tern": "", "Gull": "", "Heron": f"Ran again: {time}, {words}"}
        announced = event.announce("heats 1").json()
        text = meet.desk.get(f"announcements/{announced['id']}.txt").text
        assert f"ran again: {time}, {words}" in text.lower()


def test_what_is_ordered_in_a_heat_is_to_be_announced_though_no_line_says_otherwise(
    meet: MeetAtHand,
) -> None:
    event = a_round(meet)
    orders = [{"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}]
    decided(meet, protest(event, "Heron"), "upheld", orders=orders)
    assert not event.result("heats 1")["announced"]["holds"]
    page = meet.desk.get("announcements").json()["announcements"]
    holding = {one["heat_number"]: one["holds"] for one in page if one["round"] == "heats"}
    assert holding == {1: False, 2: True}
    assert event.announce("heats 1").status_code == 201
    assert event.result("heats 1")["announced"]["holds"]


def test_two_teams_run_again_for_one_added_place(meet: MeetAtHand) -> None:
    """Tokyo 2025, men's 4x100 m: two obstructed teams ran for a ninth lane (press)."""
    event = a_round(meet)
    teams = [event.team("Heron"), event.team("Gull")]
    orders = [{"order": "run again", "teams": teams, "added_places": 1}]
    out = decided(meet, protest(event, "Heron"), "upheld", orders=orders)
    assert "the best of them goes on in addition" in out["decision"]["ordered"][0]
    again = re_run_of(event)
    event.load(again, "43.50", "43.20")
    found = letters(event)
    assert found["Curlew"] == "q"
    assert sum(bool(letter) for letter in found.values()) == 5
    assert "qR" in found.values()


def test_the_whole_heat_runs_again_and_its_result_is_void(meet: MeetAtHand) -> None:
    event = a_round(meet)
    out = decided(meet, protest(event, "Heron"), "upheld", orders=[{"order": "run again"}])
    assert "runs again; its result is void" in out["decision"]["ordered"][0]
    assert event.now()["is_complete"] is False
    event.start("heats 1")
    event.load("heats 1", "44.00", "43.90", "42.00")
    assert letters(event)["Heron"] == "Q"


def test_a_decision_after_the_next_round_says_what_it_can_no_longer_change(
    meet: MeetAtHand,
) -> None:
    event = a_round(meet)
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Curlew")})
    lodged = protest(event, "Heron")
    orders = [{"order": "correct", "team": event.team("Heron"), "time": "42.00"}]
    event.start("final 1")
    foreseen = meet.referee.post(f"protests/{lodged['id']}/consequences", {"orders": orders})
    (lost, gained) = sorted(foreseen.json()["too_late"], key=lambda words: "Heron" in words)
    assert "can no longer be given a lane" in gained
    assert "Heron" in gained
    assert "does not change that result" in lost
    event.run("final 1", "41.90", "42.00", "42.30", "42.40")
    out = decided(meet, lodged, "upheld", orders=orders)
    told = out["decision"]["consequences"]["too_late"]
    assert any("has been run" in words for words in told)
    form = meet.referee.get(f"decisions/{out['decision']['id']}/form.pdf")
    assert form.status_code == 200


def test_lots_and_orders_of_other_rounds_stay_apart(meet: MeetAtHand) -> None:
    event = a_round(meet)
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Curlew")})
    event.run("final 1", "41.90", "42.00", "42.30", "42.40")
    sent = {
        "heat": event.heat("final 1"),
        "team": event.team("Gull"),
        "about": "placing",
        "lodged_by": "Mira Anchor",
    }
    lodged = lodge(meet, sent)
    before = letters(event)
    orders = [{"order": "disqualify", "team": event.team("Tern"), "infringement": "help_given"}]
    decided(meet, lodged, "upheld", orders=orders)
    # World Athletics TR7.1, from memory: a disqualification is for this round alone.
    assert letters(event) == before


def a_final(meet: MeetAtHand, **heats: tuple[str, ...]) -> Event:
    """A final from which nobody goes on, in one heat or more, with points for its places."""
    event = an_event(meet, {name.replace("_", " "): teams for name, teams in heats.items()})
    sent = {"event": event.id, "round": "final", "points": ["7", "5", "4", "3", "2", "1"]}
    assert meet.organiser.put(f"rounds/{event.round}", sent).status_code == 201
    return event


def test_in_a_final_of_one_race_no_team_runs_again_alone(meet: MeetAtHand) -> None:
    """Its places come from one race (World Athletics TR17, CR18.7, from memory)."""
    event = a_final(meet, final_1=("Tern", "Gull", "Heron"))
    event.run("final 1", "42.10", "42.50", "43.00")
    lodged = protest(event, "Heron", "final 1")
    orders = [{"order": "run again", "teams": [event.team("Heron")]}]
    shown = meet.referee.post(f"protests/{lodged['id']}/consequences", {"orders": orders})
    for answer in (shown, decide(meet, lodged, "upheld", orders=orders)):
        told = a_problem(answer, 409, "conflict")["detail"]
        assert "its places come from this one race" in told
        assert "the whole heat runs again" in told
    decided(meet, lodged, "upheld", orders=[{"order": "run again"}])


def test_after_a_timed_final_the_new_time_moves_places_over_all_heats_and_points(
    meet: MeetAtHand,
) -> None:
    """Timed finals rank by time over all heats (common practice)."""
    event = a_final(meet, final_1=("Tern", "Gull", "Heron"), final_2=("Plover", "Curlew", "Puffin"))
    event.run("final 1", "42.10", "42.50", "43.00")
    event.run("final 2", "42.20", "42.60", "43.10")
    before = by_name(event.now("final 1"))
    assert {
        name: (one["place"], one["overall"], one["points"]) for name, one in before.items()
    } == {
        "Tern": (1, 1, "7"),
        "Plover": (1, 2, "5"),
        "Gull": (2, 3, "4"),
        "Curlew": (2, 4, "3"),
        "Heron": (3, 5, "2"),
        "Puffin": (3, 6, "1"),
    }
    teams = [event.team("Heron")]
    added = [{"order": "run again", "teams": teams, "added_places": 1}]
    refused = decide(meet, protest(event, "Heron", "final 1"), "upheld", orders=added)
    assert "no place to add" in a_problem(refused, 409, "conflict")["detail"]
    orders = [{"order": "run again", "teams": teams}]
    out = decided(meet, protest(event, "Heron", "final 1"), "upheld", orders=orders)
    event.run(re_run_of(event), "42.40")
    undo = [{"order": "call off", "heat": event.heat(re_run_of(event))}]
    lodged = protest(event, "Heron", "final 1")
    shown = meet.referee.post(f"protests/{lodged['id']}/consequences", {"orders": undo}).json()
    moved = {move["name"]: move["sentence"] for move in shown["moves"]}
    assert moved == {
        "Heron": "Heron has place 5 overall instead of 3; 2 points instead of 4.",
        "Gull": "Gull has place 3 overall instead of 4; 4 points instead of 3.",
        "Curlew": "Curlew has place 4 overall instead of 5; 3 points instead of 2.",
    }
    assert out["decision"]["ordered"][0].startswith("Heron runs again")
    after = by_name(event.public("final 1"))
    assert (after["Heron"]["overall"], after["Heron"]["points"]) == (3, "4")
    scores = meet.service.http.get(f"/api/meets/{meet.id}/scores").json()["scores"]
    parts = [part for one in scores for part in one["made_of"] if part["event_name"] == event.name]
    assert {part["name"]: part["overall"] for part in parts}["Heron"] == 3
