"""A protest's and an appeal's papers printed later: they say what stands, and who said it."""

from __future__ import annotations

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
    team,
)
from tests.appeals.test_papers import words
from tests.builders import Json, MeetAtHand


def the_jury_decides(
    meet: MeetAtHand, lodged: Json, verdict: str = "upheld", **changes: object
) -> Json:
    """A panel of three hears what lies before it and decides."""
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, verdict).status_code == 201
    answer = jury_decides(meet, lodged, names[0], verdict, **changes)
    assert answer.status_code == 201, answer.text
    return dict(answer.json()["decision"])


def a_referred_protest(meet: MeetAtHand) -> tuple[Json, Json]:
    """A protest that the referee has referred to the jury, and what then lies before it."""
    protest = lodge(meet, a_protest(meet, ruled := an_announced_disqualification(meet)))
    out = decided(meet, protest, "referred", reasons="I ruled on it myself.")
    lodged = meet["jury"].get(f"appeals/{out['appeals'][0]}").json()
    return {**out, "ruled": ruled}, lodged


def test_a_referred_protests_form_says_what_the_referee_did_and_what_the_jury_decided(
    meet: MeetAtHand,
) -> None:
    """World Athletics TR8.7: the referee may refer the matter to the jury."""
    protest, lodged = a_referred_protest(meet)
    referred = protest["decision"]["decided_at_local"]
    told = words(meet, f"protests/{protest['id']}")
    assert f"awaits the jury referred: {referred} · by: referee, referee" in told
    assert "decided:" not in told
    out = the_jury_decides(meet, lodged, orders=set_aside(protest["ruled"]))
    told = words(meet, f"protests/{protest['id']}")
    chair, at = "juror 1, chair of the jury", out["decided_at_local"]
    assert f"upheld decided: {at} · by: {chair} · on: appeal 1 What was decided" in told
    assert f"by the referee referred to the jury, {referred}, by referee, referee" in told
    assert f"by the jury appeal 1: upheld, {at}, by {chair}" in told
    assert "The disqualification of Plover 1" in told


def test_a_protests_form_says_that_the_jury_changed_what_the_referee_decided(
    meet: MeetAtHand,
) -> None:
    heard = an_upheld_appeal(meet)
    protest = meet.desk.get(f"protests/{heard['protest']}").json()
    told = words(meet, f"protests/{protest['id']}")
    at, before = heard["decision"]["decided_at_local"], protest["decision"]["decided_at_local"]
    by = f"decided: {at} · by: juror 1, chair of the jury · on: appeal 1 of Plover 1"
    assert f"changed by the jury {by}" in told
    assert f"by the referee rejected, {before}, by referee, referee" in told
    assert f"by the jury appeal 1 of Plover 1: upheld, {at}" in told


def test_a_protests_form_says_so_too_where_another_team_appealed(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    assert "upheld decided: " in words(meet, f"protests/{protest['id']}")
    announced(meet)
    lodged = appeal(meet, protest, team=team(meet, 5))
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    the_jury_decides(meet, lodged, orders=undo)
    told = words(meet, f"protests/{protest['id']}")
    assert "changed by the jury decided: " in told
    assert "appeal 1 of Curlew 1: upheld" in told
    assert "by the referee upheld, " in told


def test_the_referees_decision_stands_on_a_protests_form_where_the_appeal_was_rejected(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    out = the_jury_decides(meet, appeal(meet, protest), "rejected")
    told = words(meet, f"protests/{protest['id']}")
    stands = f"rejected decided: {protest['decision']['decided_at_local']} · by: referee, referee"
    assert f"{stands} What was decided" in told
    assert f"appeal 1 of Plover 1: rejected, {out['decided_at_local']}, by juror 1" in told


def test_a_protests_form_says_that_another_decision_undid_what_was_ordered(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    other = lodge(meet, a_protest(meet, team=team(meet, 6)))
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    then = decided(meet, other, "upheld", orders=undo)["decision"]["decided_at_local"]
    told = words(meet, f"protests/{protest['id']}")
    whose = f"protest {other['number']} of {other['team_name']}"
    assert f"undone since decided: {then} · by: referee, referee · on: {whose}" in told
    assert f"by the referee {whose}: upheld, {then}" in told
