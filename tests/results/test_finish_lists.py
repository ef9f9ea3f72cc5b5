"""Finish lists over HTTP: every team accounted for, times as given, ties kept, places moved up.

DNS, DNF and DQ with its rule: World Athletics CR25.4 (federation notice of 31 October 2023). A tie
stays a tie unless the photo finish parts it (IAAF Rule 167.1, 2010-11). Those behind a disqualified
team move up (Rio 2016, men's 4x100 m final, press accounts).
"""

from __future__ import annotations

import httpx
import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_problem, a_start_list, all_heats

TIMES = {lane: f"42.{lane}0" for lane in range(1, 9)}


def a_list(**changes: str) -> str:
    """A finish list in lane order; `lane4="DNF"` changes one time, an empty one leaves it out."""
    times = TIMES | {int(lane.removeprefix("lane")): time for lane, time in changes.items()}
    rows = [f"{lane},{time}" for lane, time in sorted(times.items()) if time]
    return "\n".join(["lane,time", *rows])


def load(meet: MeetAtHand, content: str | bytes, **more: str) -> httpx.Response:
    return meet.desk.put(
        f"heats/{meet.heat()}/result",
        content=content,
        etag=more.pop("etag", None),
        params=more or None,
    )


def lines(answer: httpx.Response) -> list[Json]:
    assert answer.is_success, answer.text
    return list(answer.json()["lines"])


def placed(answer: httpx.Response) -> list[tuple[int, int | None, str]]:
    """Lane, place and annotation, in the order of the result."""
    return [(line["lane"], line["place"], line["annotation"]) for line in lines(answer)]


def refused(answer: httpx.Response) -> list[tuple[int | None, str]]:
    told = a_problem(answer, 422, "file-refused")
    return [(found["row"], found["problem"]) for found in told["problems"]]


def test_teams_stand_in_the_order_of_their_times(meet: MeetAtHand) -> None:
    answer = load(meet, a_list(lane1="43.00", lane8="41.99"))
    assert [lane for lane, _place, _note in placed(answer)] == [8, 2, 3, 4, 5, 6, 7, 1]
    assert [place for _lane, place, _note in placed(answer)] == list(range(1, 9))


@pytest.mark.parametrize(
    ("time", "shown", "thousandths"),
    [
        ("42.35", "42.35", 42_350),
        ("42.356", "42.36", 42_356),
        ("42.351", "42.36", 42_351),
        ("42.350", "42.35", 42_350),
        ("42,35", "42.35", 42_350),
        ("42.3", "42.30", 42_300),
        ("3:02.12", "3:02.12", 182_120),
        ("1:02:03.45", "1:02:03.45", 3_723_450),
    ],
)
def test_times_are_kept_as_given_and_shown_to_the_next_longer_hundredth(
    meet: MeetAtHand, time: str, shown: str, thousandths: int
) -> None:
    # World Athletics TR19, from memory: a time is recorded to the next longer 0.01 second.
    sent = a_list().replace("lane,time", "lane;time").replace(",", ";")
    answer = load(meet, sent.replace("5;42.50", f"5;{time}"))
    line = next(line for line in lines(answer) if line["lane"] == 5)
    assert (line["time"], line["thousandths"]) == (shown, thousandths)


def test_teams_with_one_time_share_their_place(meet: MeetAtHand) -> None:
    answer = load(meet, a_list(lane2="42.20", lane3="42.20"))
    assert [place for _lane, place, _note in placed(answer)] == [1, 2, 2, 4, 5, 6, 7, 8]


def test_thousandths_part_a_tie(meet: MeetAtHand) -> None:
    answer = load(meet, a_list(lane2="42.203", lane3="42.202"))
    assert [lane for lane, _place, _note in placed(answer)][1:3] == [3, 2]
    assert [place for _lane, place, _note in placed(answer)] == list(range(1, 9))


def test_the_photo_finish_parts_times_given_unlike(meet: MeetAtHand) -> None:
    # 42.345 rounds up to 42.35 (World Athletics TR19, from memory): the places decide.
    rows = [f"{lane},43.{lane}0,{lane}" for lane in range(3, 9)]
    content = "\n".join(["lane,time,place", "1,42.35,1", "2,42.345,2", *rows])
    answer = load(meet, content)
    assert placed(answer)[:2] == [(1, 1, ""), (2, 2, "")]


def test_who_did_not_start_or_finish_takes_no_place(meet: MeetAtHand) -> None:
    answer = load(meet, a_list(lane1="DNS", lane2="dnf"))
    assert placed(answer)[0] == (3, 1, "")
    assert placed(answer)[-2:] == [(2, None, "DNF"), (1, None, "DNS")]


def test_those_behind_a_disqualified_team_move_up(meet: MeetAtHand) -> None:
    meet.rule(meet.report(lane=4)["case"])
    answer = load(meet, a_list())
    assert placed(answer)[3] == (5, 4, "")
    assert placed(answer)[-1] == (4, None, "DQ TR24.7")
    last = lines(answer)[-1]
    assert (last["time"], last["thousandths"]) == ("", 42_400)
    assert last["reason"] == "Pass completed beyond the take-over zone, take-over 1"


def test_a_disqualification_follows_its_team_into_another_lane(meet: MeetAtHand) -> None:
    # The call came before the heat was started on the screen; then the lanes were drawn anew.
    meet.rule(meet.report(lane=4)["case"])
    event = meet.heats[0]["event_name"]
    swapped = [
        row.replace("heats,1,4,", "heats,1,x,")
        .replace("heats,1,5,", "heats,1,4,")
        .replace("heats,1,x,", "heats,1,5,")
        for row in a_start_list(1, event).splitlines()
    ]
    assert meet.organiser.post("start-lists", content="\n".join(swapped)).status_code == 200
    line = next(line for line in lines(load(meet, a_list())) if line["annotation"])
    assert (line["team_name"], line["lane"]) == ("Plover 1", 5)


def test_every_team_of_the_start_list_is_accounted_for(meet: MeetAtHand) -> None:
    before = meet.head()
    (found,) = refused(load(meet, a_list(lane5="")))
    assert found[0] is None
    assert "Lane 5 (Curlew 1)" in found[1]
    assert meet.head() == before
    assert meet.desk.get(f"heats/{meet.heat()}/result").status_code == 404


def test_no_row_is_for_a_lane_without_a_team(meet: MeetAtHand) -> None:
    ((row, why),) = refused(load(meet, a_list(lane9="43.10")))
    assert row == 10
    assert "Lane 9" in why


@pytest.mark.parametrize(
    ("changes", "row"),
    [
        ({"lane4": "DQ"}, 5),
        ({"lane4": "fast"}, 5),
        ({"lane4": "-42.40"}, 5),
        ({"lane4": "0.00"}, 5),
        ({"lane4": "42"}, 5),
        ({"lane4": "NaN"}, 5),
        ({"lane4": "42.4000"}, 5),
        ({"lane0": "42.40"}, 2),
        ({"lane11": "42.40"}, 10),
    ],
)
def test_a_row_that_cannot_be_is_named(meet: MeetAtHand, changes: dict[str, str], row: int) -> None:
    before = meet.head()
    assert row in [found for found, _why in refused(load(meet, a_list(**changes)))]
    assert meet.head() == before


@pytest.mark.parametrize("content", [b"", b"\x00\xff", b"lane\n1\n", b"time\n42.10\n"])
def test_a_file_that_is_no_finish_list_is_refused(meet: MeetAtHand, content: bytes) -> None:
    assert refused(load(meet, content))


def test_own_header_names_are_read(meet: MeetAtHand) -> None:
    content = a_list().replace("lane,time", "Bahn,Zeit")
    assert refused(load(meet, content))
    answer = load(meet, content, columns='{"Bahn":"lane","Zeit":"time"}')
    assert answer.status_code == 201


def test_the_same_list_again_changes_nothing(meet: MeetAtHand) -> None:
    first = load(meet, a_list())
    before = meet.head()
    again = load(meet, a_list())
    assert (first.status_code, again.status_code) == (201, 200)
    assert meet.head() == before


def test_a_list_is_replaced_only_as_it_was_seen(meet: MeetAtHand) -> None:
    seen = load(meet, a_list()).headers["ETag"]
    before = meet.head()
    changed = a_list(lane1="41.00")
    a_problem(load(meet, changed), 428, "precondition-missing")
    a_problem(load(meet, changed, etag='"v9"'), 412, "stale")
    assert meet.head() == before
    assert load(meet, changed, etag=seen).status_code == 200
    a_problem(load(meet, a_list(), etag=seen), 412, "stale")


def test_a_ruling_moves_the_version_of_the_result(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    before = load(meet, a_list()).headers["ETag"]
    meet.rule(case)
    after = meet.desk.get(f"heats/{meet.heat()}/result").headers["ETag"]
    assert before != after


def test_a_heat_without_a_list_has_no_result(meet: MeetAtHand) -> None:
    a_problem(meet.desk.get(f"heats/{meet.heat()}/result"), 404, "not-found")
    missing = meet.desk.put(f"heats/{new_id()}/result", content=a_list())
    a_problem(missing, 404, "not-found")


def test_the_lists_of_other_heats_are_left_alone(meet: MeetAtHand) -> None:
    load(meet, a_list())
    event = meet.heats[0]["event_name"]
    others = [heat for heat in all_heats(meet) if heat["event_name"] == event][1:]
    for heat in others:
        assert meet.desk.get(f"heats/{heat['id']}/result").status_code == 404


@pytest.mark.parametrize(
    ("column", "right", "wrong"),
    [
        ("event", "women 4x100 M", "Men 4x100 m"),
        ("round", "Heats", "final"),
        ("heat", "1", "2"),
        ("team", "plover  1", "Heron 1"),
    ],
)
def test_a_list_of_another_heat_or_with_teams_in_other_lanes_is_refused(
    meet: MeetAtHand, column: str, right: str, wrong: str
) -> None:
    name = meet.heats[0]["event_name"]
    right = right.replace("women 4x100 M", name.upper())
    times = {lane: f"{lane},4{lane}.00," for lane in range(1, 9)}

    def a_list(said: str) -> str:
        rows = [times[lane] + (said if lane == 4 else "") for lane in times]
        return "\n".join([f"lane,time,{column}", *rows])

    before = meet.head()
    told = a_problem(meet.load_result(content=a_list(wrong)), 422, "file-refused")
    assert (told["problems"][0]["row"], told["problems"][0]["column"]) == (5, column)
    assert meet.head() == before
    assert meet.load_result(content=a_list(right)).status_code == 201


def test_a_list_that_is_only_looked_at_shows_its_result_and_stores_nothing(
    meet: MeetAtHand,
) -> None:
    before = meet.head()
    looked = load(meet, a_list(lane1="43.00", lane8="41.99"), check="true")
    assert looked.status_code == 200
    assert "etag" not in looked.headers
    assert placed(looked)[0] == (8, 1, "")
    assert meet.head() == before
    a_problem(meet.desk.get(f"heats/{meet.heat()}/result"), 404, "not-found")


def test_looking_at_a_list_is_refused_as_loading_it_is(meet: MeetAtHand) -> None:
    assert refused(load(meet, a_list(lane1="soon"), check="true")) == refused(
        load(meet, a_list(lane1="soon"))
    )
    assert load(meet, a_list()).status_code == 201
    etag = meet.desk.get(f"heats/{meet.heat()}/result").headers["ETag"]
    other = a_list(lane1="41.00")
    a_problem(load(meet, other, check="true"), 428, "precondition-missing")
    a_problem(load(meet, other, check="true", etag='"v7"'), 412, "stale")
    assert placed(load(meet, other, check="true", etag=etag))[0][0] == 1
    assert placed(load(meet, a_list()))[0][0] == 1, "the list that was loaded still stands"
    assert placed(meet.desk.get(f"heats/{meet.heat()}/result"))[1][0] == 2
