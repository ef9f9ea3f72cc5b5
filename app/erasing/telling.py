"""In what words is whoever erases told what goes? Place by place, for people who do not know the
schema; the column stands behind, for those who do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from app.erasing.doing import Outcome
from app.erasing.what import COLUMNS, Sort
from app.ids import MeetId

THINGS = {
    "calls": "flags",
    "corrections": "what was typed wrongly",
    "device_keys": "keys of devices",
    "join_links": "personal links",
    "lots": "lots that were drawn",
    "meets": "the meet itself",
    "papers": "sealed papers",
    "picture_copies": "pictures as they are shown",
    "picture_originals": "pictures as they came",
    "record_bodies": "entries of the record",
    "results": "finish lists",
    "sessions": "devices that have joined",
    "signatures": "what was signed",
    "time_corrections": "announced times that were corrected",
}
"""What the rows of a table are; left out where its name says it."""
PARTS = {
    Sort.NAME: "names",
    Sort.WORDS: "free texts",
    Sort.RECEIPT: "numbers of receipts",
    Sort.CONTACT: "what leads to somebody",
    Sort.LETS_IN: "what lets somebody in",
    Sort.ENDS: "ended at once",
    Sort.DIGEST: "digests of free texts",
    Sort.PICTURE: "whole files",
    Sort.PAPER: "whole files",
    Sort.TOLD: "sentences",
    Sort.OF_TEAMS: "names",
}
"""What of a row; anything else is a document, or the body of an entry."""
HELD = "texts inside"

IN_PART = "These tell a word of the name only, and stay unless that is a --name too:"
WOULD_GO = "this would go, and nothing was changed"
STAYS = "A name stands here too, in names of teams, events, rounds or the meet, which stay:"


def outcome_in_words(meet: MeetId, found: Outcome) -> Iterator[str]:
    """What went of a meet, or would go, and what stays."""
    if found.is_unknown:
        yield f"Meet {meet}: nobody and nothing has this name; nothing would go."
    elif found.plan.is_empty:
        yield f"Meet {meet}: nothing of it {'was' if found.is_done else 'is'} there (any more)."
    else:
        did = "erased, and the record says so" if found.is_done else WOULD_GO
        yield f"Meet {meet}: {did} (how many rows, of what, in which column):"
        yield from _places(found.plan.places)
    for official in found.officials:
        then = "is let in no more" if found.is_done else "would be let in no more"
        yield f"That person is official {official}, and {then}."
    if found.closes:
        when = "is closed now" if found.is_done else "would be closed"
        yield f"The meet {when}: nothing that could tell of anybody is written into it any more."
    for said, places in ((IN_PART, found.in_part), (STAYS, found.stays)):
        if places:
            yield said
            yield from _places(places)


def _places(places: Mapping[str, int]) -> Iterator[str]:
    """One line a place, with how many rows of it."""
    for place, count in sorted(places.items()):
        yield f"  {count:>7,}  {_in_words(place):<52}{place}"


def _in_words(place: str) -> str:
    table = place.partition(".")[0]
    thing = THINGS.get(table, table.replace("_", " "))
    sort = COLUMNS.get(place)
    return f"{thing}: {HELD if sort is None else PARTS.get(sort, HELD)}"
