"""Whatever is done in a rehearsal, nobody can tell from results, rounds, windows or lists.

Everything that can be read of a meet with a life of its own is read before a rehearsal, while it
goes on and after its end, and held side by side.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from io import BytesIO
from zipfile import ZipFile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.access.who_may import WHO_MAY
from app.checking.database import check_meet
from app.ids import MeetId, new_id
from tests.builders import Json, MeetAtHand, a_meet, all_heats
from tests.exporting.tampering import checked
from tests.rehearsals.test_rehearsals import end, flag, made, start, write
from tests.running import Service

AT_ANY_TIME = (
    *("", "/crew", "/heats", "/rounds", "/scores", "/announcements", "/windows.json", "/protests"),
    *("/appeals", "/disqualifications", "/end", "/papers", "/officials", "/end/time-corrections"),
    *("/survey", "/survey.csv", "/crew/wishes", "/crew.csv"),
    *("/meet-report", "/meet-report.csv"),
)
OF_A_HEAT = ("", "/posts", "/rulings", "/result", "/round", "/round/now")
OF_AN_ANNOUNCEMENT = (".json", ".csv", ".txt")
WITH_A_REHEARSAL = {"/docket", "/watch", "/rehearsals", "/feed", "/reports", "/heat-now"}
"""What shows rehearsals while they go on, and what the record adds."""
NOT_LISTS = {"/record", "/record.zip", "/record/head", "/record/checkpoint", "/windows.ics"}
NOT_LISTS |= {"/record/checkpoints", "/record/proofs/inclusion", "/record/proofs/consistency"}
NOT_LISTS |= {
    "/seals",
    "/me/keys",
    "/crew/briefing-cards.pdf",
    "/crew/chiefs-sheet.pdf",
    "/survey-sheets.pdf",
}
NOT_LISTS |= {"/meet-report.pdf"}


@pytest.fixture(scope="module")
def lively(running_service: Service) -> Iterator[MeetAtHand]:
    """A round set and announced, a ruling, a protest, a heat that runs with an open case."""
    hand = a_meet(running_service, heats=3)
    round_ = {"event": hand.heats[0]["event"], "round": "heats", "next_round": "final"}
    round_ |= {"by_place": 2, "by_time": 1, "lanes": 8, "points": ["5", "3", "1"]}
    assert hand.organiser.put(f"rounds/{new_id()}", round_).status_code == 201
    hand.start(0)
    case = hand.report()["case"]
    assert hand.rule(case).status_code == 201
    assert hand.load_result(0).status_code == 201
    told = hand.announce(0, despite="No telephone.")
    assert told.status_code == 201, told.text
    protest = {"heat": hand.heat(0), "team": hand.heats[0]["lanes"][2]["team"]}
    protest |= {"about": "placing", "lodged_by": "Mira Anchor", "words": "We were third."}
    assert hand.desk.put(f"protests/{new_id()}", protest).status_code == 201
    hand.start(1)
    hand.report(heat=1, lane=5)
    hand.heats = list(all_heats(hand))
    yield hand
    running_service.clock.run_again()


def read(hand: MeetAtHand) -> dict[str, str]:
    """Everything that can be read of the programme and of what was decided, by its address."""
    paths = [f"/api/meets/{hand.id}{path}" for path in AT_ANY_TIME]
    for heat in hand.heats:
        paths += [f"/api/meets/{hand.id}/heats/{heat['id']}{path}" for path in OF_A_HEAT]
    for one in hand.desk.get("announcements").json()["announcements"]:
        at = f"/api/meets/{hand.id}/announcements/{one['id']}"
        paths += [f"{at}{kind}" for kind in OF_AN_ANNOUNCEMENT]
    found = {}
    for path in paths:
        for name in ("referee", "results", "organiser"):
            answer = hand[name].send("GET", path)
            if answer.status_code != 403:
                instance = re.compile("urn:uuid:[0-9a-f-]*")
                found[path] = f"{answer.status_code} {instance.sub('', answer.text)}"
                break
    return found


def differing(now: dict[str, str], before: dict[str, str]) -> dict[str, tuple[str, str]]:
    """What reads otherwise than before, and how it begins to."""
    assert now.keys() == before.keys()
    differs = {}
    for path, text in now.items():
        if text != before[path]:
            at = next(i for i in range(len(text)) if text[: i + 1] != before[path][: i + 1])
            differs[path] = (before[path][at - 40 : at + 80], text[at - 40 : at + 80])
    return differs


def test_everything_that_lists_something_of_a_meet_is_looked_at() -> None:
    """So that a list that is added later is, too."""
    lists = {
        path.removeprefix("/api/meets/{meet}")
        for method, path in WHO_MAY
        if method == "GET" and path.startswith("/api/meets/{meet}") and path.count("{") == 1
    }
    looked_at = {*AT_ANY_TIME, *WITH_A_REHEARSAL, *NOT_LISTS}
    assert lists - looked_at == set()


Act = Callable[[MeetAtHand, str], object]

ACTS: dict[str, Act] = {
    "white": lambda hand, heat: flag(hand, heat, colour="white"),
    "yellow": lambda hand, heat: flag(hand, heat, lane=3),
    "yellow without a lane": lambda hand, heat: flag(hand, heat, "second"),
    "report": write,
    "second report": lambda hand, heat: write(hand, heat, "second", lane=5),
    "pointed at": lambda hand, heat: hand.referee.put("heat-now", {"heat": heat}),
    "started": lambda hand, heat: _move(hand, heat, "start"),
    "held back": lambda hand, heat: _move(hand, heat, "hold-back"),
    "finish list": lambda hand, heat: hand.desk.put(
        f"heats/{heat}/result", content="lane,time\n3,42.10\n"
    ),
    "end": end,
}


def _move(hand: MeetAtHand, heat: str, act: str) -> None:
    """As far as it can be done: whatever is refused leaves no trace either."""
    version = hand.referee.get(f"heats/{heat}").headers["ETag"]
    hand.referee.post(f"heats/{heat}/{act}", etag=version)


@given(
    acts=st.lists(st.sampled_from(sorted(ACTS)), max_size=8),
    whole=st.booleans(),
    relay=st.sampled_from(["4x100", "4x400"]),
)
@settings(max_examples=12)
def test_nobody_can_tell_that_there_was_a_rehearsal(
    lively: MeetAtHand, acts: list[str], whole: bool, relay: str
) -> None:
    lively.service.clock.stand_at(lively.service.clock.now())
    before = read(lively)
    docket = lively.docket()
    heat = made(lively, relay=relay, **({} if whole else {"lanes": [3, 4, 5]}))
    for act in acts:
        ACTS[act](lively, heat)
    assert differing(read(lively), before) == {}
    others = [line for line in lively.docket() if not line["rehearsal"]]
    assert others == docket
    end(lively, heat)
    assert differing(read(lively), before) == {}
    assert lively.docket() == docket


def test_the_meet_ends_whether_or_not_a_rehearsal_goes_on(meet: MeetAtHand) -> None:
    start(meet, made(meet))
    ended = meet.referee.put("end", {"pin": "480213"})
    assert ended.status_code == 201, ended.text


def test_what_stands_in_the_way_of_a_result_is_never_a_rehearsal(meet: MeetAtHand) -> None:
    meet.start()
    for name in ("umpire", "second"):
        meet.call(by=name)
    heat = made(meet)
    start(meet, heat)
    write(meet, heat)
    assert meet.load_result().status_code == 201
    answer = meet.announce()
    assert answer.status_code == 201, answer.text
    told: Json = answer.json()["blockers"]
    assert not any(told.values())


def test_a_database_and_an_export_of_a_meet_with_a_rehearsal_are_what_the_record_tells_of(
    meet: MeetAtHand,
) -> None:
    heat = made(meet)
    start(meet, heat)
    flag(meet, heat, lane=3)
    write(meet, heat)
    end(meet, heat)
    late = write(meet, heat, lane=5)
    assert meet.umpire.get(f"reports/{late['id']}/form.pdf").status_code == 200
    lines = meet.referee.get("record").text.splitlines()[:-1]
    kinds = {json.loads(json.loads(line)["entry"])["kind"] for line in lines}
    assert {"rehearsal made", "rehearsal ended", "call", "report written"} <= kinds
    found = meet.service.store.read_now(lambda conn: check_meet(conn, MeetId(meet.id)))
    assert list(found.mismatches) == []
    answer = meet.referee.get("record.zip")
    assert answer.status_code == 200, answer.text
    with ZipFile(BytesIO(answer.content)) as opened:
        report = checked({name: opened.read(name) for name in opened.namelist()})
    assert (report.mismatches, report.unchecked) == ([], [])
