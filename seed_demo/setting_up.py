"""How does the invented meet come about? Through the same actions that HTTP calls, in their order.

The holder of the setup key makes the meet; its organiser joins, names the officials, loads the
first start list, takes in what was measured of the zones and plans the crew; every official joins
with a personal link and a PIN.
"""

from __future__ import annotations

from app.access.actions import name_official
from app.access.guard import FOUNDER
from app.access.queries import officials_of
from app.access.wire import OfficialIn
from app.crew.actions import plan_crew
from app.crew.wire import CrewIn, CrewOut, PostIn
from app.crew_search import lists
from app.crew_search.actions import set_wishes
from app.crew_search.queries import wishes_of
from app.crew_search.task import asked_of
from app.crew_search.wire import SearchIn
from app.ids import OfficialId, PostId, SessionId, new_id
from app.meets.actions import make_meet
from app.meets.wire import MeetIn, OrganiserIn
from app.store.action import Actor
from app.surveys.actions import measure_lines
from app.surveys.listing import read_file, zones_listed
from app.surveys.queries import meet_zones, tolerance_of
from seed_demo.files import OfficialLine, PostLine, read_bytes
from seed_demo.joining import join_meet
from seed_demo.stage import Person, Stage


def set_up(stage: Stage) -> CrewOut:
    """Make the meet, name its officials, load the first start list, survey the zones, say who is
    there when, and plan the crew.
    """
    _make_meet(stage)
    for line in stage.files.officials:
        if line.key != stage.files.organiser:
            _name(stage, line)
    stage.load_start_list(stage.files.organiser, "start-list.csv")
    _survey_zones(stage)
    _wish(stage)
    return _plan_crew(stage)


def _wish(stage: Stage) -> None:
    """Who is there when, and what a plan is to be found of before the first heat. It stays a
    proposal: everybody keeps one post through the day, as the story tells it.
    """
    people = lists.read_people(read_bytes("people.csv"), {})
    before = stage.read(lambda conn: wishes_of(conn, stage.meet_id))
    officials = stage.read(lambda conn: officials_of(conn, stage.meet_id))
    seen = lists.with_people(before, people, officials)
    if seen.told.problems:
        raise ValueError(f"people.csv: {seen.told.problems[0].problem}")
    stage.act(stage.files.organiser, set_wishes(seen.wishes, None))
    stage.asked = stage.read(lambda conn: asked_of(conn, stage.meet_id, SearchIn()))


def _survey_zones(stage: Stage) -> None:
    """What two people taped on the day before the first heat; one line of the medley lies wrong."""
    known = stage.read(lambda conn: meet_zones(conn, stage.meet_id))
    listed = read_file(read_bytes("survey.csv"), {})
    tolerance = tolerance_of(known.facts)
    zones, seen = zones_listed(listed, known.facts.book, known.track, tolerance)
    if seen.problems:
        raise ValueError(f"survey.csv: {seen.problems[0].problem}")
    stage.act(stage.files.organiser, measure_lines(zones))


def _make_meet(stage: Stage) -> None:
    files = stage.files
    organiser = next(line for line in files.officials if line.key == files.organiser)
    person = _remember(stage, organiser)
    first, last = stage.timetable.set_up_at, stage.timetable.instant(stage.story.ends)
    sent = MeetIn(
        name=files.name,
        venue=files.venue,
        first_day=stage.local_day(first),
        last_day=stage.local_day(last),
        time_zone=files.time_zone,
        edition=files.edition,
        terms=files.terms,
        organiser=OrganiserIn(id=person.id, name=person.name),
    )
    stage.store.act_now(stage.meet_id, FOUNDER, make_meet(stage.meet_id, sent))
    stage.seals.sign_present_head(stage.meet_id)
    join_meet(stage, person, FOUNDER)


def _name(stage: Stage, line: OfficialLine) -> None:
    organiser = stage.people[stage.files.organiser]
    person = _remember(stage, line)
    sent = OfficialIn(name=line.name, affiliation=line.affiliation, roles=list(line.roles))
    stage.act(stage.files.organiser, name_official(person.id, sent))
    join_meet(stage, person, Actor(organiser.id, organiser.roles))


def _remember(stage: Stage, line: OfficialLine) -> Person:
    person = Person(
        id=OfficialId(new_id()),
        name=line.name,
        roles=frozenset(line.roles),
        phone_ms=line.phone_ms,
        session_id=SessionId(new_id()),
    )
    stage.people[line.key] = person
    return person


def _plan_crew(stage: Stage) -> CrewOut:
    for line in stage.files.crew:
        stage.posts[line.official] = PostId(new_id())
    sent = CrewIn(posts=[_post(stage, line) for line in stage.files.crew])
    return stage.act(stage.files.organiser, plan_crew(sent, None)).thing


def _post(stage: Stage, line: PostLine) -> PostIn:
    return PostIn(
        id=stage.posts[line.official],
        official=stage.people[line.official].id,
        take_over=line.take_over,
        edge=line.edge,
        lanes=list(line.lanes),
        side=line.side,
    )
