"""Files of an invented meet with a whole crew, as an organiser has them, good ones and bad ones."""

from __future__ import annotations

from typing import Any

from tests.builders import MeetAtHand, a_start_list
from tests.pages.builders import AT_A_ZONE

FIRST = ("Bo", "Ilva", "Сева", "Rua", "Žofie", "نور")
LAST = ("Halyard", "Marlin", "Tollerud-Vandersluijs")
CREW = [f"{first} {last}" for last in LAST for first in FIRST]
"""Eighteen, of whom each stands at one edge of one zone."""

OFFICIALS = "\n".join(
    [
        "name,roles,affiliation",
        *(f"{name},umpire,Club {number}" for number, name in enumerate(CREW, 1)),
        "Cleo Anchor,referee,",
        "Dee Tiller,results,",
        "Ines Compass,jury,",
        "Kit Sextant,chief_umpire,",
    ]
)
_PLACES = [(zone, *place) for zone in (1, 2, 3) for place in AT_A_ZONE]
CREW_LIST = "\n".join(
    [
        "official,take_over,edge,lanes,side",
        *(
            f'{name},{zone},{edge},"{lanes[0]}-{lanes[-1]}",{side}'
            for name, (zone, edge, lanes, side) in zip(CREW, _PLACES, strict=True)
        ),
    ]
)
START_LISTS = "\n".join(
    [
        *a_start_list(2).splitlines(),
        *a_start_list(1, "Mixed 4x400 m").splitlines()[1:],
    ]
)
BAD_OFFICIALS = "name,roles,affiliation\nBo Halyard,umpire,\nCleo Anchor,captain,\n,umpire,\n"
BAD_CREW_LIST = "official,take_over,edge,lanes\nNobody Known,1,end,3-4\nBo Halyard,4,end,3\n"
BAD_START_LIST = (
    "event,round,heat,lane,team\n"
    "Women 4x100 m,heats,1,3,Tern\nWomen 4x100 m,heats,1,3,Gull\nWomen 4x100 m,heats,1,x,Heron\n"
)


def a_file(name: str, content: str) -> Any:
    """A file as a browser is given it to send."""
    return {"name": name, "mimeType": "text/csv", "buffer": content.encode()}


def load_all(hand: MeetAtHand) -> MeetAtHand:
    """The meet gets its officials, start lists and crew."""
    for path, content in (
        ("officials-list", OFFICIALS),
        ("start-lists", START_LISTS),
        ("crew-list", CREW_LIST),
    ):
        loaded = hand.organiser.post(path, content=content)
        assert loaded.status_code == 200, loaded.text
    return hand
