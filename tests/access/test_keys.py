"""The keys of an official's devices: how many there are, and what becomes of them."""

from __future__ import annotations

from app.ids import new_id
from tests.access.authenticator import Authenticator
from tests.access.test_signing import challenge_of
from tests.builders import PIN, MeetAtHand, a_problem, add_official
from tests.reports.test_signed_on_the_phone import Phone


def test_twenty_keys_of_one_official_count_at_a_time(meet: MeetAtHand) -> None:
    who = add_official(meet, f"collector {new_id()}", "umpire")
    phones = [Phone(meet, who) for _ in range(19)]
    first = Authenticator().create(challenge_of(who)) | {"pin": PIN}
    late = Authenticator().create(challenge_of(who)) | {"pin": PIN}
    known = new_id()
    assert who.put(f"me/keys/{known}", first).status_code == 201
    before = meet.head()
    told = a_problem(who.put(f"me/keys/{new_id()}", late), 409, "conflict")
    assert "Revoke one that you no longer use" in told["detail"]
    a_problem(who.post("me/keys/options"), 409, "conflict")
    assert meet.head() == before
    assert who.put(f"me/keys/{known}", first).status_code == 200
    # Somebody else's are counted for themselves.
    Phone(meet, meet.umpire)
    revoked = who.post(f"me/keys/{phones[0].id}/revoke", {"reason": "Given away."})
    assert revoked.status_code == 200
    assert who.put(f"me/keys/{new_id()}", late).status_code == 201
