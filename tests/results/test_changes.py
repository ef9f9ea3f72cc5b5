"""What changed between two announcements: told team by team; nothing exactly where both agree."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from app.results.changes import Changes, changes
from app.results.wire import ResultLineOut
from app.rules.placing import FinishStatus
from tests.builders import MeetAtHand

PASS = "Pass completed beyond the take-over zone, take-over 1"


def a_line(team: str, **changes: object) -> ResultLineOut:
    line = {
        "place": 1,
        "lane": 4,
        "bib": "",
        "team": team,
        "team_name": team,
        "affiliation": "",
        "status": FinishStatus.FINISHED,
        "thousandths": 42_350,
        "time": "42.35",
        "annotation": "",
        "reason": "",
    }
    return ResultLineOut.model_validate(line | changes)


def disqualified(team: str, reason: str = PASS, **changes: object) -> ResultLineOut:
    told = {"place": None, "time": "", "annotation": "DQ TR24.7", "reason": reason}
    return a_line(team, **told, **changes)


def test_the_same_lines_change_nothing() -> None:
    lines = [a_line("Tern"), disqualified("Gull", lane=5)]
    assert changes(lines, lines) == Changes([], 0)
    renamed = [a_line("Tern", team_name="Tern Harbour"), lines[1]]
    assert changes(lines, renamed).sentences == []


def test_what_a_disqualified_team_did_besides_changes_nothing() -> None:
    did_not_finish = disqualified("Tern", status=FinishStatus.DID_NOT_FINISH)
    assert changes([disqualified("Tern")], [did_not_finish]).sentences == []


def test_who_was_disqualified_is_told_before_those_who_moved_up() -> None:
    before = [a_line("Tern"), a_line("Gull", lane=5, place=2, time="42.60")]
    now = [a_line("Gull", lane=5, place=1, time="42.60"), disqualified("Tern")]
    assert changes(before, now) == Changes(
        [
            "Tern, lane 4: DQ TR24.7; before: place 1, 42.35.",
            "Gull, lane 5: place 1, 42.60; before: place 2, 42.60.",
        ],
        1,
    )


def test_teams_whose_own_race_changed_are_told_disqualified_first_then_by_place() -> None:
    lanes = {"Tern": 1, "Gull": 2, "Heron": 3, "Plover": 4}
    before = [
        a_line(team, lane=lane, place=lane, time=f"42.{lane}0") for team, lane in lanes.items()
    ]
    now = [
        a_line("Tern", lane=1, place=3, time="42.90"),
        a_line("Gull", lane=2, place=2, time="42.80"),
        a_line("Heron", lane=3, place=1, time="42.70"),
        disqualified("Plover", lane=4),
    ]
    told = [sentence.split(",")[0] for sentence in changes(before, now).sentences]
    assert told == ["Plover", "Heron", "Gull", "Tern"]


@dataclass(frozen=True)
class Case:
    before: list[ResultLineOut]
    now: list[ResultLineOut]
    told: list[str]


@pytest.mark.parametrize(
    "case",
    [
        Case(
            [a_line("Tern")],
            [a_line("Tern", lane=5)],
            ["Tern, lane 5: place 1, 42.35; before: lane 4, place 1, 42.35."],
        ),
        Case(
            [a_line("Tern")],
            [],
            ["Tern, lane 4: not in this heat; before: place 1, 42.35."],
        ),
        Case(
            [],
            [a_line("Tern")],
            ["Tern, lane 4: place 1, 42.35; before: not in this heat."],
        ),
        Case(
            [disqualified("Tern")],
            [disqualified("Tern", "Help given by pushing")],
            [
                "Tern, lane 4: DQ TR24.7 (help given by pushing); before: DQ TR24.7 (pass "
                "completed beyond the take-over zone, take-over 1)."
            ],
        ),
    ],
    ids=["another lane", "gone", "new", "another reason under the same rule"],
)
def test_every_difference_that_decides_something_is_told(case: Case) -> None:
    assert changes(case.before, case.now).sentences == case.told


def test_a_heat_run_again_without_a_team_says_so(meet: MeetAtHand) -> None:
    run(meet, teams=8)
    meet.announce()
    meet.hold_back()
    heat = meet.heats[0]
    rows = [
        f"{heat['event_name']},{heat['round']},{heat['number']},{lane['lane']},{lane['name']}"
        for lane in heat["lanes"]
        if lane["lane"] != 8
    ]
    listed = "\n".join(["event,round,heat,lane,team", *rows])
    assert meet.organiser.post("start-lists", content=listed).status_code == 200
    run(meet, teams=7)
    (change,) = meet.announce().json()["changes"]
    assert change == "Petrel 1, lane 8: not in this heat; before: place 8, 42.80."


def run(meet: MeetAtHand, *, teams: int) -> None:
    """The heat is run and judged, and its times are loaded."""
    meet.start()
    for umpire in ("umpire", "second"):
        meet.call("white", by=umpire)
    address = f"heats/{meet.heat()}/result"
    times = [f"{lane},{42 + lane / 10:.2f}" for lane in range(1, teams + 1)]
    etag = meet.desk.get(address).headers.get("ETag")
    loaded = meet.desk.put(address, content="\n".join(["lane,time", *times]), etag=etag)
    assert loaded.status_code in {200, 201}, loaded.text
