"""What the jury has undone on another protest is no more appealed than what it decided on its own.

The jury's decision is final: World Athletics TR8.11 (published summary); new conclusive evidence
reopens it (TR8.9, from memory). Appeals are measured from the amended announcement, 30 minutes
(TR8.7, published summary). That this counts anew for what is given back is common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import httpx
import pytest

from app.ids import new_id
from tests.appeals.desk import an_appeal, decided
from tests.appeals.test_done_already import lodged_by_heron, rejected_at_last, upheld
from tests.appeals.test_last_instance import a_protest_of
from tests.appeals.test_reopening import decide_again, open_again
from tests.builders import Json, MeetAtHand, a_problem
from tests.forms.pdf_reading import read_text
from tests.rounds.builders import Event, two_heats
from tests.rulings.test_rulings import disqualifications

UndoneBy = Callable[[Event, Json], list[Json]]
HALF_AN_HOUR_ON = timedelta(minutes=31)


@pytest.fixture
def event(meet: MeetAtHand) -> Event:
    """Two heats that are announced; Gull is second of the first one."""
    event = two_heats(meet)
    event.set(lanes=8, by_time=1)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    return event


def gull_out(event: Event) -> Json:
    """Tern's protest, upheld by the referee: Gull is disqualified."""
    order = {"order": "disqualify", "team": event.team("Gull"), "infringement": "help_given"}
    return decided(event.meet, a_protest_of(event, "Tern"), "upheld", orders=[order])


def undoing(protest: Json) -> list[Json]:
    return [{"order": "undo", "decision": protest["decision"]["id"]}]


def undone(event: Event, orders: list[Json]) -> Json:
    """Heron's protest was rejected, and it was told so; on its appeal the jury orders this."""
    return upheld(event, lodged_by_heron(event, sought=[]), orders=orders)


def amended(event: Event, heat: str = "heats 1") -> Json:
    told = event.announce(heat, remark="By decision.")
    assert told.status_code == 201, told.text
    return dict(told.json())


def later(event: Event, by: timedelta) -> None:
    event.meet.service.clock.move(by)


def remedies(told: Json) -> list[str]:
    return [one["remedy"] for one in told["windows"]]


def lodged(event: Event, protest: Json, name: str = "Tern", **changes: object) -> httpx.Response:
    sent = an_appeal(event.meet, protest, team=event.team(name), **{"sought": [], **changes})
    return event.meet["results"].put(f"appeals/{new_id()}", sent)


def refused(answer: httpx.Response, number: int) -> None:
    told = a_problem(answer, 409, "not-protestable")
    assert told["appeal"] == number
    assert f"has undone the decision on this protest, on appeal {number}" in told["detail"]
    assert "there is no appeal against it (TR8.11)" in told["detail"]
    assert "reopen that appeal" in told["detail"]


def of_appeals(event: Event, *, by_advice: bool = False) -> list[Json]:
    """The windows for appeals by announcements of the first heat, or by advices, as they opened."""
    found = event.meet.service.http.get(f"/api/meets/{event.meet.id}/windows.json").json()
    return sorted(
        (one for one in _of_first_heat(event, found) if (one["decision"] is not None) is by_advice),
        key=lambda one: str(one["opened_at"]),
    )


def _of_first_heat(event: Event, found: Json) -> list[Json]:
    asked = ("appeal", event.heat())
    return [one for one in found["windows"] if (one["remedy"], one["heat"]) == asked]


def told_to_all(event: Event, protest: Json) -> set[str]:
    read = event.meet.desk.get(f"protests/{protest['id']}").json()
    return {one["words"] for one in read["decision"]["affected"]}


def is_final(event: Event) -> bool:
    return bool(event.result()["announced"]["final_since"])


def restoring(event: Event) -> list[Json]:
    """Gull's disqualification is to count again."""
    (out,) = disqualifications(event.hand("heats 1"))
    return [{"order": "restore", "disqualification": out["id"]}]


def by_undoing(_event: Event, protest: Json) -> list[Json]:
    return undoing(protest)


def by_setting_aside(event: Event, _protest: Json) -> list[Json]:
    return [{**restoring(event)[0], "order": "set aside"}]


@pytest.mark.parametrize("orders", [by_undoing, by_setting_aside])
@pytest.mark.parametrize("is_told", [False, True])
def test_what_the_jury_has_undone_is_not_appealed(
    event: Event, is_told: bool, orders: UndoneBy
) -> None:
    protest = gull_out(event)
    if is_told:
        assert remedies(amended(event)) == ["protest", "appeal"]
    heard = undone(event, orders(event, protest))
    assert "appeal" not in remedies(amended(event))
    later(event, HALF_AN_HOUR_ON)
    assert is_final(event)
    for sought in ([], restoring(event), undoing(heard)):
        refused(lodged(event, protest, sought=sought), heard["number"])
    assert is_final(event)
    printed = event.meet["jury"].get(f"protests/{protest['id']}/form.pdf").content
    form = " ".join(read_text(printed).split())
    assert "undone since" in form
    assert f"on: appeal {heard['number']} of Heron" in form


def test_the_time_for_an_appeal_is_void_once_the_jury_has_undone_what_was_decided(
    event: Event,
) -> None:
    protest = gull_out(event)
    amended(event)
    (window,) = of_appeals(event)
    assert window["state"] == "open"
    heard = undone(event, undoing(protest))
    (window,) = of_appeals(event)
    assert window["state"] == "void"
    assert "The jury has decided on what could be appealed" in window["does_not_count"]
    amended(event)
    pending = event.result()["announced"]["pending"]
    assert pending
    assert not [one for one in pending if one.startswith("Appeals")]
    assert told_to_all(event, protest) == {"the jury has undone this decision (TR8.11): no window"}
    read = event.meet.desk.get(f"protests/{protest['id']}").json()
    assert (read["appeals_until"], read["awaits"]) == ("", [])
    printed = event.meet["jury"].get(f"decisions/{protest['decision']['id']}/form.pdf").content
    text = " ".join(read_text(printed).split())
    assert f"The jury has undone this on appeal {heard['number']}" in text
    assert "Appeals until" not in text


def test_what_an_appeal_heard_again_gives_back_is_told_and_appealed_anew(event: Event) -> None:
    protest = gull_out(event)
    amended(event)
    heard = undone(event, undoing(protest))
    later(event, HALF_AN_HOUR_ON)
    amended(event)
    rejected_at_last(event, heard)
    waits = "opens with the amended announcement of heat 1, if one is made"
    assert waits in told_to_all(event, protest)
    assert event.meet.desk.get(f"protests/{protest['id']}").json()["awaits"]
    told = amended(event)
    assert remedies(told) == ["protest", "appeal"]
    assert told["because"][0].startswith("Protest 1 of Tern, which stands again, was upheld by")
    first, again = of_appeals(event)
    assert (first["state"], again["state"]) == ("void", "open")
    before = f"/api/meets/{event.meet.id}/announcements/{first['announcement']}"
    aloud = event.meet.service.http.get(f"{before}.txt").text
    assert (
        "Appeals can be lodged anew from the announcement that tells the decision again." in aloud
    )
    assert "the jury has decided, and that is final" not in aloud
    assert "opens anew with the announcement that tells it" in first["does_not_count"]
    (advised,) = of_appeals(event, by_advice=True)
    assert "The jury has decided on what could be appealed" in advised["does_not_count"]
    closes = again["closes_at_local"]
    until = event.meet.desk.get(f"protests/{protest['id']}").json()["appeals_until"]
    assert until.startswith(f"Appeals until {closes}")
    assert {one.split(" until")[0] for one in told_to_all(event, protest)} >= {"appeal"}
    in_time = lodged(event, protest, "Gull").json()
    assert (in_time["state"], in_time["timeliness"]["in_time"]) == ("admitted", True)
    assert in_time["timeliness"]["opened_by"] == f"announcement {told['number']}"


@pytest.mark.parametrize("is_told", [False, True])
def test_an_appeal_against_what_was_given_back_is_late_once_its_time_is_over(
    event: Event, is_told: bool
) -> None:
    """Whether the referee's decision had been announced before the jury undid it, or never."""
    protest = gull_out(event)
    if is_told:
        amended(event)
    heard = undone(event, undoing(protest))
    amended(event)
    rejected_at_last(event, heard)
    told = amended(event)
    assert "appeal" in remedies(told)
    amended(event, "heats 2")
    later(event, HALF_AN_HOUR_ON)
    assert is_final(event)
    late = lodged(event, protest, "Gull").json()
    assert (late["state"], late["marks"]) == ("late", ["late"])
    assert late["timeliness"]["opened_by"] == f"announcement {told['number']}"


def test_another_heat_tells_what_was_given_back_after_it_was_told_in_its_own(event: Event) -> None:
    protest = gull_out(event)
    amended(event)
    amended(event, "heats 2")
    heard = undone(event, undoing(protest))
    rejected_at_last(event, heard)
    early = event.announce("heats 2", remark="Again.").json()
    assert not [one for one in early["because"] if "which stands again" in one]
    amended(event)
    assert "which stands again" in amended(event, "heats 2")["because"][0]


def test_what_is_undone_once_more_is_no_more_appealed(event: Event) -> None:
    protest = gull_out(event)
    heard = undone(event, undoing(protest))
    rejected_at_last(event, heard)
    amended(event)
    again = decide_again(event, open_again(event, heard), orders=undoing(protest))
    assert again.status_code == 201, again.text
    refused(lodged(event, protest), heard["number"])
    assert [one["state"] for one in of_appeals(event)] == ["void"]


def test_what_stays_undone_for_a_second_appeal_is_not_appealed(event: Event) -> None:
    """The first appeal is rejected at last; what the jury found done by it on another one stays."""
    protest = gull_out(event)
    other = lodged_by_heron(event, "Plover", sought=undoing(protest))
    heard = undone(event, undoing(protest))
    upheld(event, other, done_already="On the other appeal.")
    rejected_at_last(event, heard)
    refused(lodged(event, protest), heard["number"])


def test_what_the_jury_undid_in_part_is_appealed_as_to_the_rest(event: Event) -> None:
    gull = {"order": "disqualify", "team": event.team("Gull"), "infringement": "help_given"}
    heron = {"order": "advance", "team": event.team("Heron")}
    protest = decided(event.meet, a_protest_of(event, "Tern"), "upheld", orders=[gull, heron])
    undone(event, by_setting_aside(event, protest))
    assert "appeal" in remedies(amended(event))
    assert lodged(event, protest, "Gull").json()["timeliness"]["in_time"]
