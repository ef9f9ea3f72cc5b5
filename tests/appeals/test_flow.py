"""From a disputed ruling to a final result, over HTTP on both engines."""

from __future__ import annotations

from datetime import timedelta

from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
    set_aside,
)
from tests.builders import MeetAtHand, a_problem


def annotation(meet: MeetAtHand, lane: int = 4) -> str:
    lines = meet.desk.get(f"heats/{meet.heat()}/result").json()["lines"]
    return str(next(line["annotation"] for line in lines if line["lane"] == lane))


def standing(meet: MeetAtHand) -> dict[str, object]:
    page = meet.desk.get("announcements").json()["announcements"]
    return next(line for line in page if line["heat"] == meet.heat() and line["is_latest"])


def test_a_protest_says_at_once_whether_it_is_in_time_and_by_how_much(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    assert protest["timeliness"]["in_time"] is True
    # World Athletics TR8.2: thirty minutes from the announcement.
    assert 29 * 60 < protest["timeliness"]["margin_seconds"] <= 30 * 60
    assert protest["timeliness"]["words"].startswith("in time by 29 min")
    assert protest["marks"] == []
    assert protest["took_part"] is True
    assert protest["number"] == 1


def test_a_protest_upheld_gives_the_team_its_place_back_and_opens_an_appeal_with_the_amended_result(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    assert annotation(meet).startswith("DQ")
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    assert out["state"] == "upheld"
    assert annotation(meet) == ""
    assert standing(meet)["holds"] is False
    amended = announced(meet)
    kinds = [(window["remedy"], window["rule"]) for window in amended["windows"]]
    # World Athletics TR8.7 (a): from the announcement of the amended result.
    assert ("appeal", "TR8.7.1") in kinds
    assert amended["changes"][0] == "Plover 1, lane 4: place 4, 42.40; before: DQ TR24.7."


def test_a_rejected_protest_opens_the_appeal_with_the_advice_and_its_time(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest)
    assert any("to be told" in word for word in standing(meet)["pending"])
    told = meet.desk.put(f"protests/{protest['id']}/advice", {})
    assert told.status_code == 200, told.text
    windows = meet.desk.get("windows.json").json()["windows"]
    (appeal_window,) = [one for one in windows if one["remedy"] == "appeal"]
    assert appeal_window["opened_by"] == "advice on protest 1"
    assert appeal_window["rule"] == "TR8.7.2"
    assert appeal_window["minutes"] == 30


def test_an_appeal_upheld_changes_the_result_and_the_announcement_says_that_it_is_final(
    meet: MeetAtHand,
) -> None:
    out = an_upheld_appeal(meet)
    assert out["state"] == "upheld"
    assert out["deposit"]["outcome"] == "returned"
    assert annotation(meet) == ""
    amended = announced(meet)
    assert amended["windows"] == []
    assert "TR8.11" in amended["no_windows_because"]


def test_a_result_turns_final_by_itself_when_all_windows_have_lapsed_and_nothing_is_pending(
    meet: MeetAtHand,
) -> None:
    a_rejected_protest(meet)
    assert standing(meet)["final_since"] is None
    assert standing(meet)["pending"]
    meet.service.clock.move(timedelta(minutes=31))
    line = standing(meet)
    assert line["pending"] == []
    assert line["final_since"] is not None


def test_a_protest_about_a_final_result_makes_it_open_again(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    meet.service.clock.move(timedelta(minutes=31))
    assert standing(meet)["final_since"] is not None
    late = lodge(meet, a_protest(meet, ruling))
    assert late["marks"] == ["late"]
    assert late["timeliness"]["words"].startswith("LATE by")
    assert standing(meet)["pending"] == ["Protest 1 awaits the referee."]


def test_an_appeal_rejected_forfeits_the_deposit_and_leaves_the_decision(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    assert lodged["state"] == "admitted"
    names = a_panel(meet, lodged)
    for name, vote in zip(names, ("upheld", "rejected", "rejected"), strict=True):
        assert cast(meet, lodged, name, vote).status_code == 201
    wrong = jury_decides(meet, lodged, names[0], "upheld", orders=set_aside(protest["ruled"]))
    assert "1 for and 2 against" in a_problem(wrong, 409, "conflict")["detail"]
    answer = jury_decides(meet, lodged, names[0], "rejected")
    assert answer.status_code == 201, answer.text
    # World Athletics TR8.7: forfeited where the appeal fails (from memory).
    assert answer.json()["deposit"]["outcome"] == "forfeited"
    assert annotation(meet).startswith("DQ")


def test_the_dossier_holds_everything_about_the_appeal(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    found = meet["jury"].get(f"appeals/{lodged['id']}/dossier")
    assert found.status_code == 200, found.text
    told = found.json()
    assert [case["id"] for case in told["cases"]] == [protest["ruled"]["case"]]
    assert told["cases"][0]["reports"][0]["finding"]["outcome"] == "infringement"
    assert [ruling["id"] for ruling in told["rulings"]] == [protest["ruled"]["id"]]
    assert [one["instance"] for one in told["decisions"]] == ["referee"]
    assert len(told["announcements"]) == 1
    assert {window["remedy"] for window in told["windows"]} == {"protest", "appeal"}
    moved = {move["name"]: move["sentence"] for move in told["if_granted"]["moves"]}
    assert moved["Plover 1"] == "Plover 1 is no longer disqualified and takes place 4."
    assert told["result_now"]["lines"]


def test_the_docket_says_which_protests_await_the_referee(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    assert meet.referee.get("docket").json()["protests"] == []
    protest = lodge(meet, a_protest(meet, ruling))
    (line,) = meet.referee.get("docket").json()["protests"]
    assert (line["protest"], line["number"], line["about"]) == (protest["id"], 1, "ruling")
    decided(meet, protest)
    assert meet.referee.get("docket").json()["protests"] == []


def test_the_amended_announcement_says_what_changed_and_why(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    amended = announced(meet)
    (why,) = amended["because"]
    assert why.startswith(f"Protest 1 of {protest['team_name']} was upheld by the referee at ")
    assert why.endswith(f"The disqualification of {protest['team_name']} (DQ TR24.7) is set aside.")
    assert amended["changes"]
    text = meet.desk.get(f"announcements/{amended['id']}.txt").text
    aloud = why.replace(" (DQ TR24.7)", " by rule TR24.7")
    assert text.index("Amended result") < text.index(aloud) < text.index("Changed: ")
    assert announced(meet, remark="Read out again.")["because"] == []
