"""Playing the invented meet: for its papers, or to be served.

The meet is set up and every step of the story done through the program's own actions, on a clock
that the story moves. For the papers it stands on its own day, in a database that is thrown away;
to be served it ends now, and the server then goes on with the machine's clock.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path

from sqlalchemy import make_url

from app.clock import SystemClock
from app.config import Settings
from app.plurals import agreeing
from app.record.log import Keeper
from app.results.finality import Finality, finality_of
from app.sealing.key_store import KeyStore
from app.sealing.seals import Seals, key_store
from app.serving import bring_up_to_date, listen, serve_settings
from app.store.engine import only_process
from app.store.store import Store
from seed_demo.deeds import do_step
from seed_demo.files import MeetFiles, read_meet
from seed_demo.links import invite_each_role, open_cases, tell_links
from seed_demo.papers import Written, write_all
from seed_demo.setting_up import set_up
from seed_demo.stage import Stage
from seed_demo.story import Story, read_story
from seed_demo.story_clock import StoryClock, Timetable, ending_at
from seed_demo.telling import Happening, Told, left_open, table_of, what_is_final


@dataclass(frozen=True, slots=True)
class Played:
    """The meet after its story, still open in its store."""

    stage: Stage
    happenings: tuple[Happening, ...]


def write_papers(out: Path) -> int:
    """Play the meet on its own day and write its papers; 0 when its record checks."""
    files, story = read_meet(), read_story()
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        database_url = f"sqlite:///{Path(folder) / 'demo.db'}"
        with play(database_url, files, story, _own_day(files), KeyStore()) as played:
            _tell(played)
            print("The same command without --no-serve serves the meet, so that you can.\n")
            written = write_all(played.stage, out)
    return _tell_written(written, out)


def serve_meet(out: Path | None, settings: Settings) -> int:
    """Play the meet so that it ends now, and serve it until a signal ends that.

    With a folder, its papers are written there as well and the database stays there.
    """
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        return _serve(out, settings, keep=True)
    with tempfile.TemporaryDirectory() as folder:
        return _serve(Path(folder), settings, keep=False)


def _serve(folder: Path, settings: Settings, *, keep: bool) -> int:
    own = {"database_url": f"sqlite:///{folder / 'demo.db'}", "seal_folder": folder / "seal"}
    # Beside the links that it prints, a line for each request would be noise.
    settings = settings.model_copy(update={**own, "log_requests": False})
    files, story, now = read_meet(), read_story(), SystemClock().now()
    timetable = ending_at(now, _own_day(files).first, story.ends)
    with listen(settings) as listener:  # taken before the story is told, which takes a while
        with (
            only_process(make_url(settings.database_url)),
            play(settings.database_url, files, story, timetable, key_store(settings)) as played,
        ):
            _tell(played)
            if keep and _tell_written(write_all(played.stage, folder), folder):
                return 1
            played.stage.clock.move_to(SystemClock().now())
            invitations, left = invite_each_role(played.stage), open_cases(played.stage)
        meet_id = played.stage.meet_id

        def say(address: str) -> None:
            print(f"\nServing {address}  (Ctrl-C ends it)\n")
            print("\n".join(tell_links(invitations, meet_id, left, address)), flush=True)

        return serve_settings(settings, listener, say=say)


@contextmanager
def play(
    database_url: str, files: MeetFiles, story: Story, timetable: Timetable, keys: KeyStore
) -> Iterator[Played]:
    """Set the meet up in a database and play the whole story; its seal's key is kept in `keys`."""
    bring_up_to_date(database_url)
    clock = StoryClock(timetable.set_up_at)
    store = Store(database_url, clock, Keeper())
    store.start()
    try:
        stage = Stage(store, Seals(store, keys), clock, timetable, files, story)
        first = Happening(timetable.set_up_at, _set_up(stage))
        yield Played(stage, (first, *(do_step(stage, step) for step in story.step)))
    finally:
        store.stop()


def _set_up(stage: Stage) -> Told:
    crew = set_up(stage)
    gaps = sum(len(gap.lanes) for gap in crew.unwatched)
    what = (
        f"sets up the meet: {len(stage.people)} officials, {len(crew.posts)} posts, "
        f"{len(stage.heats)} heats; edges of lanes unwatched: {gaps}"
    )
    return Told("", stage.people[stage.files.organiser].name, what)


def _own_day(files: MeetFiles) -> Timetable:
    return Timetable(files.set_up_at.astimezone(UTC), files.set_up_at.time())


def _tell(played: Played) -> None:
    files = played.stage.files
    print(f"{files.name}, {files.venue}  (times in {files.time_zone})\n")
    print("\n".join(table_of(played.happenings, files.time_zone)))
    print()
    print("\n".join(what_is_final(_finality(played.stage), files.time_zone)))
    print()
    print("\n".join(left_open(open_cases(played.stage))))


def _finality(stage: Stage) -> list[tuple[str, Finality]]:
    """Where every heat's result stands when the story ends, in the story's order."""
    now, heats = stage.clock.now(), stage.heats
    found = stage.read(lambda conn: finality_of(conn, stage.meet_id, heats.values(), now))
    return [(key, found[heats[key]]) for key in stage.story.heats]


def _tell_written(written: Written, out: Path) -> int:
    print(f"Written to {out}:")
    for file in written.files:
        print(f"  {file.path.as_posix():<52}{len(file.content):>9,} bytes")
    for mismatch in written.checked.mismatches:
        print(f"The record does not agree: {mismatch}")
    if not written.checked.is_good:
        return 1
    agree = agreeing(written.checked.size, "entry", "agrees", "agree")
    print(f"The record's {agree} with its head.")
    print(f"Check all of it with: python -m app check {out / 'export.zip'}")
    return 0
