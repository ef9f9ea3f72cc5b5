"""A start list is read whole, and everything wrong with it is named in one pass."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules.relay import Relay
from app.sheets.problems import Problem
from app.sheets.start_list import Entry, StartList, read_start_list
from tests.sheets.builders import Value, a_row, as_csv, as_xlsx


def problems_of(*rows: dict[str, Value], **choices: Any) -> tuple[Problem, ...]:
    from_csv = read_start_list(as_csv(rows), **choices)[1]
    assert from_csv == read_start_list(as_xlsx(rows), **choices)[1]
    return from_csv


def the_problem(*rows: dict[str, Value]) -> tuple[int | None, str | None, str]:
    (problem,) = problems_of(*rows)
    return problem.row, problem.column, problem.problem


def good(*rows: dict[str, Value]) -> StartList:
    found, problems = read_start_list(as_csv(rows))
    assert problems == ()
    return found


def test_heats_come_in_the_order_of_the_list_with_their_teams() -> None:
    found = good(
        a_row(3, heat=2, team="Gulls", affiliation="Harbour", bib="0007", leg1="Ana", leg3="Cleo"),
        a_row(5, heat=1, team="Terns"),
        a_row(4, heat=2, team="Skuas", round="heats", event="WOMEN 4X100"),
    )
    assert [(heat.heat, [entry.lane for entry in heat.entries]) for heat in found.heats] == [
        (2, [3, 4]),
        (1, [5]),
    ]
    assert found.heats[0].entries[0] == Entry(2, 3, "Gulls", "Harbour", "0007", ("Ana", "", "Cleo"))
    assert found.heats[0].relay is Relay.FOUR_BY_100
    assert found.heats[0].scheduled is None


def test_only_five_columns_are_needed() -> None:
    needed = ("event", "round", "heat", "lane", "team")
    found = good({key: a_row()[key] for key in needed})
    assert found.heats[0].entries == (Entry(2, 4, "Team 4", "", "", ()),)


def test_the_relay_column_goes_before_the_name_of_the_event() -> None:
    found = good(a_row(event="Open relay A", relay="4 x 400"), a_row(event="4x200", heat=2))
    assert [heat.relay for heat in found.heats] == [Relay.FOUR_BY_400, Relay.FOUR_BY_200]


def test_reading_the_same_file_again_gives_the_same() -> None:
    content = as_csv([a_row(lane) for lane in range(1, 11)])
    assert read_start_list(content) == read_start_list(content)


def test_own_header_names_are_mapped() -> None:
    rows = [{"Lauf" if key == "heat" else key: value for key, value in a_row().items()}]
    found, problems = read_start_list(as_csv(rows), mapping={"Lauf": "heat"})
    assert problems == ()
    assert found == good(a_row())


def test_columns_that_are_not_ours_are_listed() -> None:
    assert good(a_row(coach="Somebody")).ignored_columns == ("coach",)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("14:20", "14:20"),
        ("9:05", "09:05"),
        ("14:20:30", "14:20:30"),
        # ISO 8601, and RFC 3339, section 5.6.
        ("2026-05-03T14:20", "2026-05-03T14:20"),
        ("2026-05-03 9:05:00", "2026-05-03T09:05"),
        ("2026-05-03T14:20:00+02:00", "2026-05-03T14:20+02:00"),
        ("2026-05-03T14:20:00Z", "2026-05-03T14:20+00:00"),
        ("", None),
    ],
)
def test_a_start_time_is_kept_as_far_as_it_is_given(written: str, read: str | None) -> None:
    assert good(a_row(scheduled=written)).heats[0].scheduled == read


def test_a_start_time_given_once_holds_for_the_whole_heat() -> None:
    found = good(a_row(3, scheduled=""), a_row(4, scheduled="14:20"), a_row(5, scheduled="14:20"))
    assert [heat.scheduled for heat in found.heats] == ["14:20"]


@pytest.mark.parametrize(
    ("column", "value", "part_of_reason"),
    [
        ("lane", 0, "no lane “0”; it runs from 1 to 10"),
        ("lane", 11, "no lane “11”; it runs from 1 to 10"),
        ("lane", -1, "no lane “-1”"),
        ("lane", "four", "no whole number"),
        ("lane", 3.5, "no whole number"),
        ("lane", "\u0664", "no whole number"),
        ("lane", "9" * 400, "runs from 1 to 10"),
        ("lane", "", "The lane is empty"),
        ("heat", 0, "runs from 1 to 999"),
        ("heat", 1000, "runs from 1 to 999"),
        ("heat", "", "The heat is empty"),
        ("event", "", "The event is empty"),
        ("event", "Sack race", "does not say which relay"),
        ("round", "", "The round is empty"),
        ("team", "", "The team is empty"),
        ("team", "=1+1", "formula"),
        ("team", "Gu\x1flls", "control character"),
        ("relay", "4x1000", "no relay that is known"),
        ("leg5", "Reserve", "has 4 legs, but a runner is named for leg 5"),
        ("leg8", "Reserve", "has 4 legs, but a runner is named for leg 8"),
        ("scheduled", "9999-01-01 14:20", "no start time"),
        ("scheduled", "0001-01-01 14:20", "no start time"),
        ("scheduled", "2026-02-30 14:20", "no start time"),
        ("scheduled", "24:10", "no start time"),
        ("scheduled", "14:20+02:00", "no start time"),
        ("scheduled", "noon", "no start time"),
    ],
)
def test_a_bad_field_is_named_by_row_and_column(
    column: str, value: Value, part_of_reason: str
) -> None:
    rows = [a_row(1), a_row(2, **{column: value})]
    problems = read_start_list(as_csv(rows))[1]
    assert [(problem.row, problem.column) for problem in problems] == [(3, column)]
    assert part_of_reason in problems[0].problem


def test_a_lane_twice_in_one_heat_is_named_with_the_row_before() -> None:
    row, column, sentence = the_problem(a_row(4, team="Gulls"), a_row(5), a_row(4, team="Terns"))
    assert (row, column) == (4, "lane")
    assert "“Gulls” in row 2" in sentence


def test_two_teams_of_a_heat_that_look_alike_are_one_team_twice() -> None:
    persian = "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645"
    rows = [
        a_row(1, team=persian, affiliation=""),
        a_row(2, team=persian.replace("\u200c", ""), affiliation=""),
    ]
    problems = read_start_list(as_csv(rows))[1]
    assert [(problem.row, problem.column) for problem in problems] == [(3, "team")]
    assert "already in this heat, in row 2" in problems[0].problem


def test_a_team_twice_in_one_heat_is_named_also_in_other_case() -> None:
    first = a_row(4, team="Gulls", affiliation="")
    row, column, sentence = the_problem(first, a_row(5, team="GULLS", affiliation=""))
    assert (row, column) == (3, "team")
    assert "in row 2" in sentence


def test_the_same_lane_and_team_in_another_heat_or_round_are_fine() -> None:
    assert problems_of(a_row(), a_row(heat=2), a_row(round="Final")) == ()


def test_a_team_with_two_affiliations_in_one_event_is_named() -> None:
    first = a_row(4, team="Gulls", affiliation="Harbour")
    again = a_row(4, team="Gulls", affiliation="Hill", round="Final")
    row, column, sentence = the_problem(first, again)
    assert (row, column) == (3, "affiliation")
    assert "“Harbour” in row 2" in sentence
    assert problems_of(first, again | {"event": "Men 4x100"}) == ()
    assert problems_of(first, again | {"affiliation": ""}) == ()


def test_an_event_that_is_two_relays_is_named() -> None:
    row, column, _ = the_problem(
        a_row(4, event="Open", relay="4x100"), a_row(5, event="Open", relay="4x400")
    )
    assert (row, column) == (3, "relay")


def test_a_heat_with_two_start_times_is_named() -> None:
    row, column, _ = the_problem(a_row(4, scheduled="14:20"), a_row(5, scheduled="14:25"))
    assert (row, column) == (3, "scheduled")


def test_an_event_of_unclear_relay_is_named_once() -> None:
    assert len(problems_of(*(a_row(lane, event="Sack race") for lane in range(1, 9)))) == 1


def test_a_list_without_teams_is_named() -> None:
    (problem,) = read_start_list(b"event,round,heat,lane,team\r\n")[1]
    assert "names no team" in problem.problem


def test_a_missing_column_does_not_hide_what_else_is_wrong() -> None:
    content = b"event,round,heat,team\r\nWomen 4x100,Heats,0,Gulls\r\n"
    problems = read_start_list(content)[1]
    assert [(problem.row, problem.column) for problem in problems] == [(1, "lane"), (2, "heat")]


def test_all_problems_come_in_one_pass_and_in_the_order_of_the_rows() -> None:
    problems = problems_of(
        a_row(11, team="="),
        a_row(4, heat=0, event=""),
        a_row(5, team="Gulls"),
        a_row(5, team="Gulls", affiliation="Other", leg5="Reserve"),
    )
    assert [(problem.row, problem.column) for problem in problems] == [
        (2, "team"),
        (2, "lane"),
        (3, "event"),
        (3, "heat"),
        (5, "leg5"),
        (5, "lane"),
        (5, "team"),
        (5, "affiliation"),
    ]


@pytest.mark.slow
def test_2000_heats_are_read_from_csv_and_from_xlsx() -> None:
    rows = [
        a_row(
            at % 8 + 1,
            event=f"Women 4x100 {at // 4000}",
            heat=at // 8 % 500 + 1,
            team=f"Team {at}",
            **{f"leg{leg}": f"Runner {at}.{leg}" for leg in range(1, 5)},
        )
        for at in range(16_000)
    ]
    found = good(*rows)
    assert len(found.heats) == 2_000
    assert sum(len(heat.entries) for heat in found.heats) == 16_000
    assert read_start_list(as_xlsx(rows)) == (found, ())
