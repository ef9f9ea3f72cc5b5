"""The chief's sheet over HTTP: who stands where, on one page, however large the crew.

Sizes of crews are our own: 24 officials who watch two lanes each, and 60 who take turns, in the
worst case after every heat. What nobody watches is held against what `GET …/crew` tells.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.forms.chiefs_sheet import TRACKS, initials_of
from app.forms.crew_on_track import CrewOnTrack, draw_crew_on_track
from app.forms.flow import Flow
from app.forms.painting import Area, SetText, Trace
from app.forms.paper import Paper
from app.ids import new_id
from app.rules.track import Track
from tests.builders import (
    Json,
    MeetAtHand,
    a_bare_meet,
    a_post,
    a_problem,
    a_start_list,
    add_official,
)
from tests.crew.test_briefing import (
    MAY,
    MAY_NOT,
    OVAL,
    a_newcomer,
    call_off,
    load,
    plan,
    with_umpires,
)
from tests.forms.pdf_reading import count_pages
from tests.forms.test_printing import check_rims
from tests.forms.test_structure import elements_of, read_structure
from tests.running import Service

SHEET = "crew/chiefs-sheet.pdf"


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return with_umpires(a_bare_meet(service, last_day="2026-06-13"))


def ask(meet: MeetAtHand, **params: Any) -> bytes:
    answer = meet.organiser.get(SHEET, params=params or None)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert count_pages(answer.content) == 1
    return answer.content


def told(meet: MeetAtHand, **params: Any) -> str:
    return " ".join(text for _, text in read_structure(ask(meet, **params)))


def timed(meet: MeetAtHand, heats: int, event: str = "Women 4x100 m", hour: int = 10) -> list[str]:
    """Heats ten minutes apart; their ids."""
    head, *rows = a_start_list(heats, event).splitlines()
    lines = [f"{head},scheduled"]
    for row in rows:
        number = int(row.split(",")[2]) - 1
        lines.append(f"{row},{hour + number // 6:02}:{number % 6}0")
    loaded = meet.organiser.post("start-lists", content="\n".join(lines))
    assert loaded.status_code == 200, loaded.text
    return [
        one["id"]
        for one in meet.organiser.get("heats").json()["heats"]
        if one["event_name"] == event
    ]


def test_the_sheet_says_at_each_edge_who_watches_which_lanes_and_what_nobody_watches(
    meet: MeetAtHand,
) -> None:
    load(meet, "Women 4x100 m")
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(
        meet,
        a_post(new_id(), bo, take_over=2, edge="start", lanes=[1, 2, 3], side="outside"),
        a_post(new_id(), cleo, take_over=2, edge="start", lanes=[4, 5, 6, 7, 8]),
        a_post(new_id(), cleo, take_over=2, edge="end", lanes=[1, 2]),
    )
    words = told(meet)
    assert "2S take-over 2, start lanes 1–3, outside Bo Halyard" in words
    assert "lanes 4–8, inside Cleo Anchor 2E take-over 2, end lanes 1–2, inside Cleo" in words
    assert "lanes 3–8 nobody" in words
    for gap in meet.organiser.get("crew").json()["unwatched"]:
        name = f"{gap['take_over']}{'S' if gap['edge'] == 'start' else 'E'}"
        assert (
            f"4x100, {name} {gap['words'].rpartition('end, ' if name[1] == 'E' else 'start, ')[2]}"
            in words
        )


def test_relays_with_the_same_crew_share_a_table_and_others_have_their_own(
    meet: MeetAtHand,
) -> None:
    load(meet, "Women 4x100 m", "Men 4x200 m", "Men 4x400 m")
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(
        meet,
        a_post(new_id(), bo, relays=["4x100", "4x200"]),
        a_post(new_id(), cleo, relays=["4x400"]),
    )
    words = told(meet)
    assert "4x100, 4x200 lanes, side all day" in words
    assert "4x400 lanes, side all day" in words


def test_a_change_in_the_course_of_the_day_has_a_column_of_its_own(meet: MeetAtHand) -> None:
    heats = timed(meet, 6)
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(
        meet,
        a_post(new_id(), bo, heats=heats[:2]),
        a_post(new_id(), cleo, heats=heats[2:4]),
        a_post(new_id(), bo, heats=heats[5:]),
    )
    words = told(meet)
    assert "10:00–10:10 10:20–10:30 10:40 10:50" in words
    row = words.partition("1E take-over 1, end lanes 3–4, inside ")[2]
    assert row.startswith("Bo Halyard Cleo Anchor – Bo Halyard")
    assert "4x100, 1E lanes 1–8 (10:40)" in words
    assert "–: at that time another row tells of these lanes, or nobody runs in them." in words


def test_where_no_row_has_a_dash_none_is_explained(meet: MeetAtHand) -> None:
    load(meet, "Women 4x100 m")
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    assert "another row" not in told(meet)


def test_lanes_that_no_heat_uses_are_unwatched_by_nobody_and_who_stands_there_is_shown(
    meet: MeetAtHand,
) -> None:
    load(meet, "Women 4x100 m", lanes=[1, 2, 3, 4])
    people = [a_newcomer(meet, f"Umpire {letter}") for letter in "ABCDEFGHIJKL"]
    places = [
        (take_over, edge, lanes)
        for take_over in (1, 2, 3)
        for edge in ("start", "end")
        for lanes in ([1, 2, 3, 4], [5, 6, 7, 8])
    ]
    plan(
        meet,
        *(
            a_post(new_id(), who, take_over=take_over, edge=edge, lanes=lanes)
            for who, (take_over, edge, lanes) in zip(people, places, strict=True)
        ),
    )
    words = told(meet)
    assert words.count("lanes 5–8, inside Umpire") == 6
    assert [letter for letter in "ABCDEFGHIJKL" if f"Umpire {letter}" not in words] == []
    assert "nobody" not in words
    assert "Nobody watches" not in words


def test_lanes_in_use_that_nobody_watches_are_told_and_empty_ones_not(meet: MeetAtHand) -> None:
    load(meet, "Women 4x100 m", lanes=[1, 2, 3, 4])
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id, lanes=[1, 2, 8]))
    words = told(meet)
    assert "4x100, 1E lanes 3–4" in words
    assert "4x100, 1S lanes 1–4" in words


def test_before_the_draw_all_lanes_are_to_be_watched(meet: MeetAtHand) -> None:
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id, lanes=[1, 2], relays=["4x100"]))
    assert "4x100, 1E lanes 3–8" in told(meet)


def test_whose_only_heat_was_called_off_is_told(meet: MeetAtHand) -> None:
    first, second = timed(meet, 2)
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(meet, a_post(new_id(), bo, heats=[second]), a_post(new_id(), cleo, heats=[first]))
    call_off(meet, second)
    assert "In the plan, but their heats were called off: Bo Halyard." in told(meet)


def test_lanes_that_a_heat_leaves_empty_are_no_change(meet: MeetAtHand) -> None:
    load(meet, "Women 4x100 m")
    load(meet, "Men 4x100 m", lanes=[1, 2, 3])
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(meet, a_post(new_id(), bo, lanes=[1, 2]), a_post(new_id(), cleo, lanes=[7, 8]))
    assert "lanes, side all day" in told(meet)


def test_who_stands_over_a_lane_of_their_own_club_is_told_with_the_heats(
    meet: MeetAtHand,
) -> None:
    """Teams of `a_start_list` in lane n are of Club n."""
    dee = a_newcomer(meet, "Dee Mooring", affiliation="club 3")
    ely = a_newcomer(meet, "Ely Fender", affiliation="Club 5")
    load(meet, "Women 4x100 m", heats=4)
    plan(meet, a_post(new_id(), dee), a_post(new_id(), ely))
    words = told(meet)
    where = "Women 4x100 m, heats: heat 1, Women 4x100 m, heats: heat 2 and 2 more heats"
    assert f"Over their own club's lane: Dee Mooring (club 3): {where}." in words
    assert "Ely Fender (Club 5)" not in words


def test_who_is_wanted_at_two_places_or_was_left_out_is_told(meet: MeetAtHand) -> None:
    gone, bo = a_newcomer(meet, "Ina Gone"), meet["Bo Halyard"].id
    load(meet, "Women 4x100 m")
    plan(meet, a_post(new_id(), gone), *(a_post(new_id(), bo, take_over=one) for one in (1, 3)))
    put = {"name": "Ina Gone", "roles": ["umpire"], "active": False}
    etag = meet.organiser.get(f"officials/{gone}").headers["ETag"]
    assert meet.organiser.put(f"officials/{gone}", put, etag=etag).is_success
    words = told(meet)
    (apart,) = meet.organiser.get("crew").json()["apart"]
    assert f"At two places during one race: {apart['words']}." in words
    assert "In the plan, but left out: Ina Gone." in words


def a_large_crew(meet: MeetAtHand, size: int, changes: int) -> None:
    """All edges of all lanes watched, by other people after each change, for three relays."""
    people = [a_newcomer(meet, f"Umpire Longlastname {number:02}") for number in range(size)]
    events = [timed(meet, 33), timed(meet, 33, "Men 4x200 m", 9), timed(meet, 33, "4x400 m", 8)]
    lanes = [[1, 2], [3, 4], [5, 6], [7, 8]]
    places = [(t, e, its) for t in (1, 2, 3) for e in ("start", "end") for its in lanes]
    posts: list[Json] = []
    for turn in range(changes):
        first, last = 33 * turn // changes, 33 * (turn + 1) // changes
        some = [heat for its in events for heat in its[first:last]]
        for number, (take_over, edge, its) in enumerate(places):
            who = people[(number + turn * 5) % size]
            posts.append(
                a_post(new_id(), who, take_over=take_over, edge=edge, lanes=its, heats=some)
            )
    plan(meet, *posts)


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize(("size", "changes"), [(24, 1), (60, 3), (60, 33)])
def test_a_full_crew_and_a_hundred_heats_stay_on_one_page_and_nobody_is_left_out(
    running_service: Service, size: int, changes: int, paper: str
) -> None:
    hand = a_bare_meet(running_service, last_day="2026-06-13")
    a_large_crew(hand, size, changes)
    pdf = ask(hand, paper=paper)
    assert check_rims(pdf) == []
    words = " ".join(text for _, text in read_structure(pdf))
    names = {one["official_name"] for one in hand.organiser.get("crew").json()["posts"]}
    assert [name for name in sorted(names) if name not in words] == []


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("changes", [8, 33])
def test_a_plan_of_single_heats_says_by_whom_and_from_which_side_lanes_are_watched(
    running_service: Service, changes: int, paper: str
) -> None:
    """Nobody is a number that has to be told from a lane."""
    hand = a_bare_meet(running_service, last_day="2026-06-13")
    a_large_crew(hand, 24, changes)
    pdf = ask(hand, paper=paper)
    assert check_rims(pdf) == []
    words = " ".join(text for _, text in read_structure(pdf))
    lanes = re.findall(r"\b1–2,? in(?:side)?:? (\S+)", words)
    assert lanes
    assert [one for one in lanes if not re.match(r"U\d\d|Umpire", one)] == []


@given(st.lists(st.text("abé -ß", min_size=1).filter(lambda one: bool(one.strip())), max_size=40))
def test_initials_tell_all_people_apart(people: list[str]) -> None:
    initials = initials_of(people)
    assert len(set(initials)) == len(people)
    assert all(one[0] == name.split()[0][0] for one, name in zip(initials, people, strict=True))


def test_initials_grow_where_two_begin_alike() -> None:
    assert initials_of(["Bo Halyard", "Bea Harbour", "Cleo Anchor", "Bo Halyard", "Rua"]) == [
        "BHaly",
        "BHar",
        "CA",
        "BHaly2",
        "Ru",
    ]


def test_the_edges_of_each_zone_have_names_on_the_track(meet: MeetAtHand) -> None:
    load(meet, "Women 4x100 m", "Men 4x400 m")
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    words = told(meet)
    for name in ("1S", "1E", "2S", "2E", "3S", "3E"):
        assert words.count(name) >= 2
    assert "2S 3S" in words  # TR24.3 and TR24.6: all but the first of a 4x400 lie at the finish


@pytest.mark.parametrize("tall", TRACKS)
@pytest.mark.parametrize("track", [Track(), Track(**OVAL)])
def test_the_finish_line_has_its_name_and_an_arrow_shows_how_the_home_straight_is_run(
    track: Track, tall: float
) -> None:
    flow = Flow(Paper.A4, foot_height=20.0)
    draw_crew_on_track(flow, CrewOnTrack("4x200", track, {}), (50.0, 100.0), (180.0, tall))
    shapes = flow.pages[0]
    finish, title = (one for one in shapes if isinstance(one, SetText))
    (line,) = (one for one in shapes if isinstance(one, Trace) and one.dashes)
    (arrow,) = (one for one in shapes if isinstance(one, Area))
    (x, into_field), (_, outer) = line.points
    assert finish.x < x < finish.x + finish.line.width
    assert title.y + 2.0 < finish.y - 5.0 < finish.y < into_field < outer
    tip, *base = arrow.corners
    assert {there < tip[0] for there, _ in base} == {True}
    assert tip[0] < finish.x


def test_without_a_lap_there_is_a_sheet_all_the_same_that_says_why_nothing_is_drawn(
    service: Service,
) -> None:
    """By the first measures a lap would be 209 m or so."""
    odd = with_umpires(a_bare_meet(service, track={"radius_m": 17.2, "straight_m": 50.0}))
    plan(odd, a_post(new_id(), odd["Bo Halyard"].id, relays=["4x100"]))
    words = told(odd)
    assert "1E take-over 1, end" in words
    assert "Zones not known on this track: 4x100." in words


def test_on_an_oval_the_relays_that_have_zones_there_are_drawn_and_the_others_named(
    service: Service,
) -> None:
    oval = with_umpires(a_bare_meet(service, track=OVAL))
    plan(oval, a_post(new_id(), oval["Bo Halyard"].id, relays=["4x100", "4x200"]))
    pdf = ask(oval)
    alts = [str(one["/Alt"]) for one in elements_of(pdf) if one["/S"] == "/Figure"]
    assert [one.partition(" on")[0] for one in alts] == ["The zones of the 4x200"]
    words = told(oval)
    assert "1E take-over 1, end" in words
    assert "Zones not known on this track: 4x100." in words


def test_where_the_edition_has_no_zones_on_an_oval_the_sheet_shows_none(service: Service) -> None:
    oval = with_umpires(a_bare_meet(service, track=OVAL, edition="nfhs-2019"))
    plan(oval, a_post(new_id(), oval["Bo Halyard"].id, relays=["4x200"]))
    assert not [one for one in elements_of(ask(oval)) if one["/S"] == "/Figure"]
    assert "Zones not known on this track: 4x200." in told(oval)


def test_without_a_plan_there_is_no_sheet(meet: MeetAtHand) -> None:
    assert "plan the crew" in a_problem(meet.organiser.get(SHEET), 404, "not-found")["detail"]


@pytest.mark.parametrize("role", MAY + MAY_NOT)
def test_who_appoints_and_who_leads_the_crew_print_the_sheet(meet: MeetAtHand, role: str) -> None:
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    person = meet.organiser if role == "organiser" else add_official(meet, role, role)
    before = meet.head()
    answer = person.get(SHEET)
    if role in MAY:
        assert answer.status_code == 200
        assert "no-store" in answer.headers["cache-control"]
    else:
        a_problem(answer, 403, "role-missing")
    assert meet.head() == before
