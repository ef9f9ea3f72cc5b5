"""Votes of the jury: one a member, none without a seat, no decision without the meet's quorum."""

from __future__ import annotations

from typing import Any

import pytest

from app.ids import new_id
from tests.appeals.desk import (
    a_panel,
    a_rejected_protest,
    appeal,
    cast,
    jurors,
    jury_decides,
    name_panel,
    set_aside,
)
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_problem
from tests.running import Service


def before_the_jury(meet: MeetAtHand) -> Json:
    """An appeal with its panel of three."""
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    a_panel(meet, lodged)
    return {**lodged, "ruled": protest["ruled"]}


def test_a_second_vote_is_refused_and_the_same_again_is_the_same(meet: MeetAtHand) -> None:
    lodged = before_the_jury(meet)
    ident, sent = new_id(), {"vote": "upheld", "pin": PIN}
    address = f"appeals/{lodged['id']}/votes/{ident}"
    first, again = meet["juror 1"].put(address, sent), meet["juror 1"].put(address, sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    a_problem(meet["juror 1"].put(address, {**sent, "vote": "rejected"}), 409, "id-taken")
    a_problem(meet["juror 2"].put(address, sent), 409, "id-taken")
    told = a_problem(cast(meet, lodged, "juror 1", "rejected"), 409, "conflict")
    assert "One member, one vote (common practice)" in told["detail"]


def test_who_does_not_sit_has_no_vote(meet: MeetAtHand) -> None:
    lodged = before_the_jury(meet)
    told = a_problem(cast(meet, lodged, "jury"), 403, "not-yours")
    assert "secretary" in told["detail"]
    a_problem(cast(meet, lodged, "referee"), 403, "role-missing")


def test_a_substitute_has_no_vote_and_a_withdrawn_member_none_any_more(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    name_panel(meet, lodged, names[:3], names[3:])
    a_problem(cast(meet, lodged, "juror 4"), 403, "not-yours")
    assert cast(meet, lodged, "juror 2").status_code == 201
    seen = meet["juror 2"].get(f"appeals/{lodged['id']}").headers["ETag"]
    away = {"reasons": "My club is concerned.", "replaced_by": meet["juror 4"].id}
    address = f"appeals/{lodged['id']}/panel/{meet['juror 2'].id}/withdraw"
    out = meet["juror 2"].post(address, away, etag=seen)
    assert out.json()["panel"]["votes"] == 0, "the vote of who has withdrawn no longer counts"
    told = a_problem(cast(meet, lodged, "juror 2"), 403, "not-yours")
    assert "withdrawn" in told["detail"]
    assert "CR12" in told["detail"], "World Athletics CR12, from memory"
    for name, vote in (("juror 1", "rejected"), ("juror 3", "rejected"), ("juror 4", "upheld")):
        assert cast(meet, lodged, name, vote).status_code == 201
    answer = jury_decides(meet, lodged, "juror 1", "rejected")
    assert answer.status_code == 201, answer.text


def test_no_decision_without_a_quorum(meet: MeetAtHand) -> None:
    lodged = before_the_jury(meet)
    for name in ("juror 1", "juror 2"):
        assert cast(meet, lodged, name, "rejected").status_code == 201
    told = a_problem(jury_decides(meet, lodged, "juror 1", "rejected"), 409, "conflict")
    assert (told["votes"], told["quorum"]) == (2, 3)
    # No edition sets it, the meet does (common practice), so its terms are the rule.
    assert "quorum by the meet's terms (“jury”) is 3" in told["detail"]


def test_the_quorum_is_the_meets(service: Service) -> None:
    meet = a_meet(service, terms={"jury": {"size": 3, "quorum": 2}})
    lodged = before_the_jury(meet)
    cast(meet, lodged, "juror 1", "rejected")
    a_problem(jury_decides(meet, lodged, "juror 1", "rejected"), 409, "conflict")
    cast(meet, lodged, "juror 2", "rejected")
    assert jury_decides(meet, lodged, "juror 1", "rejected").status_code == 201


@pytest.mark.parametrize(
    ("casts", "outcome", "word"),
    [
        (True, "upheld", "the chair's vote decides"),
        (False, "rejected", "the referee's decision stands"),
    ],
)
def test_equal_votes_end_as_the_meets_terms_say(
    service: Service, casts: bool, outcome: str, word: str
) -> None:
    jury: Json = {"size": 3, "quorum": 2, "chair_casts": casts}
    meet = a_meet(service, terms={"jury": jury})
    lodged = before_the_jury(meet)
    cast(meet, lodged, "juror 1", "upheld")
    cast(meet, lodged, "juror 2", "rejected")
    more: dict[str, Any] = {"orders": set_aside(lodged["ruled"])}
    wrong = "rejected" if outcome == "upheld" else "upheld"
    refused = jury_decides(meet, lodged, "juror 1", wrong, **(more if wrong == "upheld" else {}))
    # World Athletics TR8.8, from memory, where the chair has no casting vote.
    assert word in a_problem(refused, 409, "conflict")["detail"]
    answer = jury_decides(meet, lodged, "juror 1", outcome, **(more if outcome == "upheld" else {}))
    assert answer.status_code == 201, answer.text


def test_a_verdict_against_the_majority_is_refused(meet: MeetAtHand) -> None:
    lodged = before_the_jury(meet)
    for name, vote in (("juror 1", "rejected"), ("juror 2", "upheld"), ("juror 3", "upheld")):
        cast(meet, lodged, name, vote)
    told = a_problem(jury_decides(meet, lodged, "juror 1", "rejected"), 409, "conflict")
    assert "2 for and 1 against" in told["detail"]
    assert told["errors"][0]["pointer"] == "/verdict"


def test_only_the_chair_signs_and_as_the_appeal_stands(meet: MeetAtHand) -> None:
    lodged = before_the_jury(meet)
    for name in ("juror 1", "juror 2", "juror 3"):
        cast(meet, lodged, name, "rejected")
    a_problem(jury_decides(meet, lodged, "juror 2", "rejected"), 403, "not-yours")
    sent = {"verdict": "rejected", "reasons": "No.", "pin": PIN}
    old = meet["juror 1"].put(f"appeals/{lodged['id']}/decision", sent, etag='"v1"')
    assert "appeal 1 was changed" in a_problem(old, 412, "stale")["detail"]
    first = jury_decides(meet, lodged, "juror 1", "rejected")
    again = jury_decides(meet, lodged, "juror 1", "rejected")
    assert (first.status_code, again.status_code) == (201, 200)
    late = jury_decides(meet, lodged, "juror 1", "rejected", reasons="Other words.")
    told = a_problem(late, 412, "stale")
    assert told["decision"] == first.json()["decision"]["id"]


def test_a_decision_that_touches_a_voter_is_refused(meet: MeetAtHand) -> None:
    """The orders may reach further than what the team asked for."""
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    names = jurors(meet, "Club 1", "Far Club", "")
    name_panel(meet, lodged, names)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    further = {"order": "disqualify", "team": meet.heats[0]["lanes"][0]["team"]}
    further["infringement"] = "help_given"
    orders = [*set_aside(protest["ruled"]), further]
    told = a_problem(jury_decides(meet, lodged, names[0], orders=orders), 403, "affected")
    assert "Club 1" in told["detail"]
    answer = jury_decides(meet, lodged, names[0], orders=set_aside(protest["ruled"]))
    assert answer.status_code == 201, answer.text


def test_votes_come_before_a_panel_or_after_the_decision_in_vain(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    told = a_problem(cast(meet, lodged, "jury"), 409, "conflict")
    assert "No panel has been named" in told["detail"]
    names = a_panel(meet, lodged)
    for name in names:
        cast(meet, lodged, name, "rejected")
    jury_decides(meet, lodged, names[0], "rejected")
    a_problem(cast(meet, lodged, names[0]), 409, "conflict")
