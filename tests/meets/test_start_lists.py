"""Start lists over HTTP: looked at first, taken whole or not at all, and harmless to send again."""

from __future__ import annotations

import csv
import io
import json
import time

import httpx
import openpyxl  # type: ignore[import-untyped]
import pytest

from tests.builders import (
    Json,
    MeetAtHand,
    a_bare_meet,
    a_meet,
    a_problem,
    a_start_list,
    all_heats,
)
from tests.running import Service

HEADER = "event,round,heat,lane,team\n"


@pytest.fixture
def bare(service: Service) -> MeetAtHand:
    return a_bare_meet(service)


def load(meet: MeetAtHand, content: str | bytes, **query: str) -> httpx.Response:
    return meet.organiser.post("start-lists", content=content, params=query)


def as_xlsx(text: str) -> bytes:
    """The same list as a workbook, written by openpyxl."""
    book = openpyxl.Workbook()
    for row in csv.reader(io.StringIO(text)):
        book.active.append([int(cell) if cell.isdecimal() else cell for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def lanes_of(meet: MeetAtHand) -> list[tuple[int, int, str]]:
    return [
        (heat["number"], lane["lane"], lane["name"])
        for heat in all_heats(meet)
        for lane in heat["lanes"]
    ]


def problems(answer: httpx.Response) -> list[tuple[int | None, str | None]]:
    told = a_problem(answer, 422, "file-refused")
    return [(found["row"], found["column"]) for found in told["problems"]]


def test_checking_a_list_tells_what_loading_would_do_and_stores_nothing(bare: MeetAtHand) -> None:
    before = bare.head()
    checked = load(bare, a_start_list(2), check="true").json()
    assert checked["stored"] is False
    assert bare.head() == before
    assert lanes_of(bare) == []
    loaded = load(bare, a_start_list(2)).json()
    assert loaded == checked | {"stored": True}
    assert (loaded["heats"], loaded["teams"], loaded["lanes"]) == (2, 16, 16)
    # Of an event that nobody knew before, no team is news.
    assert loaded["new_to_event"] == []


def test_the_same_list_a_second_time_changes_nothing(meet: MeetAtHand) -> None:
    before = meet.head()
    again = load(meet, a_start_list(2)).json()
    assert (again["heats_added"], again["heats_changed"], again["heats_unchanged"]) == (0, 0, 2)
    assert meet.head() == before


def test_a_list_with_one_wrong_row_is_not_taken_at_all(bare: MeetAtHand) -> None:
    before = bare.head()
    rows = [*a_start_list(2).splitlines(), "Women 4x100 m,heats,3,11,Stray,,"]
    assert problems(load(bare, "\n".join(rows))) == [(18, "lane")]
    assert bare.head() == before
    assert lanes_of(bare) == []


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("W 4x100,h,1,0,Tern\n", [(2, "lane")]),
        ("W 4x100,h,1,-1,Tern\n", [(2, "lane")]),
        ("W 4x100,h,one,1,Tern\n", [(2, "heat")]),
        ("W 4x100,h,1,1,\n", [(2, "team")]),
        ("W 4x100,h,1,1,Tern\nW 4x100,h,1,1,Gull\n", [(3, "lane")]),
        ("W 4x100,h,1,1,Tern\nW 4x100,h,1,2,tern\n", [(3, "team")]),
        ("Women's relay,h,1,1,Tern\n", [(2, "event")]),
        ("W 4x100,h,1,1,=HYPERLINK(1)\n", [(2, "team")]),
        ("W 4x100,h,1,1,Te\x07rn\n", [(2, "team")]),
        ("W 4x100,h,1,1,Tern\nW 4x100,,2,12,\n", [(3, "round"), (3, "lane"), (3, "team")]),
    ],
)
def test_every_problem_is_named_with_its_row_and_column(
    bare: MeetAtHand, rows: str, expected: list[tuple[int, str]]
) -> None:
    assert problems(load(bare, HEADER + rows)) == expected
    checked = load(bare, HEADER + rows, check="true").json()["problems"]
    assert [(found["row"], found["column"]) for found in checked] == expected


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b"PK\x03\x04 no archive", b"\xff" * 99])
def test_a_file_that_is_no_list_is_refused(bare: MeetAtHand, content: bytes) -> None:
    told = a_problem(load(bare, content), 422, "file-refused")
    assert told["problems"][0]["problem"]


def test_a_list_with_own_header_names_is_read(bare: MeetAtHand) -> None:
    rows = "Wettbewerb;Runde;Lauf;Bahn;Mannschaft\nFrauen 4x100;Vorlauf;1;4;Möwe\n"
    names = {"Wettbewerb": "event", "Runde": "round", "Lauf": "heat", "Bahn": "lane"}
    missing = problems(load(bare, rows, columns=json.dumps(names)))
    assert missing == [(1, "team")]
    loaded = load(bare, rows, columns=json.dumps(names | {"Mannschaft": "team"}))
    assert loaded.status_code == 200
    assert lanes_of(bare) == [(1, 4, "Möwe")]


@pytest.mark.parametrize("columns", ["[]", "{", '{"Bahn": 4}', "null", "4" * 1500, "[" * 1500])
def test_header_names_that_are_no_object_are_refused(bare: MeetAtHand, columns: str) -> None:
    told = a_problem(load(bare, a_start_list(), columns=columns), 422, "malformed")
    assert told["errors"][0]["pointer"] == "query columns"


def test_a_workbook_says_the_same_as_its_csv(bare: MeetAtHand) -> None:
    loaded = load(bare, as_xlsx(a_start_list(2)))
    assert loaded.status_code == 200
    before = bare.head()
    assert load(bare, a_start_list(2)).json()["heats_unchanged"] == 2
    assert bare.head() == before


def test_a_column_that_is_not_known_is_left_aside_and_named(bare: MeetAtHand) -> None:
    rows = "event,round,heat,lane,team,seed time\nW 4x100,heats,1,4,Tern,43.10\n"
    assert load(bare, rows).json()["ignored_columns"] == ["seed time"]


def test_a_heat_that_has_not_begun_takes_the_new_lanes(meet: MeetAtHand) -> None:
    changed = a_start_list(2).replace("heats,2,8,Petrel 2", "heats,2,8,Sanderling")
    answer = load(meet, changed).json()
    assert (answer["heats_changed"], answer["heats_unchanged"]) == (1, 1)
    assert (2, 8, "Sanderling") in lanes_of(meet)
    assert (2, 8, "Petrel 2") not in lanes_of(meet)


def test_a_heat_that_has_begun_keeps_its_lanes(meet: MeetAtHand) -> None:
    meet.start()
    before = meet.head()
    assert load(meet, a_start_list(2)).status_code == 200
    changed = a_start_list(2).replace("heats,1,8,Petrel 1", "heats,1,8,Sanderling")
    assert problems(load(meet, changed)) == [(2, "heat")]
    assert problems(load(meet, changed.replace("heats,2,7,Dunlin 2", "heats,2,7,Knot"))) == [
        (2, "heat")
    ]
    assert meet.head() == before
    assert (2, 7, "Dunlin 2") in lanes_of(meet)


def test_each_round_may_come_in_a_file_of_its_own(meet: MeetAtHand) -> None:
    final = HEADER + "Women 4x100 m,final,1,4,Tern 1\nWomen 4x100 m,final,1,5,Gull 2\n"
    loaded = load(meet, final).json()
    assert (loaded["heats_added"], loaded["heats_unchanged"]) == (1, 0)
    teams = {lane["team"] for heat in all_heats(meet) for lane in heat["lanes"]}
    assert len(teams) == 16


def test_an_event_does_not_become_another_relay(meet: MeetAtHand) -> None:
    rows = "event,relay,round,heat,lane,team\nWomen 4x100 m,4x400,final,1,4,Tern 1\n"
    assert problems(load(meet, rows)) == [(2, "event")]


def test_two_thousand_heats_come_in_one_file(bare: MeetAtHand) -> None:
    rows: list[str] = ["event,round,heat,lane,team,affiliation,bib"]
    for event in range(100):
        rows += a_start_list(20, event=f"Event {event} 4x100 m").splitlines()[1:]
    content = "\n".join(rows)
    began = time.perf_counter()
    loaded = load(bare, content)
    seconds = time.perf_counter() - began
    engine = bare.service.store.engines.writing.dialect.name
    print(f"2,000 heats, 16,000 lanes, {len(content) // 1024} KiB, {engine}: {seconds:.2f} s")
    assert loaded.json()["heats_added"] == 2000
    assert loaded.json()["lanes"] == 16_000
    before = bare.head()
    assert load(bare, content).json()["heats_unchanged"] == 2000
    assert bare.head() == before


def test_a_file_larger_than_eight_mebibytes_is_refused_unread(bare: MeetAtHand) -> None:
    before = bare.head()
    a_problem(load(bare, b"x" * (8 * 1024 * 1024 + 1)), 413, "too-large")
    assert bare.head() == before
    assert load(bare, a_start_list()).status_code == 200


def test_what_was_loaded_is_what_everybody_sees(bare: MeetAtHand) -> None:
    rows = (
        "event,round,heat,lane,team,affiliation,bib,scheduled,leg1,leg2,leg3,leg4\n"
        "Mixed 4x400 m,final,1,5,Tern,Harbour Club,12,2026-06-13T14:20,Ada,Bo,Cy,Di\n"
    )
    assert load(bare, rows).status_code == 200
    heat: Json = bare.service.http.get(f"/api/meets/{bare.id}/heats").json()["heats"][0]
    assert (heat["relay"], heat["round"], heat["scheduled"]) == (
        "4x400",
        "final",
        "2026-06-13T14:20",
    )
    lane = heat["lanes"][0]
    assert (lane["affiliation"], lane["bib"]) == ("Harbour Club", "12")
    assert lane["legs"] == ["Ada", "Bo", "Cy", "Di"]


def test_a_team_with_a_case_stays_in_its_heat_under_its_name(service: Service) -> None:
    meet = a_meet(service, roles=("umpire", "referee", "results"), umpires=())
    case = meet.report(lane=4)["case"]
    known = meet.heats[0]
    header = "event,round,heat,lane,team,affiliation,bib"

    def a_list(name: str) -> str:
        rows = [
            f"{known['event_name']},{known['round']},{known['number']},{lane['lane']},"
            f"{name if lane['lane'] == 4 else lane['name']},{lane['affiliation']},{lane['bib']}"
            for lane in known["lanes"]
        ]
        return "\n".join([header, *rows])

    before = meet.head()
    told = a_problem(
        meet.organiser.post("start-lists", content=a_list("Gull One")), 422, "file-refused"
    )
    assert told["problems"][0]["column"] == "team"
    assert "Plover 1" in told["problems"][0]["problem"]
    assert meet.head() == before
    assert meet.rule(case).status_code == 201
    a_problem(load(meet, a_list("Gull One")), 422, "file-refused")
    assert meet.draw_lanes({3: 4, 4: 3}).status_code == 200
    assert meet.annotations() == {3: "DQ TR24.7"}


def test_ten_teams_start_from_a_line_on_a_track_of_eight_lanes(bare: MeetAtHand) -> None:
    rows = [f"Women 4x800 m,final,1,{place},Team {place}" for place in range(1, 11)]
    listed = "\n".join(["event,round,heat,lane,team", *rows])
    assert load(bare, listed).json()["lanes"] == 10
    unwatched = bare.organiser.get("crew").json()["unwatched"]
    assert {9, 10} <= {lane for gap in unwatched for lane in gap["lanes"]}
    in_lanes = listed.replace("4x800", "4x400")
    a_problem(load(bare, in_lanes), 422, "file-refused")


def test_a_name_written_with_and_without_a_blank_is_one_team(bare: MeetAtHand) -> None:
    header = "event,round,heat,lane,team\n"
    twice = f"{header}Men 4x100 m,heats,1,3,Fox1\nMen 4x100 m,heats,1,4,Fox 1\n"
    told = a_problem(load(bare, twice), 422, "file-refused")
    assert (told["problems"][0]["row"], told["problems"][0]["column"]) == (3, "team")
    load(bare, f"{header}Men 4x100 m,heats,1,3,Fox1\n")
    final = load(bare, f"{header}men 4x100m,final,1,5,FOX 1\nMen 4x100 m,final,1,6,Owl\n").json()
    assert final["new_to_event"] == ["Owl (row 3)"]
    first, last = all_heats(bare)
    assert first["lanes"][0]["team"] == last["lanes"][0]["team"]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Tern", "Te\u2800rn"),
        ("Tern", "Tern\U0001d159"),
        ("Tern", "Te\U00016fe4rn"),
        ("Μα\u0390α", "ΜΑ\u03aa\u0301Α"),
    ],
    ids=["braille blank", "null notehead", "filler", "Greek capitals"],
)
def test_two_teams_that_look_the_same_are_refused_in_one_heat(
    bare: MeetAtHand, one: str, other: str
) -> None:
    """That the first three are shown as blanks is from memory; the capitals: Unicode, 3.13."""
    listed = f"{HEADER}Men 4x100 m,heats,1,3,{one}\nMen 4x100 m,heats,1,4,{other}\n"
    assert problems(load(bare, listed)) == [(3, "team")]
    assert lanes_of(bare) == []


def test_a_team_that_is_written_otherwise_is_the_same_team_and_is_renamed(bare: MeetAtHand) -> None:
    header = "event,round,heat,lane,team\n"
    load(bare, f"{header}Men 4x100 m,heats,1,3,TERNHARBOUR\n")
    mended = f"{header}Men 4x100 m,heats,1,3,Tern Harbour\nMen 4x100 m,final,1,4,tern harbour\n"
    told = load(bare, mended).json()
    assert (told["new_to_event"], told["renamed"]) == ([], ["TERNHARBOUR → Tern Harbour"])
    names = [lane["name"] for heat in all_heats(bare) for lane in heat["lanes"]]
    assert names == ["Tern Harbour", "Tern Harbour"]
    before = bare.head()
    load(bare, mended)
    assert bare.head() == before


def test_a_team_that_then_stands_in_two_heats_of_a_round_is_told(bare: MeetAtHand) -> None:
    """A team runs in one heat of a round (common practice)."""
    first = load(bare, HEADER + "Women 4x100 m,semis,1,3,Tern\nWomen 4x100 m,semis,1,4,Gull")
    assert first.json()["in_two_heats"] == []
    second = load(bare, HEADER + "Women 4x100 m,Semis,2,5,TERN\nWomen 4x100 m,final,1,5,Gull")
    (told,) = second.json()["in_two_heats"]
    said = "TERN stands in heat 1 and in heat 2 of one round: a team runs in one of them."
    left_over = bare.organiser.get("heats").json()["heats"][0]["id"]
    assert told == f"{said} If heat 1 is not held any more, say so at …/heats/{left_over}/not-held."
    moved = HEADER + "Women 4x100 m,semis,1,4,Gull\nWomen 4x100 m,semis,2,5,Tern"
    assert load(bare, moved).json()["in_two_heats"] == []


def test_who_loses_a_lane_and_stands_nowhere_else_in_the_round_is_told(bare: MeetAtHand) -> None:
    """A list that names only the teams that move takes all others out of the heats it names."""
    whole = HEADER + "".join(
        f"Women 4x100 m,heats,{heat},{lane},{team}\n"
        for heat, lane, team in ((1, 3, "Tern"), (1, 4, "Gull"), (2, 3, "Heron"), (2, 4, "Plover"))
    )
    assert load(bare, whole).json()["left_out"] == []
    moved = HEADER + "Women 4x100 m,heats,1,5,Heron\nWomen 4x100 m,heats,2,5,Gull\n"
    lost = [
        "Tern no longer has a lane in Women 4x100 m, heats, heat 1 (lane 3).",
        "Plover no longer has a lane in Women 4x100 m, heats, heat 2 (lane 4).",
    ]
    assert load(bare, moved, check="true").json()["left_out"] == lost
    assert load(bare, moved).json()["left_out"] == lost
    assert load(bare, moved).json()["left_out"] == []


def test_who_is_listed_only_in_a_heat_that_is_not_held_has_lost_its_lane(bare: MeetAtHand) -> None:
    load(bare, HEADER + "Women 4x100 m,heats,1,3,Tern\nWomen 4x100 m,heats,2,4,Tern")
    second = bare.organiser.get("heats").json()["heats"][1]["id"]
    seen = bare.organiser.get(f"heats/{second}").headers["ETag"]
    said = {"reasons": "Too few teams came."}
    assert bare.organiser.post(f"heats/{second}/not-held", said, etag=seen).status_code == 200
    told = load(bare, HEADER + "Women 4x100 m,heats,1,3,Gull").json()
    assert told["left_out"] == [
        "Tern no longer has a lane in Women 4x100 m, heats, heat 1 (lane 3)."
    ]
