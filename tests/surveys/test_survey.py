"""The zone survey over HTTP: what was measured is stored as it was seen, judged by the meet's
tolerance, and flagged on the docket of every heat that uses a zone with a wrong line.

Metres are those of the standard track (handbook of the trade, section 8), within 0.005 m of the
tables in `tests/rules/published/`.
"""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import pytest
from openpyxl import Workbook

from app.ids import new_id
from tests.builders import (
    Json,
    MeetAtHand,
    a_bare_meet,
    a_meet,
    a_meet_document,
    a_problem,
    a_start_list,
    founder,
)
from tests.forms.pdf_reading import count_pages, read_text
from tests.running import Service

PAGE = {"Accept": "text/html"}
ELSEWHERE = "Lines in the wrong place elsewhere in this heat"
BEND_2_END = "end of the second bend"
OVAL = {"radius_m": 17.2, "straight_m": 45.022, "lane_width_m": 1.0, "lanes": 6}
"""Two half circles and two straights that make 200 m, 0.30 m outside the kerb."""


def a_line(lane: int, line: str, metres: float, mark: str = BEND_2_END) -> Json:
    return {"lane": lane, "line": line, "mark": mark, "metres": metres}


def zone_of(meet: MeetAtHand, take_over: int = 3, relay: str = "4x100") -> Json:
    answer = meet.organiser.get(f"survey/zones/{relay}/{take_over}")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def target(zone: Json, lane: int, line: str) -> Json:
    return dict(next(one for one in zone["lines"] if (one["lane"], one["line"]) == (lane, line)))


def taped(zone: Json, lane: int, line: str, off: float = 0.0) -> Json:
    """A line measured from the mark that shows it best, painted off by so much on a straight."""
    tape = target(zone, lane, line)["tapes"][0]
    return {"lane": lane, "line": line, "mark": tape["mark"], "metres": tape["metres"] + off}


def measure(meet: MeetAtHand, *lines: Json, take_over: int = 3, relay: str = "4x100") -> Any:
    address = f"survey/zones/{relay}/{take_over}"
    seen = meet.organiser.get(address).headers.get("ETag")
    return meet.organiser.put(address, {"lines": list(lines)}, etag=seen)


def set_up_again(meet: MeetAtHand, **changes: Any) -> None:
    """Change the settings of the meet."""
    address = f"/api/meets/{meet.id}"
    seen = meet.organiser.get(address).headers["ETag"]
    document = {**a_meet_document(), "organiser": None, **changes}
    answer = meet.organiser.put(address, document, etag=seen)
    assert answer.status_code == 200, answer.text


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return a_meet(service, terms={"zone_tolerance_m": 0.02})


def test_every_zone_of_the_programme_is_told_line_by_line(meet: MeetAtHand) -> None:
    told = meet.umpire.get("survey").json()
    assert (told["tolerance_m"], told["tolerance_by"]) == (0.02, "meet")
    assert [(one["relay"], one["take_over"]) for one in told["zones"]] == [
        ("4x100", 1),
        ("4x100", 2),
        ("4x100", 3),
    ]
    start = target(told["zones"][0], 2, "start")
    # tests/rules/published/takeover-4x100.csv: bend1:87.04 in lane 2
    assert (start["section"], start["metres"]) == ("bend1", pytest.approx(87.04, abs=0.006))
    assert start["measured"] is start["off_m"] is start["verdict"] is None
    assert len(told["zones"][0]["lines"]) == 8 * 3


def test_what_was_measured_is_stored_once_and_replaced_only_as_it_was_seen(
    meet: MeetAtHand,
) -> None:
    address, line = "survey/zones/4x100/3", taped(zone_of(meet), 4, "end")
    before = meet.head()["size"]
    first = meet.organiser.put(address, {"lines": [line]})
    assert (first.status_code, first.headers["ETag"]) == (201, '"v1"')
    assert meet.organiser.put(address, {"lines": [line]}).status_code == 200
    assert meet.head()["size"] == before + 1
    other = {"lines": [{**line, "metres": line["metres"] + 0.001}]}
    a_problem(meet.organiser.put(address, other), 428, "precondition-missing")
    assert meet.organiser.put(address, other, etag='"v1"').headers["ETag"] == '"v2"'
    a_problem(meet.organiser.put(address, {"lines": [line]}, etag='"v1"'), 412, "stale")
    assert target(zone_of(meet), 4, "end")["measured"]["metres"] == pytest.approx(
        line["metres"] + 0.001
    )


def test_a_line_is_judged_by_the_tolerance_that_the_meet_has_now(meet: MeetAtHand) -> None:
    zone = zone_of(meet)
    # The bend ends after this line: less on the tape is farther on along the lane.
    assert measure(meet, taped(zone, 4, "end", -0.015)).status_code == 201
    found = target(zone_of(meet), 4, "end")
    assert (found["verdict"], zone_of(meet)["wrong_lanes"]) == ("right", [])
    assert found["off_m"] == pytest.approx(0.015, abs=0.001)
    set_up_again(meet, terms={"zone_tolerance_m": 0.01})
    found = zone_of(meet)
    assert (target(found, 4, "end")["verdict"], found["wrong_lanes"]) == ("wrong", [4])
    assert "lane 4: end 0.015 m too far on" in found["words"]
    set_up_again(meet, terms={})
    assert target(zone_of(meet), 4, "end")["verdict"] == "not judged"
    assert meet.organiser.get("survey").json()["tolerance_by"] is None


def test_a_wrong_line_is_flagged_on_the_docket_and_the_pages_of_every_heat_that_uses_it(
    meet: MeetAtHand,
) -> None:
    meet.start(0)
    case = meet.report()["case"]
    assert meet.referee.get("docket").json()["cases"][0]["zone_flags"] == []
    assert measure(meet, taped(zone_of(meet), 6, "end", -0.05)).status_code == 201
    (flag,) = meet.referee.get("docket").json()["cases"][0]["zone_flags"]
    where = "in lane 6: end 0.050 m too far on"
    assert flag == f"Take-over 3: by the survey, lines lie in the wrong place {where}."
    for page in (f"/meets/{meet.id}/head", f"/meets/{meet.id}/cases/{case}"):
        assert flag in meet.referee.get(page, headers=PAGE).text
    assert ELSEWHERE in meet.referee.get(f"/meets/{meet.id}/cases/{case}", headers=PAGE).text
    assert measure(meet, taped(zone_of(meet), 6, "end")).status_code == 200
    assert meet.referee.get("docket").json()["cases"][0]["zone_flags"] == []


def test_a_wrong_line_stands_at_the_case_of_its_lane_and_zone_and_folded_at_others(
    meet: MeetAtHand,
) -> None:
    """The cases are of lanes 4 and 6 at the first take-over, and the line of lane 4 there."""
    meet.start(0)
    cases = {lane: meet.report(lane=lane)["case"] for lane in (4, 6)}
    first = "survey/zones/4x100/1"
    zone = meet.organiser.get(first).json()
    assert meet.organiser.put(first, {"lines": [taped(zone, 4, "end", -0.05)]}).status_code == 201
    flag = "Take-over 1: by the survey, lines lie in the wrong place in lane 4"
    told = {
        lane: meet.referee.get(f"/meets/{meet.id}/cases/{case}", headers=PAGE).text
        for lane, case in cases.items()
    }
    assert all(flag in page for page in told.values())
    assert {lane: ELSEWHERE in page for lane, page in told.items()} == {4: False, 6: True}
    docket = meet.referee.get(f"/meets/{meet.id}/head", headers=PAGE).text
    assert docket.count(flag) == 3  # of the heat that is shown, and of its two cases
    assert docket.count(ELSEWHERE) == 1


def test_a_lap_that_is_none_is_told_beside_all_lines(service: Service) -> None:
    """By hand: 2 x 82.50 m + 2 pi (37.20 m + 0.30 m) = 400.62 m."""
    odd = a_meet(service, track={"radius_m": 37.2, "straight_m": 82.5})
    usual = a_meet(service)
    told, right = (one.organiser.get("survey").json() for one in (odd, usual))
    assert told["lap_m"] == pytest.approx(400.619, abs=0.001)
    assert "400.62 m, 0.62 m more than 400 m" in told["lap_note"]
    assert right["lap_note"] == ""
    page = odd.organiser.get(f"/meets/{odd.id}/organiser/survey", headers=PAGE).text
    assert "a lap in lane 1 is 400.62 m, and not 400 m" in page
    sheets = odd.organiser.get("survey-sheets.pdf").content
    assert "400.62 m, not 400 m: check them" in " ".join(read_text(sheets).split())


def test_a_wrong_line_of_a_lane_in_which_nobody_runs_is_no_flag_for_that_heat(
    service: Service,
) -> None:
    meet = a_meet(
        service, start_list=a_start_list(1, lanes=range(1, 6)), terms={"zone_tolerance_m": 0.02}
    )
    meet.start(0)
    meet.report()
    assert measure(meet, taped(zone_of(meet), 6, "end", -0.05)).status_code == 201
    assert zone_of(meet)["wrong_lanes"] == [6]
    assert meet.referee.get("docket").json()["cases"][0]["zone_flags"] == []


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ([a_line(9, "end", 5.6)], "lane 9 has no line"),
        ([a_line(4, "acceleration", 5.6)], "no line"),
        ([a_line(4, "end", 5.6), a_line(4, "end", 5.7)], "twice"),
        ([a_line(4, "end", 25.0)], "more than 15 m off"),
        ([a_line(4, "end", 140.0)], "more than 15 m off"),
        ([a_line(4, "end", 3.8, "same line one lane inside")], "lane 3, whose line was not"),
        ([a_line(4, "end", 30.0, "finish line")], "not to be measured from"),
        ([a_line(11, "end", 5.6)], "10"),
        ([a_line(4, "middle", 5.6)], "leg line"),
        ([a_line(4, "end", 151)], "lane 4, end: a tape shows -5 to 150 m"),
        ([a_line(4, "end", -5.1)], "lane 4, end: a tape shows -5 to 150 m"),
    ],
)
def test_what_cannot_have_been_measured_is_refused_and_nothing_is_stored(
    meet: MeetAtHand, lines: list[Json], says: str
) -> None:
    before = meet.head()
    told = a_problem(measure(meet, *lines), 422, "malformed")
    assert says in str(told), told
    assert meet.head() == before
    assert zone_of(meet)["version"] == 0


@pytest.mark.parametrize("relay", ["4x50", "medleys"])
def test_a_relay_that_is_none_is_refused(meet: MeetAtHand, relay: str) -> None:
    assert meet.organiser.get(f"survey/zones/{relay}/1").status_code == 422
    assert meet.organiser.get("survey/zones/4x100/4").status_code == 422


def the_list(meet: MeetAtHand) -> list[dict[str, str]]:
    text = meet.organiser.get("survey.csv").content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def filled(rows: list[dict[str, str]], off: dict[tuple[str, str], float]) -> list[dict[str, str]]:
    """The list with the third take-over measured, some lines taped otherwise."""
    return [
        {
            **row,
            "measured_m": f"{float(row['tape_m']) + off.get((row['lane'], row['line']), 0):.3f}",
        }
        if row["take_over"] == "3"
        else row
        for row in rows
    ]


def as_csv(rows: list[dict[str, str]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def as_xlsx(rows: list[dict[str, str]]) -> bytes:
    book, out = Workbook(), io.BytesIO()
    sheet = book.active
    assert sheet is not None
    sheet.append(list(rows[0]))
    for row in rows:
        sheet.append([float(v) if k.endswith("_m") and v else v for k, v in row.items()])
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize("write", [as_csv, as_xlsx])
def test_the_list_that_goes_out_comes_back_with_what_was_measured(
    meet: MeetAtHand, write: Any
) -> None:
    content = write(filled(the_list(meet), {("7", "start"): 0.031}))
    looked = meet.organiser.post("survey-list?check=true", content=content)
    assert looked.status_code == 200, looked.text
    told = looked.json()
    assert (told["stored"], told["zones"], told["lines"], told["problems"]) == (False, 1, 24, [])
    assert told["ignored_columns"] == []
    assert "lane 7: start 0.03" in told["wrong"][0]
    assert zone_of(meet)["version"] == 0
    assert meet.organiser.post("survey-list", content=content).json()["stored"]
    assert zone_of(meet)["wrong_lanes"] == [7]
    again = {(row["lane"], row["line"]): row for row in the_list(meet) if row["take_over"] == "3"}
    assert again["7", "start"]["verdict"] == "wrong"
    assert again["1", "end"]["off_m"] in {"0.0", "0.001", "-0.001"}


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("4x50,3,1,end,end of the second bend,5.6", "relay", "no relay"),
        ("4x100,4,1,end,end of the second bend,5.6", "take_over", "no take_over"),
        ("4x100,3,9,end,end of the second bend,5.6", "lane", "8 lanes"),
        ("4x100,3,1,middle,end of the second bend,5.6", "line", "not known"),
        ("4x100,3,1,end,the tree,5.6", "measured_from", "not known"),
        ("4x100,3,1,end,end of the second bend,five", "measured_m", "no length"),
        ("4x100,3,1,end,end of the second bend,500", "measured_m", "-5 to 150"),
        ("4x100,3,1,acceleration,end of the second bend,5.6", None, "no line"),
        ("4x100,3,2,end,same line one lane inside,3.6", None, "whose line was not measured"),
    ],
)
def test_what_is_wrong_with_a_list_is_told_by_row_and_column_and_nothing_is_stored(
    meet: MeetAtHand, row: str, column: str | None, says: str
) -> None:
    before = meet.head()
    content = f"relay,take_over,lane,line,measured_from,measured_m\n{row}\n".encode()
    looked = meet.organiser.post("survey-list?check=true", content=content).json()
    assert [(one["row"], one["column"]) for one in looked["problems"]] == [(2, column)]
    assert says in looked["problems"][0]["problem"]
    a_problem(meet.organiser.post("survey-list", content=content), 422, "file-refused")
    assert meet.head() == before


def test_each_fault_of_a_list_is_told_at_its_own_row(meet: MeetAtHand) -> None:
    rows = [
        "4x100,3,1,start,end of the second bend,33.958",
        "4x100,3,1,end,end of the second bend,5.559",
        "4x100,3,2,acceleration,end of the second bend,5.6",
        "4x100,3,8,end,end of the second bend,60",
        "4x100,3,3,end,finish line,5.6",
    ]
    content = "\n".join(["relay,take_over,lane,line,measured_from,measured_m", *rows]).encode()
    told = meet.organiser.post("survey-list?check=true", content=content).json()["problems"]
    assert [one["row"] for one in told] == [4, 5, 6]


def test_two_lists_of_one_zone_stand_beside_each_other_line_by_line(meet: MeetAtHand) -> None:
    head = "relay,take_over,lane,line,measured_from,measured_m\n"
    for lanes in ((1, 2), (2, 3)):
        rows = [taped(zone_of(meet), lane, "end") for lane in lanes]
        told = "".join(f"4x100,3,{one['lane']},end,{one['mark']},{one['metres']}\n" for one in rows)
        assert meet.organiser.post("survey-list", content=(head + told).encode()).status_code == 200
    found = zone_of(meet)
    assert (found["measured"], found["version"]) == (3, 2)
    # A line that another two had measured serves to tape the next one from.
    row = "4x100,3,4,end,same line one lane inside,"
    inside = next(
        one["metres"]
        for one in target(found, 4, "end")["tapes"]
        if one["mark"] == "same line one lane inside"
    )
    listed = meet.organiser.post("survey-list", content=f"{head}{row}{inside}\n".encode())
    assert listed.status_code == 200, listed.text
    assert target(zone_of(meet), 4, "end")["verdict"] == "right"


def test_a_wrong_line_after_lanes_were_left_is_flagged_whichever_lanes_are_drawn(
    service: Service,
) -> None:
    lists = a_start_list(1, event="Women 4x400 m", lanes=range(3, 9))
    meet = a_meet(service, start_list=lists, terms={"zone_tolerance_m": 0.02})
    meet.start(0)
    meet.report()
    for take_over in (1, 2):
        line = {**taped(zone_of(meet, take_over, "4x400"), 1, "start")}
        sent = {**line, "metres": line["metres"] + 0.5}
        assert measure(meet, sent, take_over=take_over, relay="4x400").status_code == 201
    (flag,) = meet.referee.get("docket").json()["cases"][0]["zone_flags"]
    assert flag.startswith("Take-overs 2–3: ")  # at the same lines


def a_case_of(service: Service, relay: str) -> MeetAtHand:
    """A meet of one relay whose lines may lie 20 mm off, with a case in its first heat."""
    lists = a_start_list(2, event=f"Women {relay} m")
    meet = a_meet(service, start_list=lists, terms={"zone_tolerance_m": 0.02})
    meet.start(0)
    meet.report()
    return meet


def test_what_was_measured_of_a_line_flags_the_heats_of_every_relay_that_it_serves(
    service: Service,
) -> None:
    """The zones at the finish line of a 4x400 and a 4x800 are the same paint."""
    meet = a_case_of(service, "4x800")
    line = taped(zone_of(meet, 2, "4x400"), 4, "start", 0.5)
    assert measure(meet, line, take_over=2, relay="4x400").status_code == 201
    (flag,) = meet.referee.get("docket").json()["cases"][0]["zone_flags"]
    assert flag.startswith("Take-overs 1–3: by the survey, lines lie in the wrong place in lane 4")
    zone = zone_of(meet, 1, "4x800")
    start = target(zone, 4, "start")
    assert (zone["measured"], zone["version"], start["measured"]) == (1, 0, None)
    assert start["measured_as"] == {"relay": "4x400", "take_over": 2}
    page = meet.organiser.get(f"/meets/{meet.id}/organiser/survey", headers=PAGE).text
    assert page.count("measured as 4x400, take-over 2") == 3
    sheets = meet.organiser.get("survey-sheets.pdf").content
    assert count_pages(sheets) == 1
    assert "The same lines serve 4x800, take-overs 2–3" in " ".join(read_text(sheets).split())
    # What was stored last counts, as which zone it may be.
    service.clock.move(timedelta(hours=1))
    mended = taped(zone_of(meet, 3, "4x800"), 4, "start")
    assert measure(meet, mended, take_over=3, relay="4x800").status_code == 201
    assert meet.referee.get("docket").json()["cases"][0]["zone_flags"] == []
    now = target(zone_of(meet, 2, "4x400"), 4, "start")
    assert (now["verdict"], now["measured_as"]) == ("right", {"relay": "4x800", "take_over": 3})


def test_only_what_is_said_anew_of_a_line_takes_the_place_of_what_another_zone_says(
    service: Service,
) -> None:
    meet = a_case_of(service, "4x400")

    def flags() -> list[str]:
        service.clock.move(timedelta(minutes=10))
        return list(meet.referee.get("docket").json()["cases"][0]["zone_flags"])

    ends = [taped(zone_of(meet, 2, "4x400"), lane, "end") for lane in range(1, 9)]
    assert measure(meet, *ends, take_over=2, relay="4x400").status_code == 201
    assert flags() == []
    wrong = taped(zone_of(meet, 1, "4x800"), 5, "end", 0.1)
    assert measure(meet, wrong, take_over=1, relay="4x800").status_code == 201
    assert "lane 5: end" in flags()[0]
    # Another line of the first zone, by list; and all that is told of it with one line more.
    row = b"relay,take_over,lane,line,measured_from,measured_m\n4x400,2,1,start,F,10.0\n"
    assert meet.organiser.post("survey-list", content=row).status_code == 200
    assert "lane 5: end" in flags()[0]
    told = [
        {"lane": one["lane"], "line": one["line"], **one["measured"]}
        for one in zone_of(meet, 2, "4x400")["lines"]
        if one["measured"]
    ]
    more = taped(zone_of(meet, 2, "4x400"), 2, "start")
    assert measure(meet, *told, more, take_over=2, relay="4x400").status_code == 200
    assert "lane 5: end" in flags()[0]
    # The same value, said anew, is what counts from then on.
    assert measure(meet, *told, more, ends[4], take_over=2, relay="4x400").status_code == 200
    assert flags() == []
    assert measure(meet, wrong, take_over=1, relay="4x800").status_code == 200
    assert "lane 5: end" in flags()[0]


def test_what_cannot_have_been_measured_is_refused_whatever_was_measured_as_another_zone(
    service: Service,
) -> None:
    meet = a_meet(service, start_list=a_start_list(2, event="Women 4x400 m"))
    end = taped(zone_of(meet, 1, "4x800"), 5, "end")
    assert measure(meet, end, take_over=1, relay="4x800").status_code == 201
    far = {**end, "metres": 149.0}
    told = a_problem(measure(meet, far, take_over=2, relay="4x400"), 422, "malformed")
    assert "more than 15 m off" in told["detail"]
    assert zone_of(meet, 2, "4x400")["version"] == 0


def test_the_list_that_goes_out_has_the_measure_that_counts(service: Service) -> None:
    meet = a_meet(service, start_list=a_start_list(2, event="Women 4x400 m"))
    end = taped(zone_of(meet, 2, "4x400"), 5, "end", 0.1)
    assert measure(meet, end, take_over=2, relay="4x400").status_code == 201
    rows = [row for row in the_list(meet) if row["measured_m"]]
    assert [row["take_over"] for row in rows] == ["2", "3"]
    assert {row["measured_m"] for row in rows} == {f"{end['metres']:.3f}"}
    assert {row["off_m"] for row in rows} == {rows[0]["off_m"]}
    assert float(rows[0]["off_m"]) == pytest.approx(0.1, abs=0.003)


def test_lines_that_a_corrected_track_has_no_more_stand_in_no_lists_way(meet: MeetAtHand) -> None:
    whole = as_csv(filled(the_list(meet), {}))
    assert meet.organiser.post("survey-list", content=whole).status_code == 200
    set_up_again(meet, track={"lanes": 6}, terms={"zone_tolerance_m": 0.02})
    assert "lane 7 has no line" in zone_of(meet)["problem"]
    fewer = as_csv(filled(the_list(meet), {("2", "end"): 0.03}))
    looked = meet.organiser.post("survey-list?check=true", content=fewer).json()
    assert (looked["problems"], looked["lines"]) == ([], 18)
    assert meet.organiser.post("survey-list", content=fewer).status_code == 200
    now = zone_of(meet)
    assert (now["problem"], now["measured"], now["wrong_lanes"]) == ("", 18, [2])


def test_what_no_longer_fits_stands_at_the_cases_of_its_lane(meet: MeetAtHand) -> None:
    assert measure(meet, taped(zone_of(meet, 1), 8, "end"), take_over=1).status_code == 201
    meet.start(0)
    cases = {lane: meet.report(lane=lane)["case"] for lane in (4, 8)}
    # Its mark lies so much earlier there that the line would be more than 15 m off.
    track = {"radius_m": 30.5, "straight_m": 103.2}
    set_up_again(meet, track=track, terms={"zone_tolerance_m": 0.02})
    assert zone_of(meet, 1)["problem"]
    told = {
        lane: meet.referee.get(f"/meets/{meet.id}/cases/{case}", headers=PAGE).text
        for lane, case in cases.items()
    }
    assert all("what was measured in lane 8 no longer fits" in page for page in told.values())
    assert {lane: ELSEWHERE in page for lane, page in told.items()} == {4: True, 8: False}


def test_what_was_found_is_not_forgotten_where_the_track_makes_no_lap(meet: MeetAtHand) -> None:
    assert measure(meet, taped(zone_of(meet), 6, "end", -0.05)).status_code == 201
    meet.start(0)
    case = meet.report()["case"]
    set_up_again(meet, track={"radius_m": 30.0, "straight_m": 84.39})
    (flag,) = meet.referee.get("docket").json()["cases"][0]["zone_flags"]
    assert flag.startswith("The zones were surveyed, but by its measures the track makes no lap")
    for page in (f"/meets/{meet.id}/head", f"/meets/{meet.id}/cases/{case}"):
        assert flag in meet.referee.get(page, headers=PAGE).text


def test_a_list_of_another_track_is_refused_at_the_line_that_lies_elsewhere(
    meet: MeetAtHand,
) -> None:
    rows = filled(the_list(meet), {})
    set_up_again(meet, track={"radius_m": 37.61, "straight_m": 80.905})
    looked = meet.organiser.post("survey-list?check=true", content=as_csv(rows)).json()
    assert "made for another track or edition" in looked["problems"][0]["problem"]
    assert {one["column"] for one in looked["problems"]} == {"metres_into_it"}
    # The marks are where they are: where only the settings were wrong, what was taped holds.
    taken = as_csv([{**row, "metres_into_it": ""} for row in rows])
    assert meet.organiser.post("survey-list", content=taken).status_code == 200


def test_a_zone_of_which_all_was_taken_back_is_not_measured(meet: MeetAtHand) -> None:
    assert measure(meet, taped(zone_of(meet), 4, "end")).status_code == 201
    assert measure(meet).status_code == 200
    page = meet.organiser.get(f"/meets/{meet.id}/organiser/survey", headers=PAGE).text
    assert page.count("not measured") == 3
    assert "right where measured" not in page


def test_a_list_without_a_measured_value_or_with_a_line_twice_is_refused(meet: MeetAtHand) -> None:
    empty = as_csv(the_list(meet))
    looked = meet.organiser.post("survey-list?check=true", content=empty).json()
    assert "no measured value" in looked["problems"][0]["problem"]
    row = "4x100,3,1,end,end of the second bend,5.6"
    twice = f"relay,take_over,lane,line,measured_from,measured_m\n{row}\n{row}\n".encode()
    looked = meet.organiser.post("survey-list?check=true", content=twice).json()
    assert "row 2 already" in looked["problems"][0]["problem"]


def test_a_track_that_makes_no_lap_has_no_survey_and_says_what_to_correct(
    service: Service,
) -> None:
    meet = a_meet(service, track={"radius_m": 30.0, "straight_m": 84.39})
    for path in ("survey", "survey.csv", "survey-sheets.pdf", "survey/zones/4x100/1"):
        told = a_problem(meet.organiser.get(path), 409, "conflict")
        assert "no 400 m track and no oval of 200 m" in told["detail"]
    page = meet.organiser.get(f"/meets/{meet.id}/organiser/survey", headers=PAGE)
    assert "No zone can be reckoned" in page.text
    assert meet.referee.get("docket").json()["cases"] == []


@pytest.mark.parametrize(
    "track",
    [
        *({"straight_m": -84.39}, {"lane_width_m": 0.4}, {"lanes": 11}, {"radius_m": 0}),
        *({"four_by_200_bends": 2}, {"four_by_200_bends": True}),
    ],
)
def test_a_track_that_cannot_exist_is_refused(service: Service, track: Json) -> None:
    document = a_meet_document(track=track)
    address = f"/api/meets/{new_id()}"
    answer = service.http.put(address, json=document, headers=founder(service))
    told = a_problem(answer, 422, "malformed")
    assert told["errors"][0]["pointer"].startswith("/track/")


def test_what_was_measured_on_another_track_than_it_is_now_is_told_and_not_judged(
    meet: MeetAtHand,
) -> None:
    assert measure(meet, taped(zone_of(meet), 4, "end", -0.05)).status_code == 201
    meet.start(0)
    meet.report()
    track = {"radius_m": 33.0, "straight_m": 95.38, "lanes": 3}
    set_up_again(meet, track=track, terms={"zone_tolerance_m": 0.02})
    found = zone_of(meet)
    assert "lane 4 has no line" in found["problem"]
    (flag,) = meet.referee.get("docket").json()["cases"][0]["zone_flags"]
    assert flag.endswith("what was measured in lane 4 no longer fits the track: measure it anew.")
    page = meet.organiser.get(f"/meets/{meet.id}/organiser/survey", headers=PAGE).text
    assert "measured on another track" in page
    assert (found["wrong_lanes"], found["version"]) == ([], 1)


def test_a_line_keeps_the_side_of_its_mark_on_which_it_was_measured(meet: MeetAtHand) -> None:
    """A corrected track can move where a line must lie across its mark."""
    zone = zone_of(meet, 1)
    end = target(zone, 3, "end")
    assert end["section"] == "back"
    line = a_line(3, "end", end["tapes"][0]["metres"], end["tapes"][0]["mark"])
    assert measure(meet, line, take_over=1).status_code == 201
    track = {"radius_m": 37.61, "straight_m": 80.905}
    set_up_again(meet, track=track, terms={"zone_tolerance_m": 0.05})
    moved = target(zone_of(meet, 1), 3, "end")
    assert moved["section"] == "bend1"
    # What was so far past the end of the bend still is; it must lie so far before it now.
    way = end["metres"] + moved["to_end_m"]
    assert moved["off_m"] == pytest.approx(way, abs=0.002)
    assert moved["verdict"] == "wrong"


def test_what_is_read_can_be_sent_again(meet: MeetAtHand) -> None:
    line = taped(zone_of(meet), 4, "end")
    first = measure(meet, {**line, "metres": line["metres"] + 0.00041})
    assert first.status_code == 201
    told = target(first.json(), 4, "end")["measured"]
    again = meet.organiser.put("survey/zones/4x100/3", {"lines": [{**line, **told}]})
    assert (again.status_code, again.headers["ETag"]) == (200, '"v1"')


@pytest.mark.parametrize("columns", ['{"\\ud800":"lane"}', '{"x":"\\ud800"}'])
def test_half_a_letter_in_the_names_of_columns_is_refused(meet: MeetAtHand, columns: str) -> None:
    content = as_csv(filled(the_list(meet), {}))
    answer = meet.organiser.http.post(
        f"/api/meets/{meet.id}/survey-list",
        params={"check": "true", "columns": columns},
        content=content,
        headers={"Authorization": f"Bearer {meet.organiser.token}"},
    )
    assert "JSON object" in a_problem(answer, 422, "malformed")["detail"]


def test_on_an_oval_zones_are_those_of_the_oval_on_the_phone_too(service: Service) -> None:
    # Irish federation's relay document, as quoted by a club: all exchanges indoors within 20 m
    lists = a_start_list(1, event="Women 4x200 m", lanes=range(1, 7))
    meet = a_meet(service, start_list=lists, track=OVAL)
    zones = meet.umpire.get("survey").json()["zones"]
    assert [one["length_m"] for one in zones] == [20.0, 20.0, 20.0]
    assert {one["length_m"] for one in meet.umpire.get("watch").json()["zones"]} == {20.0}
    # The first zone lies by the stagger of one bend and the crossing past the finish line.
    leg_lines = [target(zones[0], lane, "leg line")["past_finish_m"] for lane in range(1, 7)]
    assert leg_lines == sorted(leg_lines)
    assert leg_lines[0] == pytest.approx(0, abs=0.005)
    assert leg_lines[5] > 14
    assert {target(zones[1], lane, "leg line")["past_finish_m"] for lane in range(1, 7)} == {0.0}
    # A 4x100 is not known there: nothing is reckoned, and nobody is kept from the rest.
    told = a_problem(meet.organiser.get("survey/zones/4x100/1"), 404, "not-found")
    assert "no zone" in told["detail"]


def test_a_meet_of_ovals_without_zones_in_its_edition_says_so(service: Service) -> None:
    lists = a_start_list(1, event="Women 4x200 m", lanes=range(1, 7))
    meet = a_meet(service, start_list=lists, track=OVAL, edition="nfhs-2019")
    told = meet.umpire.get("survey").json()
    assert (told["zones"], told["left_out"]) == ([], ["4x200"])
    a_problem(meet.organiser.get("survey-sheets.pdf"), 404, "not-found")
    page = meet.organiser.get(f"/meets/{meet.id}/organiser/survey", headers=PAGE).text
    assert "knows no zone" in page
    settings = meet.organiser.get(f"/api/meets/{meet.id}").json()
    assert settings["edition_note"].startswith("No zones on an oval of 200 m were found")
    crew = meet.organiser.get(f"/meets/{meet.id}/organiser/crew", headers=PAGE).text
    assert "Not known on this track: 4x200." in " ".join(crew.split())


def test_the_sheets_are_a_page_a_zone_with_all_that_is_to_be_taped(meet: MeetAtHand) -> None:
    assert measure(meet, taped(zone_of(meet), 6, "end", -0.05)).status_code == 201
    for paper in ("A4", "Letter"):
        answer = meet.umpire.get(f"survey-sheets.pdf?paper={paper}")
        assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
        assert count_pages(answer.content) == 3
    text = " ".join(read_text(answer.content).split())
    for words in ("Zone survey: 4x100, take-over 3", "+50 mm", "20 mm along the lane"):
        assert words in text
    one = meet.umpire.get("survey-sheets.pdf?relay=4x400")
    assert "Zone survey: 4x400, take-over 2" in " ".join(read_text(one.content).split())


def test_before_anything_is_drawn_all_relays_are_surveyed(service: Service) -> None:
    meet = a_bare_meet(service)
    told = meet.organiser.get("survey").json()
    assert len(told["zones"]) == 15
    assert told["left_out"] == []


@pytest.mark.parametrize(("bends", "leg_lines"), [(4, 0), (3, 1), (1, 3)])
def test_a_4x200_is_surveyed_as_the_meet_runs_it(
    service: Service, bends: int, leg_lines: int
) -> None:
    lists = a_start_list(1, event="Women 4x200 m")
    meet = a_meet(service, start_list=lists, track={"four_by_200_bends": bends})
    zones = meet.umpire.get("survey").json()["zones"]
    inside = "same line one lane inside"
    gaps = [
        next(one for one in target(zone, 8, "leg line")["tapes"] if one["mark"] == inside)
        for zone in zones
    ]
    assert sum(one["metres"] == 0 for one in gaps) == leg_lines
