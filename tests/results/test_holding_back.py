"""A race that was announced, is contested or that the jury has decided on is not void unsaid.

That a race is run again is the referee's to order: World Athletics TR8.4 and CR18.7, NFHS 3-4-3,
from memory. That a start is recalled by whoever starts, and that the rest needs a word, is common
practice.
"""

from __future__ import annotations

import httpx
import pytest

from tests.appeals.desk import (
    a_protest,
    a_rejected_protest,
    an_upheld_appeal,
    announced,
    appeal,
    lodge,
)
from tests.builders import Json, MeetAtHand, a_meet, a_problem, add_official
from tests.running import Service

WORD = "The referee orders the race anew: the track was unsafe."


def hold_back(
    meet: MeetAtHand, document: Json | None = None, by: str = "referee"
) -> httpx.Response:
    address = f"heats/{meet.heat()}"
    seen = meet.desk.get(address).headers["ETag"]
    return meet[by].post(f"{address}/hold-back", document, etag=seen)


def needs_word(meet: MeetAtHand, *whys: str) -> None:
    """It is refused with all that would be passed over, and done with a word, which is recorded."""
    before = meet.head()
    told = a_problem(hold_back(meet), 409, "needs-word")
    assert told["errors"][0]["pointer"] == "/despite"
    for why in whys:
        assert why in told["detail"]
    assert meet.head() == before
    out = hold_back(meet, {"despite": WORD})
    assert out.status_code == 200, out.text
    assert out.json()["state"] == "to come"
    assert WORD in meet.referee.get("record").text


def test_a_race_that_the_jury_has_decided_on_is_held_back_only_with_a_word(
    meet: MeetAtHand,
) -> None:
    heard = an_upheld_appeal(meet)
    needs_word(
        meet, f"the jury has decided on appeal {heard['number']}", "its result was announced"
    )
    # A false start of the new race is of another run, which nobody has decided on.
    meet.start()
    assert hold_back(meet).status_code == 200


def test_a_race_whose_result_was_announced_is_held_back_only_with_a_word(meet: MeetAtHand) -> None:
    meet.start()
    meet.load_result()
    announced(meet)
    needs_word(meet, "its result was announced")


def test_a_race_that_is_contested_is_held_back_only_with_a_word(meet: MeetAtHand) -> None:
    meet.start()
    meet.load_result()
    lodged = lodge(meet, a_protest(meet))
    needs_word(meet, f"protest {lodged['number']} awaits the referee")
    # What was lodged about the race before is no matter of this start.
    meet.start()
    assert hold_back(meet).status_code == 200


def test_a_race_about_which_an_appeal_is_open_is_held_back_only_with_a_word(
    meet: MeetAtHand,
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    needs_word(meet, f"appeal {lodged['number']} awaits the jury")


def test_a_start_is_recalled_without_a_word_and_takes_none(meet: MeetAtHand) -> None:
    meet.start()
    told = a_problem(hold_back(meet, {"despite": WORD}), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/despite"
    assert hold_back(meet, {}).status_code == 200
    meet.start()
    assert hold_back(meet, by="referee").status_code == 200


@pytest.mark.parametrize("spoilt", [[], "text", {"reasons": "The track."}, {"despite": ""}])
def test_what_is_sent_with_it_is_read(meet: MeetAtHand, spoilt: object) -> None:
    meet.start()
    address = f"heats/{meet.heat()}"
    seen = meet.desk.get(address).headers["ETag"]
    answer = meet.referee.post(f"{address}/hold-back", spoilt, etag=seen)
    a_problem(answer, 422, "malformed")


def test_what_was_announced_is_run_again_by_the_referee_alone(meet: MeetAtHand) -> None:
    add_official(meet, "chief", "chief_umpire")
    meet.start()
    assert hold_back(meet, by="chief").status_code == 200
    meet.start()
    meet.load_result()
    announced(meet)
    told = a_problem(hold_back(meet, {"despite": WORD}, by="chief"), 403, "role-missing")
    assert "for the referee to order" in told["detail"]
    assert hold_back(meet, {"despite": WORD}).status_code == 200


def test_where_the_chief_umpire_rules_so_it_does_there(service: Service) -> None:
    meet = a_meet(service, terms={"chief_umpire_rules": True})
    add_official(meet, "chief", "chief_umpire")
    meet.start()
    meet.load_result()
    announced(meet)
    assert hold_back(meet, {"despite": WORD}, by="chief").status_code == 200
