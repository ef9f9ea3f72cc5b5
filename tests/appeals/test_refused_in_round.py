"""What the jury refused about who goes on is refused in every race of the round.

Who goes on is decided of the round and not of a heat, so a protest that names a re-run of other
teams asks for the same; a re-run in which the team itself ran is a race of its own. Both are common
practice. That the jury's decision is final: World Athletics TR8.11 (published summary).
"""

from __future__ import annotations

import httpx
import pytest

from tests.appeals.desk import appeal, decide, decided, lodge
from tests.appeals.test_last_instance import refused, the_jury
from tests.builders import Json, MeetAtHand
from tests.rounds.builders import Event, two_heats

HEAT = "heats 1"
ABOUT_ROUND = ["advance", "extra lane", "recall"]


@pytest.fixture
def event(meet: MeetAtHand) -> Event:
    """Four of six are drawn into the final; lanes 7 and 8 of it are free."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.00", "42.10", "42.90")
    event.run("heats 2", "42.05", "42.20", "42.95")
    event.draw({"final 1": ("Tern", "Gull", "Plover", "Curlew")})
    return event


def a_protest_in(event: Event, heat: str, name: str = "Gull") -> Json:
    sent = {"heat": event.heat(heat), "team": event.team(name), "about": "other"}
    return lodge(event.meet, {**sent, "lodged_by": "Mira Anchor"})


def a_re_run_of(event: Event, name: str) -> str:
    """The team runs again alone; gives the heat's name."""
    again = {"order": "run again", "teams": [event.team(name)], "time_to_beat": "42.20"}
    protest = a_protest_in(event, HEAT, name)
    decided(event.meet, protest, "upheld", orders=[again])
    known = set(event.heats)
    event.read_again()
    (run,) = set(event.heats) - known
    event.run(run, "42.30")
    return run


def ordered(event: Event, heat: str, *orders: Json) -> httpx.Response:
    """What the referee orders on a protest of Gull that names this heat."""
    return decide(event.meet, a_protest_in(event, heat), "upheld", orders=list(orders))


def for_heron(event: Event, kind: str) -> Json:
    lane = {"lane": 7} if kind == "extra lane" else {}
    return {"order": kind, "team": event.team("Heron"), **lane}


def asked_in_vain(event: Event, heat: str, kind: str) -> None:
    """The jury has refused Heron's order on an appeal that names this heat."""
    sought = [for_heron(event, kind)]
    if kind == "extra lane":
        sought.insert(0, for_heron(event, "advance"))
    if kind == "recall":
        assert ordered(event, HEAT, for_heron(event, "advance")).status_code == 201
    protest = a_protest_in(event, heat)
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    the_jury(event.meet, appeal(event.meet, protest, sought=sought), "rejected")


@pytest.mark.parametrize("kind", ABOUT_ROUND)
def test_what_was_refused_in_a_heat_is_not_had_by_naming_a_re_run_of_others(
    event: Event, kind: str
) -> None:
    asked_in_vain(event, HEAT, kind)
    refused(ordered(event, a_re_run_of(event, "Gull"), for_heron(event, kind)))


@pytest.mark.parametrize("kind", ABOUT_ROUND)
def test_what_was_refused_by_naming_a_re_run_of_others_is_not_had_in_the_heat(
    event: Event, kind: str
) -> None:
    run = a_re_run_of(event, "Gull")
    asked_in_vain(event, run, kind)
    refused(ordered(event, HEAT, for_heron(event, kind)))
    refused(ordered(event, "heats 2", for_heron(event, kind)))
    refused(ordered(event, a_re_run_of(event, "Tern"), for_heron(event, kind)))


def test_what_happened_to_the_team_in_its_own_re_run_is_another_matter(event: Event) -> None:
    asked_in_vain(event, HEAT, "advance")
    run = a_re_run_of(event, "Heron")
    done = ordered(event, run, for_heron(event, "advance"))
    assert done.status_code == 201, done.text


def test_what_was_refused_in_the_teams_own_re_run_binds_in_no_other_race(event: Event) -> None:
    run = a_re_run_of(event, "Heron")
    asked_in_vain(event, run, "advance")
    refused(ordered(event, run, for_heron(event, "advance")))
    done = ordered(event, HEAT, for_heron(event, "advance"))
    assert done.status_code == 201, done.text


def test_what_was_refused_is_not_brought_about_by_undoing_a_decision_on_a_re_run(
    event: Event,
) -> None:
    run = a_re_run_of(event, "Gull")
    given = ordered(event, run, for_heron(event, "advance")).json()["decision"]["id"]
    protest = a_protest_in(event, HEAT)
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    sought = [for_heron(event, "recall")]
    the_jury(event.meet, appeal(event.meet, protest, sought=sought), "rejected")
    refused(ordered(event, run, {"order": "undo", "decision": given}))


def test_a_race_that_was_run_anew_since_is_another_matter_in_a_re_run_too(event: Event) -> None:
    asked_in_vain(event, HEAT, "advance")
    assert ordered(event, HEAT, {"order": "run again"}).status_code == 201
    event.read_again()
    event.start(HEAT)
    event.load(HEAT, "42.00", "42.10", "42.90")
    run = a_re_run_of(event, "Gull")
    done = ordered(event, run, for_heron(event, "advance"))
    assert done.status_code == 201, done.text


def test_what_was_refused_by_naming_a_re_run_of_a_race_is_free_once_that_was_run_anew(
    event: Event,
) -> None:
    asked_in_vain(event, a_re_run_of(event, "Gull"), "advance")
    assert ordered(event, HEAT, {"order": "run again"}).status_code == 201
    event.read_again()
    event.start(HEAT)
    event.load(HEAT, "42.00", "42.10", "42.90")
    done = ordered(event, HEAT, for_heron(event, "advance"))
    assert done.status_code == 201, done.text


def test_of_other_orders_a_re_run_stays_a_race_of_its_own(event: Event) -> None:
    """A team is disqualified for what it did in that race."""
    out = {"order": "disqualify", "team": event.team("Gull"), "infringement": "help_given"}
    protest = a_protest_in(event, HEAT, "Heron")
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    the_jury(event.meet, appeal(event.meet, protest, sought=[out]), "rejected")
    refused(ordered(event, HEAT, out))
    done = ordered(event, a_re_run_of(event, "Gull"), out)
    assert done.status_code == 201, done.text
