"""What a DQ or an L is for stands beside it, in words, on every form of an announcement.

A team's first lane infringement is noted as L, the second disqualifies, over all rounds: World
Athletics since 1 November 2021 (federation notice of 31 October 2023). Reading it aloud is common
practice.
"""

from __future__ import annotations

import pytest

from tests.builders import Json, MeetAtHand
from tests.forms.pdf_reading import read_text
from tests.results.test_printed import DESPITE, rows_of, shown
from tests.rulings.test_lane_infringements import ONE_STEP, ruled, with_a_final

BEYOND = "Pass completed beyond the take-over zone"
OWN_OBSERVATION = {"by": "second", "post": None}


@pytest.fixture
def rounds(meet: MeetAtHand) -> MeetAtHand:
    return with_a_final(meet)


def reason_of(meet: MeetAtHand, heat: int = 0, lane: int = 4) -> str:
    """What the result of a heat says about one lane; without a list, all finished."""
    meet.annotations(heat)
    lines = meet.desk.get(f"heats/{meet.heat(heat)}/result").json()["lines"]
    return str(next(line["reason"] for line in lines if line["lane"] == lane))


def announced(meet: MeetAtHand, heat: int = 0) -> Json:
    answer = meet.announce(heat, despite=DESPITE)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def aloud(meet: MeetAtHand, told: Json) -> list[str]:
    return shown(meet, told, "txt").decode().splitlines()


def sheet(meet: MeetAtHand, told: Json) -> str:
    return " ".join(read_text(shown(meet, told, "pdf")).split())


@pytest.mark.parametrize(
    ("reports", "reason"),
    [
        ([{}, OWN_OBSERVATION], f"{BEYOND}, take-over 1"),
        ([OWN_OBSERVATION, {}], f"{BEYOND}, take-over 1"),
        ([OWN_OBSERVATION], BEYOND),
        ([OWN_OBSERVATION | {"take_over": 3}, {}], f"{BEYOND}, take-overs 1 and 3"),
    ],
)
def test_two_rulings_on_the_same_infringement_are_explained_once(
    meet: MeetAtHand, reports: list[Json], reason: str
) -> None:
    for report in reports:
        case = meet.report(**report)["case"]
        meet.rule(case, infringement="pass_completed_beyond_zone")
    assert meet.annotations() == {4: "DQ TR24.7"}
    assert reason_of(meet) == reason


@pytest.mark.parametrize(
    ("other", "gone", "reason"),
    [
        ({"take_over": 1}, False, f"{BEYOND}, take-over 1"),
        ({"take_over": 3}, False, BEYOND),
        ({"take_over": 3}, True, f"{BEYOND}, take-over 1"),
        ({"take_over": 3, "observation": {"seen": "help_given"}}, False, f"{BEYOND}, take-over 1"),
    ],
    ids=["the same", "two of them", "one was withdrawn", "one is about something else"],
)
def test_a_disqualification_names_its_take_over_where_the_reports_of_it_name_one(
    meet: MeetAtHand, other: Json, gone: bool, reason: str
) -> None:
    report = meet.report(**OWN_OBSERVATION | other)
    if gone:
        why = {"reason": "It was the other zone."}
        address = f"reports/{report['id']}/withdraw"
        assert meet["second"].post(address, why, etag='"v1"').status_code == 200
    case = meet.report()["case"]
    assert meet.rule(case, infringement="pass_completed_beyond_zone").status_code == 201
    assert reason_of(meet) == reason


def test_two_infringements_are_read_aloud_as_one_sentence(meet: MeetAtHand) -> None:
    meet.rule(meet.report()["case"])
    meet.rule(meet.report(by="second")["case"], infringement="help_given")
    assert reason_of(meet) == f"{BEYOND}, take-over 1; runner pushed or helped"
    words = "pass completed beyond the take-over zone, take-over 1; runner pushed or helped."
    told = announced(meet)
    spoken = next(line for line in aloud(meet, told) if line.startswith("Disqualified: "))
    assert spoken.endswith(f", by rule TR24.7, TR6.3: {words}")
    assert f"Lane 4, DQ TR24.7, TR6.3: {words}" in sheet(meet, told)


def test_the_second_lane_infringement_names_where_the_first_was_noted(rounds: MeetAtHand) -> None:
    ruled(rounds, heat=0, lane=4)
    ruled(rounds, heat=2, lane=5)
    reason = "Lane infringement, take-over 1, after one noted in heats, heat 1"
    assert reason_of(rounds, 2, 5) == reason
    told = announced(rounds, 2)
    assert next(line for line in told["lines"] if line["lane"] == 5)["reason"] == reason
    assert {row["lane"]: row["reason"] for row in rows_of(shown(rounds, told, "csv"))}["5"] == (
        reason
    )
    assert f"Lane 5, DQ TR17.2.1: l{reason[1:]}." in sheet(rounds, told)
    assert (
        f"Disqualified: {rounds.heats[2]['lanes'][4]['name']}, lane 5, by rule TR17.2.1: "
        f"l{reason[1:]}." in aloud(rounds, told)
    )


def test_a_second_in_the_same_heat_names_that_heat(rounds: MeetAtHand) -> None:
    ruled(rounds)
    rounds.rule(rounds.report(observation=ONE_STEP)["case"], separate=1)
    reason = "Lane infringement, take-over 1, after one noted in heats, heat 1"
    assert reason_of(rounds) == reason


def test_a_grave_one_names_no_earlier_note(rounds: MeetAtHand) -> None:
    ruled(rounds)
    ruled(rounds, heat=2, lane=5, observation=ONE_STEP | {"distance_gained": "yes"})
    assert reason_of(rounds, 2, 5) == "Lane infringement, take-over 1"


def test_a_note_is_explained_with_its_rule_also_where_the_team_did_not_finish(
    meet: MeetAtHand,
) -> None:
    for lane in (3, 4):
        ruled(meet, lane=lane)
    rows = [f"{lane},4{lane}.00" if lane != 4 else "4,DNF" for lane in range(1, 9)]
    meet.load_result(content="\n".join(["lane,time", *rows]))
    assert meet.annotations() == {3: "L", 4: "DNF L"}
    reason = "Lane infringement noted, TR17.2.1"
    told = announced(meet)
    reasons = {line["lane"]: line["reason"] for line in told["lines"] if line["reason"]}
    assert reasons == {3: reason, 4: reason}
    lines = aloud(meet, told)
    assert f"Third, Heron 1, 43.00. {reason}." in lines
    assert f"Plover 1, lane 4, did not finish. {reason}." in lines
    in_csv = {row["lane"]: row["reason"] for row in rows_of(shown(meet, told, "csv"))}
    assert in_csv == {str(lane): reasons.get(lane, "") for lane in range(1, 9)}
    assert "Lane 4, DNF L: lane infringement noted, TR17.2.1." in sheet(meet, told)
