"""In what words is whoever erases told what goes? In those of officials, who know no schema."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from app.erasing.doing import Outcome
from app.erasing.things import Thing
from app.erasing.what import COLUMNS, Sort
from app.ids import MeetId

THINGS = {
    "calls": "flags",
    "corrections": "what was typed wrongly",
    "device_keys": "keys of devices",
    "join_links": "personal links",
    "lanes": "start lists",
    "lots": "lots that were drawn",
    "meets": "the meet itself",
    "papers": "sealed papers",
    "picture_copies": "pictures as they are shown",
    "picture_originals": "pictures as they came",
    "record_bodies": "entries of the record",
    "results": "finish lists",
    "sessions": "devices that have joined",
    "signatures": "signatures",
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
INSIDE = {
    "asked": "what was asked for",
    "body": "what they say",
    "content": "what was sent in",
    "form_facts": "what their form tells",
    "snapshot": "what their sheet tells",
    "statement": "what was signed",
    "withdrawn": "why they were taken back",
}
"""What a document of a row is, by its column."""
HELD = "texts that are kept with them"

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
        yield f"Meet {meet}: {did} (how many, of what):"
        yield from _places(found.plan.places)
    if not found.is_unknown:
        yield from (f"Nobody and nothing here has the name {name}." for name in found.nowhere)
    if found.things:
        yield "These are:"
        yield from map(_of_thing, found.things)
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
    """One line for each sort of thing that goes, with how many there are."""
    told: Counter[str] = Counter()
    for place, count in places.items():
        told[_in_words(place)] += count
    for words, count in sorted(told.items()):
        yield f"  {count:>7,}  {words}"


def _of_thing(thing: Thing) -> str:
    parts = sorted({_part(place) for place in thing.columns})
    return f"  {thing.words}: {', '.join(parts)}" if parts else f"  {thing.words}"


def _in_words(place: str) -> str:
    table = place.partition(".")[0]
    thing = THINGS.get(table, table.replace("_", " "))
    return f"{thing}: {_part(place)}"


def _part(place: str) -> str:
    """What of a thing stands in a place."""
    inside = INSIDE.get(place.partition(".")[2], HELD)
    sort = COLUMNS.get(place)
    return inside if sort is None else PARTS.get(sort, inside)
