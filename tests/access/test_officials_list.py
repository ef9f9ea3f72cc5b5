"""Officials named from a file: all that is wrong with it told at once, and sent twice no harm."""

from __future__ import annotations

from tests.builders import Json, MeetAtHand


def send(meet: MeetAtHand, content: str, *, check: bool = False) -> Json:
    """The list sent by the organiser, and what is told of it."""
    params = {"check": "true"} if check else None
    answer = meet.organiser.post("officials-list", content=content, params=params)
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def roles_of(meet: MeetAtHand) -> dict[str, list[str]]:
    return {one["name"]: one["roles"] for one in meet.organiser.get("officials").json()}


LIST = "name,affiliation,roles\nNia Gunwale,Quay AC,umpire\nOtto Keel,,Zone Umpire; Referee\n"


def test_a_list_is_looked_at_first_and_then_names_everybody_in_it(meet: MeetAtHand) -> None:
    before = roles_of(meet)
    looked = send(meet, LIST, check=True)
    assert looked["added"] == ["Nia Gunwale", "Otto Keel"]
    assert not looked["stored"]
    assert roles_of(meet) == before
    assert send(meet, LIST)["stored"]
    assert roles_of(meet) == before | {
        "Nia Gunwale": ["umpire"],
        "Otto Keel": ["referee", "umpire"],
    }


def test_the_same_list_again_changes_nothing_and_leaves_no_entry(meet: MeetAtHand) -> None:
    send(meet, LIST)
    head = meet.head()
    again = send(meet, LIST)
    assert (again["added"], again["changed"], again["unchanged"]) == ([], [], 2)
    assert meet.head() == head


def test_who_is_known_by_name_gets_the_roles_of_the_list_and_keeps_the_affiliation(
    meet: MeetAtHand,
) -> None:
    send(meet, LIST)
    told = send(meet, "Name;Roles\nnia  gunwale;jury\n")
    assert told["changed"] == ["nia gunwale"]
    known = meet.organiser.get("officials").json()
    person = next(one for one in known if one["name"] == "nia gunwale")
    assert person["affiliation"] == "Quay AC"
    assert roles_of(meet)["nia gunwale"] == ["jury"]
    assert "Nia Gunwale" not in roles_of(meet)


def test_all_that_is_wrong_is_told_by_row_and_column_and_nothing_is_stored(
    meet: MeetAtHand,
) -> None:
    before = roles_of(meet)
    bad = "name,roles\nNia Gunwale,umpire\n,umpire\nOtto Keel,timekeeper\nNIA GUNWALE,jury\n"
    answer = meet.organiser.post("officials-list", content=bad)
    assert answer.status_code == 422
    places = [(one["row"], one["column"]) for one in answer.json()["problems"]]
    assert places == [(3, "name"), (4, "roles"), (5, "name")]
    assert roles_of(meet) == before


def test_an_organiser_does_not_lose_the_role_by_a_list(meet: MeetAtHand) -> None:
    known = meet.organiser.get("officials").json()
    name = next(one["name"] for one in known if one["id"] == meet.organiser.id)
    told = send(meet, f"name,roles\n{name},umpire\n", check=True)
    assert [one["column"] for one in told["problems"]] == ["roles"]


def test_nobody_but_the_organiser_names_officials(meet: MeetAtHand) -> None:
    for role in ("umpire", "chief_umpire", "referee", "results", "jury"):
        assert meet[role].post("officials-list", content=LIST).status_code == 403
