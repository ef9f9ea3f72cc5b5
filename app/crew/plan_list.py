"""The crew plan as a list: what was planned, to be worked on and loaded again.

The columns are those of a crew list. A post of single heats has a row for each round of an event in
which it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import Connection

from app.access.queries import official_names
from app.crew.heats_named import HeatNames
from app.crew.queries import Post, posts_of
from app.ids import MeetId, OfficialId
from app.meets.queries import programme
from app.plurals import spans
from app.rules.relay import Edge
from app.sheets.crew_list import OF_A_POST, REQUIRED
from app.sheets.writing import write_csv

COLUMNS = (*REQUIRED, *OF_A_POST)


def crew_csv(conn: Connection, meet_id: MeetId) -> str:
    """The plan in force; of a meet without one the columns alone."""
    posts = posts_of(conn, meet_id)
    heats = programme(conn, meet_id) if any(post.heats for post in posts) else []
    return listed(posts, official_names(conn, meet_id), HeatNames(heats))


def listed(posts: Sequence[Post], names: Mapping[OfficialId, str], heats: HeatNames) -> str:
    """These posts as a list."""
    in_order = sorted(posts, key=lambda one: (one.take_over, one.edge == Edge.END, min(one.lanes)))
    return write_csv(COLUMNS, [row for one in in_order for row in _rows(one, names, heats)])


def _rows(
    post: Post, names: Mapping[OfficialId, str], heats: HeatNames
) -> Iterator[tuple[str | int, ...]]:
    # An en dash: with a hyphen, spreadsheets take 1-4 for a day.
    place = (names[post.official_id], post.take_over, post.edge.value, spans(post.lanes))
    if not post.heats:
        yield (*place, post.side.value, ", ".join(sorted(post.relays)), "", "", "")
    for one in heats.of(post.heats):
        yield (*place, post.side.value, "", one.event_name, one.round, one.spans)
