"""Taking over a crew list: the names in it become posts of the plan.

A post that the plan has already, for the same official at the same place, keeps its id, so that
flags shown there and badges handed out stay with it. The list is the whole plan. A row for somebody
who has dropped out is none of its posts: it is left aside, and told.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from app.access.wire import OfficialOut
from app.crew.actions import WATCHERS
from app.crew.queries import Post
from app.crew.telling import ToMind
from app.crew.wire import MOST_HEATS, MOST_POSTS, CrewIn, CrewListOut, PostIn
from app.ids import HeatId, new_id
from app.meets.wire import HeatOut
from app.rules.relay import Edge, Relay, Side
from app.sheets.crew_list import DroppedRow, HeatsAsked, PostRow, read_crew_list
from app.sheets.listed import Listed, read_listed
from app.sheets.problems import ProblemList, show
from app.visible import likeness

MostLanes = Callable[[frozenset[Relay]], int]
CrewRow = PostRow | DroppedRow


def read_file(content: bytes, columns: Mapping[str, str]) -> Listed[CrewRow]:
    """The rows in a file and every problem in it, by row and column."""
    return read_listed(read_crew_list, content, columns)


@dataclass(frozen=True, slots=True)
class Known:
    """What the meet has that a list can name: its officials, the heats of its programme, and which
    lane is the highest for some relays; and the posts of the plan in force.
    """

    people: Sequence[OfficialOut]
    heats: Sequence[HeatOut]
    before: Sequence[Post]
    most: MostLanes

    def heats_asked(self, asked: HeatsAsked) -> list[HeatOut]:
        """The heats of the programme that a row names."""
        return [
            heat
            for heat in self.heats
            if likeness(heat.event_name) == likeness(asked.event)
            and (not asked.round or likeness(heat.round) == likeness(asked.round))
            and (not asked.numbers or heat.number in asked.numbers)
        ]


@dataclass(frozen=True, slots=True)
class Place:
    """Where an official stands. Rows that differ by nothing but their heats make one post."""

    official: str
    take_over: int
    edge: Edge
    lanes: tuple[int, ...]
    side: Side


def place_of(post: Post) -> Place:
    """Where a post of the plan in force is."""
    lanes = tuple(sorted(post.lanes))
    return Place(post.official_id, post.take_over, post.edge, lanes, post.side)


def plan(listed: Listed[CrewRow], known: Known) -> tuple[CrewIn, Listed[CrewRow]]:
    """The plan that the list makes, and the list with what stands against it."""
    by_name: dict[str, list[OfficialOut]] = {}
    for person in known.people:
        by_name.setdefault(likeness(person.name), []).append(person)
    problems, left = ProblemList(), list(known.before)
    whole: list[PostIn] = []
    single: dict[Place, set[HeatId]] = {}
    for row in posts_in(listed):
        found = by_name.get(likeness(row.official)) or _as_written_out(row.official, by_name)
        heats = None if row.heats is None else known.heats_asked(row.heats)
        relays = frozenset(heat.relay for heat in heats) if heats else frozenset(row.relays)
        _tell_of_trouble(row, found, known.most(relays), problems)
        _tell_of_no_heats(row, heats, problems)
        _tell_of_other_relays(row, relays, problems)
        for place in _places(row, found):
            if heats is None:
                whole.append(as_sent(place, row.relays, (), left))
            else:
                single.setdefault(place, set()).update(heat.id for heat in heats)
    _tell_of_too_many_heats(single, problems)
    single = {place: set(sorted(heats)[:MOST_HEATS]) for place, heats in single.items()}
    posts = [*whole, *(as_sent(place, (), heats, left) for place, heats in single.items())]
    _tell_of_too_many(posts, problems)
    return CrewIn(posts=posts[:MOST_POSTS]), listed.with_problems(problems.told())


def posts_in(listed: Listed[CrewRow]) -> list[PostRow]:
    """The rows that make posts."""
    return [row for row in listed.rows if isinstance(row, PostRow)]


def _as_written_out(name: str, by_name: Mapping[str, list[OfficialOut]]) -> Sequence[OfficialOut]:
    """A name that a spreadsheet would calculate goes out with an apostrophe before it."""
    return by_name.get(likeness(name.removeprefix("'")), [])


def _places(row: PostRow, found: Sequence[OfficialOut]) -> Iterator[Place]:
    if len(found) == 1:
        for take_over in row.take_overs:
            yield Place(found[0].id, take_over, row.edge, row.lanes, Side(row.side))


def _tell_of_no_heats(row: PostRow, heats: Sequence[HeatOut] | None, problems: ProblemList) -> None:
    if row.heats is None or heats is None:
        return
    asked = row.heats
    missing = asked.numbers - {heat.number for heat in heats}
    if not heats or missing:
        of = f"{show(asked.event)}, {show(asked.round)}" if asked.round else show(asked.event)
        what = f"heat {min(missing)}" if missing else "heat"
        why = f"The programme has no {what} of {of}. Load the start lists first, or correct it."
        problems.add(row.row, "heat" if missing else "event", why)


def _tell_of_other_relays(row: PostRow, relays: Collection[Relay], problems: ProblemList) -> None:
    """Where the heats of a row are of relays that it leaves out."""
    if row.relays and (others := set(relays) - set(row.relays)):
        why = f"Heats of this row are of a {min(others)}, which its relays leave out. Name that "
        problems.add(row.row, "relays", why + "relay too, or none.")


def _tell_of_too_many_heats(
    single: Mapping[Place, Collection[HeatId]], problems: ProblemList
) -> None:
    most = max((len(heats) for heats in single.values()), default=0)
    if most > MOST_HEATS:
        why = (
            f"A place of this list is for {most} heats; at most {MOST_HEATS}. Leave its heats out."
        )
        problems.add(None, None, why)


def _tell_of_too_many(posts: Sequence[PostIn], problems: ProblemList) -> None:
    if len(posts) > MOST_POSTS:
        why = f"This list makes {len(posts)} posts; a plan has at most {MOST_POSTS}. Merge some."
        problems.add(None, None, why)


def _tell_of_trouble(
    row: PostRow, found: Sequence[OfficialOut], most: int, problems: ProblemList
) -> None:
    if not found:
        why = f"{show(row.official)} is no official of this meet. Name them first, or correct it."
        problems.add(row.row, "official", why)
    elif len(found) > 1:
        why = f"The meet has {len(found)} officials of this name. Give one another name first."
        problems.add(row.row, "official", why)
    elif not found[0].active or WATCHERS.isdisjoint(found[0].roles):
        why = (
            f"{show(row.official)} is no active umpire. Give them the role, or the post to another."
        )
        problems.add(row.row, "official", why)
    if max(row.lanes) > most:
        why = f"There is no lane {max(row.lanes)}: this meet's track has {most}. Correct it."
        problems.add(row.row, "lanes", why)


def as_sent(
    place: Place, relays: Iterable[Relay], heats: Iterable[HeatId], left: list[Post]
) -> PostIn:
    """The post at a place; one that is left of the plan before keeps its id, and is taken."""
    alike = [post for post in left if replace(place_of(post), side=place.side) == place]
    same = (post for post in alike if post.side == place.side and post.relays == frozenset(relays))
    kept = next(same, None) or next(iter(alike), None)
    if kept is not None:
        left.remove(kept)
    return PostIn(
        id=kept.id if kept is not None else new_id(),
        official=place.official,
        take_over=place.take_over,
        edge=place.edge,
        lanes=list(place.lanes),
        side=place.side,
        relays=list(relays),
        heats=sorted(heats),
    )


def summary(sent: CrewIn, listed: Listed[CrewRow], mind: ToMind, *, stored: bool) -> CrewListOut:
    """What the list makes, and what is to be minded of that plan."""
    return CrewListOut(
        stored=stored,
        posts=len(sent.posts),
        people=len({likeness(row.official) for row in posts_in(listed)}),
        dropped_out=[row.official for row in listed.rows if isinstance(row, DroppedRow)],
        unwatched=[gap.words for gap in mind.unwatched],
        apart=[one.words for one in mind.apart],
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )
