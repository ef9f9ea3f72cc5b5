"""Why the program says no, in words of the trade.

Each condition carries the facts a tired official needs and the way out. None knows HTTP;
`app/problems.py` holds the one table that turns them into answers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from app.sheets.problems import Problem


class Refusal(Exception):
    """The base of all conditions under which an act is refused. `detail` says what to do next."""

    def __init__(self, detail: str, *, field: str | None = None, **facts: object) -> None:
        super().__init__(detail)
        self.detail = detail
        self.field = field
        self.facts: Mapping[str, object] = facts


class NotFound(Refusal):
    """The thing does not exist, or is not for this caller to see."""


class Malformed(Refusal):
    """What was sent cannot be read as what it should be."""


CHANGE_IT = (
    "Send the first content again to get the same answer, or its ETag in If-Match to change it."
)


class IdTaken(Refusal):
    """The id already names something with other content."""

    def __init__(
        self,
        what: str,
        ident: str,
        way_out: str = "Send the first content again to get the same answer, or choose a new id.",
    ) -> None:
        super().__init__(
            f"This id already belongs to {what} with other content. Nothing was changed. {way_out}",
            id=ident,
        )


class NotPossible(Refusal):
    """The thing is in a state that does not allow this act."""

    def __init__(
        self, what: str, state: str, act: str, possible: Iterable[str], way_out: str = ""
    ) -> None:
        others = sorted(possible)
        instead = f"Possible now: {', '.join(others)}." if others else "Nothing more can be done."
        super().__init__(
            f"This {what} is “{state}”, so “{act}” is not possible. {instead} {way_out}".rstrip(),
            state=state,
            possible=others,
        )


class StateConflict(Refusal):
    """What was asked contradicts what has been decided or stored meanwhile."""


class MeetErased(StateConflict):
    """What the meet held of people was erased, and nothing is added to it any more."""

    def __init__(self) -> None:
        super().__init__(
            "What this meet held of people was erased, and it takes nothing more. Nothing was "
            "stored. Its results can still be read, and its papers printed."
        )


class NoLongerStands(StateConflict):
    """What was ordered has been taken back, or overtaken, since: nothing of it is left to undo."""


class ShownLongAgo(Refusal):
    """What was signed was shown too long ago."""


class Stale(Refusal):
    """The caller acted on an older version than the one that is stored."""


class EtagUnknown(Refusal):
    """If-Match names no version that this server has ever given out."""


class PreconditionMissing(Refusal):
    """A change was sent without saying which version it changes."""


class NotJoined(Refusal):
    """No valid session came with the request."""


class CrossSite(Refusal):
    """A change came with a browser's cookie, and not from a page of this server."""


class RoleMissing(Refusal):
    """The caller's roles do not allow this."""


class NotYours(Refusal):
    """The caller holds the role, but this thing belongs to somebody else."""


class OwnReport(Refusal):
    """Whoever wrote a report never rules on it."""


class JoinRefused(Refusal):
    """The personal link is unknown, used, expired or revoked."""


class PinRefused(Refusal):
    """The PIN does not match."""


class SignatureRefused(Refusal):
    """A device's signature or its key is not good here."""


class StatementChanged(Refusal):
    """Another statement was signed than the one that would be recorded now."""


class TooManyTries(Refusal):
    """Too many wrong tries by this person on this device."""

    def __init__(self, detail: str, retry_after: int) -> None:
        super().__init__(detail, retry_after=retry_after)
        self.retry_after = retry_after


class TooMuchAtOnce(Refusal):
    """One session asks for more than its share; a moment later it may again."""

    def __init__(self, detail: str, retry_after: int) -> None:
        super().__init__(detail, retry_after=retry_after)
        self.retry_after = retry_after


class TooManyStreams(Refusal):
    """The session has as many live feeds open as it may."""


class NotProtestable(Refusal):
    """The rule book gives no protest or appeal against this."""


class Affected(Refusal):
    """A member of the jury whose affiliation the consequence touches has no vote."""


class NeedsWord(Refusal):
    """What is unusual needs an explicit word, which the document leaves out where nothing is: to
    announce despite something that stands in the way, or the same again; to hear what came late or
    from outside; to end at once by a corrected time what still runs; to confirm what was seen in an
    earlier run; to hold back a race that was announced, is contested or was decided on.
    """


class Unavailable(Refusal):
    """The store cannot answer just now; whether it has kept what was sent, the detail says."""

    def __init__(self, detail: str, retry_after: int = 2) -> None:
        # In seconds, as of those before.
        super().__init__(detail)
        self.retry_after = retry_after


class NotAsSigned(Refusal):
    """What is stored of an act is not what the record says was signed; nothing was sealed."""


class FileRefused(Refusal):
    """A start list or finish list has problems; nothing of it was stored."""

    def __init__(self, what: str, problems: Sequence[Problem]) -> None:
        count = len(problems)
        super().__init__(
            f"The {what} has {count} problem{'' if count == 1 else 's'}. Nothing was stored. "
            "Mend the rows named here and send the file again."
        )
        self.problems = tuple(problems)


def insist_on_version(stored: int, named: int | None, already: str, changed: str) -> None:
    """That whoever replaces something has seen it; nothing is asked where nothing is stored (0).

    `already` says that it is there, `changed` that it is another one by now.
    """
    if not stored:
        return
    if named is None:
        raise PreconditionMissing(already)
    if named != stored:
        raise Stale(changed)
