"""The referee decides on a protest: who may, who was first, and what its decision needs."""

from __future__ import annotations

from datetime import timedelta

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import (
    a_panel,
    a_protest,
    an_announced_disqualification,
    announced,
    cast,
    decide,
    decided,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.builders import PIN, Json, MeetAtHand, a_problem, a_report, add_official


def test_upheld_says_what_follows_and_rejected_orders_nothing(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    a_problem(decide(meet, protest, "upheld"), 422, "malformed")
    a_problem(decide(meet, protest, "rejected", orders=set_aside(ruling)), 422, "malformed")
    a_problem(decide(meet, protest, "referred", orders=set_aside(ruling)), 422, "malformed")
    now = rfc3339(meet.service.clock.now())
    early = decide(meet, protest, "upheld", orders=set_aside(ruling), advised_at=now)
    a_problem(early, 422, "malformed")
    assert meet.desk.get(f"protests/{protest['id']}").json()["state"] == "lodged"


def test_two_referees_decide_and_the_second_is_shown_what_the_first_decided(
    meet: MeetAtHand,
) -> None:
    add_official(meet, "other referee", "referee")
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    seen = meet.referee.get(f"protests/{protest['id']}").headers["ETag"]
    sent = {"verdict": "rejected", "reasons": "Seen by two umpires.", "pin": PIN}
    first = meet.referee.put(f"protests/{protest['id']}/decision", sent, etag=seen)
    assert first.status_code == 201, first.text
    late = {**sent, "verdict": "upheld", "orders": set_aside(ruling)}
    second = meet["other referee"].put(f"protests/{protest['id']}/decision", late, etag=seen)
    told = a_problem(second, 412, "stale")
    assert told["decision"] == first.json()["decision"]["id"]
    assert (told["verdict"], told["decided_by"]) == ("rejected", "referee")
    assert "referee has decided protest 1 meanwhile: rejected" in told["detail"]


def test_the_same_decision_again_is_the_same(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    out = decided(meet, protest)
    head = meet.head()
    again = decide(meet, protest)
    assert again.status_code == 200
    assert again.json()["decision"] == out["decision"]
    assert meet.head() == head
    a_problem(decide(meet, protest, reasons="On second thoughts."), 412, "stale")


def test_a_decision_needs_the_version_and_the_pin(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    sent = {"verdict": "rejected", "reasons": "Seen by two umpires.", "pin": PIN}
    bare = meet.referee.put(f"protests/{protest['id']}/decision", sent)
    a_problem(bare, 428, "precondition-missing")
    wrong = meet.referee.put(
        f"protests/{protest['id']}/decision", {**sent, "pin": "902718"}, etag='"v1"'
    )
    a_problem(wrong, 403, "pin-refused")
    a_problem(decide(meet, protest, by="results"), 403, "role-missing")
    a_problem(decide(meet, protest, by="jury"), 403, "role-missing")


def test_who_wrote_a_report_in_the_case_does_not_decide(meet: MeetAtHand) -> None:
    add_official(meet, "judge", "referee", "umpire")
    meet.start()
    raised = meet["judge"].put(f"reports/{new_id()}", a_report(meet.heat(), None, take_over=1))
    assert raised.status_code == 201, raised.text
    ruling = meet.rule(raised.json()["case"]).json()
    assert meet.load_result().status_code == 201
    announced(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    told = a_problem(decide(meet, protest, by="judge"), 403, "own-report")
    assert "another referee" in told["detail"]
    # About the placing it is the same matter, by another name.
    placing = lodge(meet, a_protest(meet, team=team(meet)))
    a_problem(decide(meet, placing, by="judge"), 403, "own-report")
    # Passing it on is no decision.
    assert decide(meet, placing, "referred", by="judge").status_code == 201
    assert decided(meet, protest)["state"] == "rejected"
    elsewhere = lodge(meet, a_protest(meet, team=team(meet, 6)))
    assert decide(meet, elsewhere, by="judge").status_code == 201


def test_what_is_referred_the_jury_decides_and_the_protest_follows(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "referred")
    assert out["state"] == "referred"
    (before_the_jury,) = out["appeals"]
    lodged = meet["jury"].get(f"appeals/{before_the_jury}").json()
    assert lodged["is_referred"] is True
    assert (lodged["state"], lodged["marks"]) == ("admitted", [])
    assert lodged["deposit"]["outcome"] == "not asked"
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    answer = jury_decides(meet, lodged, names[0], orders=set_aside(ruling))
    assert answer.status_code == 201, answer.text
    assert answer.json()["deposit"]["outcome"] == "not asked"
    assert meet.desk.get(f"protests/{protest['id']}").json()["state"] == "upheld"


def test_what_was_referred_cannot_be_appealed_nor_paid_for(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    out = decided(meet, protest, "referred")
    document = {
        "protest": protest["id"],
        "team": protest["team"],
        "lodged_by": "Mira Anchor",
        "words": "We want it now.",
    }
    again = meet.desk.put(f"appeals/{new_id()}", document)
    assert "the jury has it already" in a_problem(again, 409, "conflict")["detail"]
    deposit = {"amount": 100, "currency": "USD", "receipt": "R-1"}
    paid = meet.desk.put(f"appeals/{out['appeals'][0]}/deposit", deposit)
    assert "needs no deposit" in a_problem(paid, 409, "conflict")["detail"]


def test_a_referred_protest_that_is_withdrawn_leaves_the_jury(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    out = decided(meet, protest, "referred")
    back = {"by": "Mira Anchor"}
    seen = meet.desk.get(f"protests/{protest['id']}").headers["ETag"]
    address = f"appeals/{out['appeals'][0]}"
    lodged = meet.desk.get(address)
    refused = meet.desk.post(f"{address}/withdraw", back, etag=lodged.headers["ETag"])
    assert "withdraw the protest" in a_problem(refused, 409, "conflict")["detail"]
    gone = meet.desk.post(f"protests/{protest['id']}/withdraw", back, etag=seen)
    assert gone.json()["state"] == "withdrawn"
    assert meet.desk.get(address).json()["state"] == "withdrawn"


def test_advice_is_given_once_and_its_time_stands(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    address = f"protests/{protest['id']}/advice"
    early = meet.desk.put(address, {})
    assert "amends nothing" in a_problem(early, 409, "conflict")["detail"]
    before = rfc3339(meet.service.clock.now() - timedelta(minutes=1))
    long_before = {"advised_at": rfc3339(meet.service.clock.now() - timedelta(minutes=5))}
    with_it = decide(meet, protest, **long_before)
    assert "before the decision" in a_problem(with_it, 422, "malformed")["detail"]
    out = decided(meet, protest)
    told = a_problem(meet.desk.put(address, long_before), 422, "malformed")
    assert out["decision"]["decided_at_local"] in told["detail"]
    assert told["errors"][0]["pointer"] == "/advised_at"
    ahead = {"advised_at": rfc3339(meet.service.clock.now() + timedelta(minutes=1))}
    told = a_problem(meet.desk.put(address, ahead), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/advised_at"
    # Told just before it was signed: the time runs from the signing, so that nobody loses any.
    given = meet.desk.put(address, {"advised_at": before})
    assert given.status_code == 200, given.text
    assert given.json()["decision"]["advised_at"] == out["decision"]["decided_at"]
    again = meet.desk.put(address, {"advised_at": before})
    assert again.status_code == 200, again.text
    assert again.json()["version"] == given.json()["version"]
    assert meet.desk.put(address, {}).status_code == 200
    meet.service.clock.move(timedelta(minutes=3))
    other = {"advised_at": rfc3339(meet.service.clock.now())}
    assert "correct it" in a_problem(meet.desk.put(address, other), 409, "conflict")["detail"]
    windows = meet.desk.get("windows.json").json()["windows"]
    assert sum(one["remedy"] == "appeal" for one in windows) == 1


def test_an_upheld_protest_has_no_advice(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = a_problem(meet.desk.put(f"protests/{protest['id']}/advice", {}), 409, "conflict")
    assert "announcement" in told["detail"]


def test_a_decision_is_of_this_meet_and_of_a_protest_that_exists(meet: MeetAtHand) -> None:
    sent: Json = {"verdict": "rejected", "reasons": "No.", "pin": PIN}
    gone = meet.referee.put(f"protests/{new_id()}/decision", sent, etag='"v1"')
    a_problem(gone, 404, "not-found")
    looked = meet.referee.post(f"protests/{new_id()}/consequences", {"orders": []})
    a_problem(looked, 404, "not-found")
    a_problem(meet.referee.get(f"decisions/{new_id()}/form.pdf"), 404, "not-found")
