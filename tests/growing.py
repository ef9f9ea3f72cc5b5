"""A meet that grows: more heats of the same round, with all that can come to pass in them."""

from __future__ import annotations

from tests.appeals.desk import (
    a_disqualification,
    a_protest,
    announced,
    appeal,
    cast,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
    team,
)
from tests.browser.everything import CLUBS, EVENT, ROUND, TEAMS, WholeMeet
from tests.builders import Json, MeetAtHand, add_official, all_heats

HEATS_AT_ONCE = 5


def grow(whole: WholeMeet, times: int) -> None:
    """So often: a heat that is to be announced, one that runs, one whose result is protested and
    appealed, one on which the jury has decided, and one that is to come; and an event more.
    """
    meet = whole.meet
    before = sum(heat["event_name"] == EVENT for heat in meet.heats)
    _draw(meet, before, times)
    for first in range(before, before + HEATS_AT_ONCE * times, HEATS_AT_ONCE):
        _is_to_be_announced(meet, first)
        _runs(meet, first + 1)
        _is_appealed(meet, first + 2)
        _is_decided(meet, first + 3)
        _was_done_more(meet, first)


def _was_done_more(meet: MeetAtHand, number: int) -> None:
    """About what there was before: one report more from each umpire in a case, another finish list
    that is announced, and an official.
    """
    for name in ("umpire", "second"):
        meet.report(heat=1, by=name, words=f"{number} more.")
    rows = [f"{lane},{43 + (lane + number) / 100:.2f}" for lane in range(1, len(TEAMS) + 1)]
    address, again = f"heats/{meet.heat()}/result", "\n".join(["lane,time", *rows])
    seen = meet.desk.get(address).headers["ETag"]
    loaded = meet.desk.put(address, content=again, etag=seen)
    assert loaded.status_code == 200, loaded.text
    announced(meet)
    add_official(meet, f"further {number}", "umpire")


def _draw(meet: MeetAtHand, before: int, times: int) -> None:
    rows = ["event,round,heat,lane,team,affiliation,bib"]
    for number in range(before + 1, before + 1 + HEATS_AT_ONCE * times):
        for lane, (name, club) in enumerate(zip(TEAMS, CLUBS, strict=True), 1):
            rows.append(
                f"{EVENT},{ROUND},{number},{lane},{name} {number},{club},{number}{lane:02d}"
            )
        if number % HEATS_AT_ONCE == 0:
            rows.append(f"4x100 no {number},{ROUND},1,4,Tern {number},Club 1,7")
    loaded = meet.organiser.post("start-lists", content="\n".join(rows))
    assert loaded.status_code == 200, loaded.text
    # Those of the one event come first, as heats are named here by their places in the list.
    meet.heats = sorted(all_heats(meet), key=lambda heat: heat["event_name"] != EVENT)


def _is_to_be_announced(meet: MeetAtHand, heat: int) -> None:
    meet.start(heat)
    a_disqualification(meet, heat=heat)
    meet.report(heat=heat, by="second", lane=5)
    assert meet.load_result(heat).status_code == 201


def _runs(meet: MeetAtHand, heat: int) -> None:
    meet.start(heat)
    for name in ("umpire", "second"):
        meet.report(heat=heat, by=name)


def _is_appealed(meet: MeetAtHand, heat: int) -> None:
    protest, _ruling = _rejected(meet, heat)
    placing = a_protest(meet, number=heat, team=team(meet, 6, heat))
    lodge(meet, placing)
    lodged, names = _before_the_jury(meet, protest)
    assert cast(meet, lodged, names[0]).status_code == 201


def _is_decided(meet: MeetAtHand, heat: int) -> None:
    protest, ruling = _rejected(meet, heat)
    lodged, names = _before_the_jury(meet, protest)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    done = jury_decides(meet, lodged, names[0], orders=set_aside(ruling))
    assert done.status_code == 201, done.text


def _rejected(meet: MeetAtHand, heat: int) -> tuple[Json, Json]:
    """A protest about a disqualification that the referee has rejected, and told them so."""
    meet.start(heat)
    ruling = a_disqualification(meet, heat=heat)
    assert meet.load_result(heat).status_code == 201
    announced(meet, heat)
    about = a_protest(meet, ruling, number=heat, team=team(meet, heat=heat))
    protest = decided(meet, lodge(meet, about))
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    return protest, ruling


def _before_the_jury(meet: MeetAtHand, protest: Json) -> tuple[Json, list[str]]:
    lodged = appeal(meet, protest)
    names = jurors(meet, "", "", "")
    assert name_panel(meet, lodged, names).status_code == 200
    return lodged, names
