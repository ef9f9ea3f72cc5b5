"""A desk with a disqualified team: what protests and appeals start from, and short ways to send."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import httpx

from app.ids import new_id
from tests.builders import PIN, Json, MeetAtHand, add_official

DEPOSIT = {"amount": 100, "currency": "USD", "receipt": "R-17"}
_receipts: Counter[str] = Counter()


def team(meet: MeetAtHand, lane: int = 4, heat: int = 0) -> str:
    """The team in a lane of a heat."""
    return str(next(line["team"] for line in meet.heats[heat]["lanes"] if line["lane"] == lane))


def a_disqualification(meet: MeetAtHand, lane: int = 4, heat: int = 0) -> Json:
    """A team is reported and disqualified; gives the ruling."""
    report = meet.report(lane=lane, heat=heat)
    ruled = meet.rule(report["case"])
    assert ruled.status_code == 201, ruled.text
    return dict(ruled.json())


def an_announced_disqualification(meet: MeetAtHand, lane: int = 4, heat: int = 0) -> Json:
    """A result is announced with a disqualified team; gives the ruling."""
    meet.start(heat)
    ruling = a_disqualification(meet, lane, heat)
    assert meet.load_result(heat).status_code == 201
    announced(meet, heat)
    return ruling


def announced(meet: MeetAtHand, heat: int = 0, **changes: Any) -> Json:
    """The result as it stands is announced, whatever post is silent."""
    seen = meet.desk.get(f"heats/{meet.heat(heat)}/result").json()
    if seen["in_the_way"]:
        changes = {"despite": "The post cannot be reached.", **changes}
    answer = meet.announce(heat, **changes)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def a_protest(meet: MeetAtHand, ruling: Json | None = None, **changes: Any) -> Json:
    """A protest for the team in lane 4: about its ruling, or about its placing."""
    about = {"about": "placing"} if ruling is None else {"about": "ruling", "ruling": ruling["id"]}
    return {
        "heat": meet.heat(changes.pop("number", 0)),
        "team": team(meet),
        **about,
        "lodged_by": "Mira Anchor",
        "words": "The baton was inside the zone.",
        **changes,
    }


def lodge(meet: MeetAtHand, document: Json, by: str = "results") -> Json:
    """Take a protest in."""
    answer = meet[by].put(f"protests/{new_id()}", document)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def decide(
    meet: MeetAtHand, protest: Json, verdict: str = "rejected", by: str = "referee", **changes: Any
) -> httpx.Response:
    """The referee decides as the protest stands."""
    seen = meet[by].get(f"protests/{protest['id']}")
    document = {"verdict": verdict, "reasons": "Seen by two umpires.", "pin": PIN, **changes}
    return meet[by].put(
        f"protests/{protest['id']}/decision", document, etag=seen.headers.get("ETag")
    )


def decided(meet: MeetAtHand, protest: Json, verdict: str = "rejected", **changes: Any) -> Json:
    """The referee has decided."""
    answer = decide(meet, protest, verdict, **changes)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def set_aside(ruling: Json) -> list[Json]:
    """The order that sets a ruling's disqualification aside."""
    return [{"order": "set aside", "disqualification": ruling["disqualification"]}]


def a_rejected_protest(meet: MeetAtHand, ruling: Json | None = None) -> Json:
    """A protest about a disqualification that the referee has rejected, and told them so."""
    ruling = ruling or an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest)
    told = meet.desk.put(f"protests/{protest['id']}/advice", {})
    assert told.status_code == 200, told.text
    return {**out, **dict(told.json()), "ruled": ruling}


def a_deposit(meet: MeetAtHand) -> Json:
    """The deposit with a receipt of its own; the first of a meet is R-17."""
    number = 17 + _receipts[meet.id]
    _receipts[meet.id] += 1
    return {**DEPOSIT, "receipt": f"R-{number}"}


def an_appeal(meet: MeetAtHand, protest: Json, **changes: Any) -> Json:
    """An appeal of the protesters, with its deposit."""
    if "deposit" not in changes:
        changes["deposit"] = a_deposit(meet)
    return {
        "protest": protest["id"],
        "team": protest["team"],
        "lodged_by": "Mira Anchor",
        "words": "The video was not looked at.",
        **changes,
    }


def appeal(meet: MeetAtHand, protest: Json, by: str = "results", **changes: Any) -> Json:
    """Take an appeal in."""
    answer = meet[by].put(f"appeals/{new_id()}", an_appeal(meet, protest, **changes))
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def jurors(meet: MeetAtHand, *affiliations: str) -> list[str]:
    """Jury members of these affiliations, named `juror 1`, `juror 2` and so on; gives names."""
    names = [f"juror {number}" for number in range(1, len(affiliations) + 1)]
    for name, affiliation in zip(names, affiliations, strict=True):
        if name not in meet.people:
            add_official(meet, name, "jury", affiliation=affiliation)
    return names


def name_panel(
    meet: MeetAtHand,
    lodged: Json,
    names: Sequence[str],
    substitutes: Sequence[str] = (),
    **changes: Any,
) -> httpx.Response:
    """The first of the names is the chair."""
    seen = meet["jury"].get(f"appeals/{lodged['id']}")
    chair, *members = [meet[name].id for name in names]
    document = {
        "chair": chair,
        "members": members,
        "secretary": "Noor Quill",
        "substitutes": [meet[name].id for name in substitutes],
        **changes,
    }
    return meet["jury"].put(f"appeals/{lodged['id']}/panel", document, etag=seen.headers["ETag"])


def a_panel(meet: MeetAtHand, lodged: Json, **changes: Any) -> list[str]:
    """Three jurors whom nothing concerns sit on an appeal; gives their names, chair first."""
    names = jurors(meet, "Far Club", "Near Club", "")
    answer = name_panel(meet, lodged, names, **changes)
    assert answer.status_code == 200, answer.text
    return names


def cast(meet: MeetAtHand, lodged: Json, by: str, vote: str = "upheld") -> httpx.Response:
    """A member votes."""
    document = {"vote": vote, "pin": PIN}
    return meet[by].put(f"appeals/{lodged['id']}/votes/{new_id()}", document)


def jury_decides(
    meet: MeetAtHand, lodged: Json, chair: str, verdict: str = "upheld", **changes: Any
) -> httpx.Response:
    """The chair signs what was voted."""
    seen = meet[chair].get(f"appeals/{lodged['id']}")
    document = {"verdict": verdict, "reasons": "The video settles it.", "pin": PIN, **changes}
    return meet[chair].put(
        f"appeals/{lodged['id']}/decision", document, etag=seen.headers.get("ETag")
    )


def an_upheld_appeal(meet: MeetAtHand) -> Json:
    """The jury has set a disqualification aside; gives the appeal, its ruling under `ruled`."""
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = set_aside(protest["ruled"])
    answer = jury_decides(meet, lodged, names[0], orders=orders)
    assert answer.status_code == 201, answer.text
    return {**dict(answer.json()), "ruled": protest["ruled"], "names": names}
