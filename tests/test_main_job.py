"""The main job, end to end over HTTP: from a yellow flag to a disqualification on the result."""

from __future__ import annotations

from app.ids import new_id
from tests.builders import MeetAtHand, a_call


def test_a_yellow_flag_becomes_a_disqualification_on_the_announced_result(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = new_id()
    call = meet.umpire.put(
        f"calls/{new_id()}",
        a_call(meet.heat(), meet.posts["umpire"], "yellow", lane=4, report=report),
    )
    assert call.status_code == 201, call.text
    assert call.json()["case"]
    assert meet.referee.get("docket").json()["open"] == 1

    written = meet.report(lane=4)
    docket = meet.referee.get("docket").json()
    assert docket["open"] == 1
    assert written["finding"]["outcome"] == "infringement"
    assert written["finding"]["rule"] == "TR24.7"

    ruled = meet.rule(written["case"])
    assert ruled.status_code == 201, ruled.text
    assert ruled.json()["effect"] == "DQ TR24.7"

    form = meet.referee.get(f"rulings/{ruled.json()['id']}/form.pdf")
    assert form.content.startswith(b"%PDF-")

    loaded = meet.load_result()
    assert loaded.status_code == 201, loaded.text
    assert [line["annotation"] for line in loaded.json()["lines"]][-1] == "DQ TR24.7"

    announced = meet.announce(despite="The silent post has no telephone.")
    assert announced.status_code == 201, announced.text
    number = announced.json()["id"]
    windows = meet.service.http.get(f"/api/meets/{meet.id}/windows.json").json()["windows"]
    assert [window["state"] for window in windows] == ["open"]
    for kind in ("json", "csv", "txt", "pdf"):
        shown = meet.service.http.get(f"/api/meets/{meet.id}/announcements/{number}.{kind}")
        assert shown.status_code == 200, shown.text
