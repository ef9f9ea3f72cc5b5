"""Whose data goes, and what comes in its place: the whole meet's, or one person's.

Of a whole meet go all names, free text and contact data, and the sentences of the program that
name somebody. Of one person go the names as they were given, and every text that tells one of
them, as a whole, since nobody can say what else in it tells of them; what an official wrote about
others stays, it is evidence. Contact data and what lets somebody in goes with the official.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from app.erasing.mentions import Names, Phrases
from app.erasing.what import Sort, is_id_or_instant
from app.forms.erased import NAME_ERASED

ERASED = "erased"
"""What stands in place of one word that is no name, and stood in place of names before."""

_NOT_TO_WALK = frozenset(
    {Sort.OF_TEAMS, Sort.STAYS, Sort.LETS_IN, Sort.ENDS, Sort.PICTURE, Sort.PAPER}
)
_IN_ONE_WORD = frozenset({Sort.CONTACT, Sort.RECEIPT, Sort.DIGEST})


@dataclass(frozen=True, slots=True)
class Notes:
    """What stands in place of free text, and what earlier erasures have put there."""

    now: str
    before: frozenset[str] = frozenset()

    def are(self, text: str) -> bool:
        """Whether this is what an erasure has put there."""
        return text in {ERASED, NAME_ERASED, self.now} or text in self.before


class Scope(Protocol):
    """Whose data goes."""

    @property
    def notes(self) -> Notes: ...

    @property
    def names(self) -> Names: ...

    @property
    def is_whole(self) -> bool: ...

    def concerns(self, sort: Sort, text: str, *, own: bool) -> bool:
        """Whether this text goes; `own` where it stands with the official who is erased."""
        ...


@dataclass(frozen=True, slots=True)
class WholeMeet:
    """All that tells of anybody. `names` are all names that the meet holds, `words` all free
    texts; sentences repeat both.
    """

    notes: Notes
    names: Names
    words: Phrases
    is_whole: bool = True

    def concerns(self, sort: Sort, text: str, *, own: bool) -> bool:
        return sort is not Sort.TOLD or self.words.are_in(text) or self.names.are_in(text)


@dataclass(frozen=True, slots=True)
class OnePerson:
    """What tells of somebody with these names; `officials` are those among them.

    `pictures` are those that show them: no program can say who is in a picture.
    """

    notes: Notes
    names: Names
    officials: frozenset[str] = frozenset()
    pictures: frozenset[str] = field(default_factory=frozenset)
    is_whole: bool = False

    def concerns(self, sort: Sort, text: str, *, own: bool) -> bool:
        return (own and sort is Sort.CONTACT) or self.names.are_in(text)


def after(scope: Scope, sort: Sort, text: str, *, own: bool) -> str:
    """A text as it is after the erasure; the same text where nothing of it goes."""
    if sort in _NOT_TO_WALK or not text or is_id_or_instant(text):
        return text
    if scope.notes.are(text) and not scope.names.are_in(text):
        return text  # an earlier reason may have told a name that goes now
    if sort is Sort.SEEN_BY and (scope.is_whole or scope.names.are_in(text)):
        return f"seen by {NAME_ERASED}"
    if sort is Sort.DIGEST or not scope.concerns(sort, text, own=own):
        return text
    if sort is Sort.NAME:
        return NAME_ERASED
    return ERASED if sort in _IN_ONE_WORD else scope.notes.now
