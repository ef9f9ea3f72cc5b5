"""Rulings whose ground has moved come back to the docket, so that nobody has to look for them."""

from __future__ import annotations

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet
from tests.rulings.test_lane_infringements import ONE_STEP, ruled, with_a_final
from tests.running import Service


def a_meet_of_rounds(service: Service) -> MeetAtHand:
    return with_a_final(a_meet(service, umpires=("second",)))


def to_reconsider(meet: MeetAtHand, **query: str) -> list[Json]:
    answer = meet.referee.get("docket", params=query or None)
    assert answer.status_code == 200, answer.text
    return list(answer.json()["to_reconsider"])


def whys(meet: MeetAtHand) -> dict[str, str]:
    return {one["ruling"]: one["why"] for one in to_reconsider(meet)}


def test_a_disqualification_whose_note_was_taken_back_is_on_the_docket(service: Service) -> None:
    rounds = a_meet_of_rounds(service)
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    assert to_reconsider(rounds) == []
    rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    assert to_reconsider(rounds) == [
        {
            "ruling": second["id"],
            "case": second["case"],
            "case_number": second["case_number"],
            "heat": rounds.heat(2),
            "event_name": "Women 4x100 m",
            "round": "final",
            "heat_number": 1,
            "lane": 5,
            "team_name": second["team_name"],
            "effect": "DQ TR17.2.1",
            "why": "A lane infringement that it counted no longer stands.",
        }
    ]
    rounds.rule(second["case"], reconsiders=second["id"])
    assert to_reconsider(rounds) == []


def test_a_note_before_which_another_stands_now_is_on_the_docket(service: Service) -> None:
    rounds = a_meet_of_rounds(service)
    final = ruled(rounds, heat=2, lane=5)
    ruled(rounds, heat=0, lane=4)
    assert whys(rounds) == {
        final["id"]: "A lane infringement stands before it that it did not count."
    }


def test_rulings_of_a_heat_that_is_run_again_are_on_the_docket(service: Service) -> None:
    meet = a_meet(service)
    meet.start()
    first = meet.rule(meet.report()["case"]).json()
    noted = ruled(meet, lane=3)
    meet.rule(meet.report(lane=5, by="second")["case"], verdict="dismissed")
    assert to_reconsider(meet) == []
    meet.hold_back()
    held_back = "Its heat was held back to run again."
    assert whys(meet) == {first["id"]: held_back, noted["id"]: held_back}
    meet.start()
    anew = "Its heat was started anew since."
    assert list(whys(meet).items()) == [(first["id"], anew), (noted["id"], anew)]
    meet.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    assert whys(meet) == {noted["id"]: anew}


def test_a_ruling_on_a_flag_that_was_taken_back_is_on_the_docket(service: Service) -> None:
    meet = a_meet(service)
    meet.start()
    flags = {lane: meet.call("yellow", lane=lane).json() for lane in (3, 4)}
    seen = {"infringement": "help_given"}
    made = {lane: meet.rule(flag["case"], **seen).json() for lane, flag in flags.items()}
    meet.report(lane=4, by="second")
    assert to_reconsider(meet) == []
    for flag in flags.values():
        taken_back = meet.umpire.post(
            f"reports/{flag['report']}/withdraw", {"reason": "It was lane 5."}, etag='"v1"'
        )
        assert taken_back.status_code == 200, taken_back.text
    # Lane 4 was reported once more, by somebody else.
    assert whys(meet) == {made[3]["id"]: "No report of this team in this heat stands any more."}
    assert meet.referee.get(f"rulings/{made[3]['id']}").json()["is_shaken"] is True
    assert meet.referee.get(f"rulings/{made[4]['id']}").json()["is_shaken"] is False


def test_a_disqualification_that_rests_on_a_note_to_look_at_again_is_on_the_docket(
    service: Service,
) -> None:
    rounds = a_meet_of_rounds(service)
    rounds.start()
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    grave = ruled(rounds, heat=2, lane=5, observation=ONE_STEP | {"distance_gained": "yes"})
    assert (second["rests_on"], grave["rests_on"], whys(rounds)) == ([first["id"]], [], {})
    rounds.hold_back()
    gone = "A lane infringement that it counted no longer stands."
    assert whys(rounds) == {
        first["id"]: "Its heat was held back to run again.",
        second["id"]: gone,
        grave["id"]: gone,
    }
    rounds.start()
    rounds.rule(first["case"], reconsiders=first["id"], earlier_run=True)
    assert whys(rounds) == {}  # noted knowing of the new start, it counts again


def test_a_note_that_was_taken_back_is_missed_though_another_counts_instead(
    service: Service,
) -> None:
    rounds = a_meet_of_rounds(service)
    rounds.start()
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    other = ruled(rounds, by="second")
    assert (other["effect"], second["rests_on"]) == ("L", [first["id"]])
    assert whys(rounds) == {
        second["id"]: "A note L that it rests on was taken back or is shaken itself."
    }


def test_a_ruling_from_before_any_start_is_not_on_the_docket(service: Service) -> None:
    meet = a_meet(service)
    ruling = meet.rule(meet.report()["case"]).json()
    meet.start()
    assert (ruling["is_shaken"], to_reconsider(meet)) == (False, [])


def test_the_docket_names_what_each_ruling_says_of_itself(service: Service) -> None:
    rounds = a_meet_of_rounds(service)
    rounds.start()
    first, other = ruled(rounds), ruled(rounds, lane=3)
    final = [ruled(rounds, heat=2, lane=lane) for lane in (5, 7)]
    rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    rounds.hold_back()
    made = [other, *final]
    shaken = {
        one["id"] for one in made if rounds.referee.get(f"rulings/{one['id']}").json()["is_shaken"]
    }
    assert shaken == set(whys(rounds)) == {other["id"], final[0]["id"]}


def test_rulings_to_look_at_again_stand_on_the_first_page_only(service: Service) -> None:
    meet = a_meet(service)
    meet.start()
    meet.rule(meet.report()["case"])
    meet.hold_back()
    place = f"2026-06-13T12:00:00Z~{new_id()}"
    assert (len(to_reconsider(meet)), to_reconsider(meet, after=place)) == (1, [])


def test_no_other_meet_is_told(service: Service) -> None:
    meet, other = a_meet(service), a_meet(service)
    meet.start()
    meet.rule(meet.report()["case"])
    meet.hold_back()
    assert (len(to_reconsider(meet)), to_reconsider(other)) == (1, [])


def test_the_desk_reads_why_a_ruling_is_to_be_reconsidered(service: Service) -> None:
    rounds = a_meet_of_rounds(service)
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    rounds.load_result(2)
    told = rounds.desk.get(f"heats/{rounds.heat(2)}/result").json()["in_the_way"]
    assert told[-1] == (
        f"Ruling to reconsider: lane 5, {second['team_name']}. "
        "A lane infringement that it counted no longer stands."
    )


def test_what_the_desk_would_read_alike_of_two_rulings_it_reads_once(service: Service) -> None:
    meet = a_meet(service)
    meet.start()
    meet.load_result()
    for _ in range(2):
        assert meet.rule(meet.report(lane=6)["case"]).status_code == 201
    meet.hold_back()
    told = meet.desk.get(f"heats/{meet.heat()}/result").json()
    assert len(told["blockers"]["shaken_rulings"]) == 2
    words = [one for one in told["in_the_way"] if one.startswith("Ruling to reconsider")]
    assert len(words) == 1
