"""Is the server alive, is it ready, and what are its numbers."""

from __future__ import annotations

import asyncio
import shutil
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from fastapi import Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from app.access.guard import Here
from app.clock import rfc3339
from app.explaining import ProblemTypeOut, explained, explained_as
from app.guarded import for_programs
from app.ids import MeetId, new_id
from app.last_backup import last_backup
from app.metrics import MEDIA_TYPE, as_text, of_disk, of_process, of_readiness, of_store, stored
from app.record.queries import head_amiss
from app.refusals import Unavailable
from app.schema import REVISION
from app.store.action import Actor
from app.store.causes import cause_of
from app.store.engine import database_path
from app.store.revision import stored_revision
from app.store.store import Store
from app.store.trial import trial
from app.wire import Wire

LITTLE_ROOM = 256 * 2**20
LONGEST_TRIAL = 5
"""Seconds in which the store must have stored something, or it is not ready."""
READINESS = Actor("readiness")
router = for_programs("operating")

TO_THE_MICROSECOND: Any = Field(
    examples=["2026-06-13T12:03:22.104218Z"], json_schema_extra={"format": "date-time"}
)


@router.get("/healthz")
async def healthz() -> dict[str, str]:
    """The process answers."""
    return {"status": "alive"}


class TimeOut(Wire):
    """When a question about the time came in, and when it was answered, by the server's clock."""

    received_at: str = TO_THE_MICROSECOND
    answered_at: str = TO_THE_MICROSECOND


@router.get("/api/time", response_model=TimeOut)
async def tell_time(here: Here) -> Response:
    """The server's time, for a phone that measures its own clock: with the times at which it asked
    and was answered these are the four of an NTP exchange (RFC 5905, 8).
    """
    came = rfc3339(here.clock.now())
    answered = TimeOut(received_at=came, answered_at=rfc3339(here.clock.now()))
    return Response(
        answered.model_dump_json(),
        media_type="application/json",
        headers={"Cache-Control": "no-store"},
    )


@router.get("/readyz")
async def readyz(here: Here) -> dict[str, str | list[str]]:
    """The store can be read and written, with this program's schema and a record that agrees with
    its head, by a server that stays. `warnings` say what is not as safe as it should be, and what
    will be wrong before long.
    """
    if here.feed.stopping:
        raise Unavailable("The server is shutting down.")
    if not here.store.takes_work:
        raise Unavailable(
            "The server stores nothing any more: its writer has ended. Start it again."
        )
    revision = await here.store.read_apart(stored_revision)
    if revision != REVISION:
        raise Unavailable(f"The database has schema {revision}; run `migrate` to get {REVISION}.")
    amiss = await here.store.read_apart(head_amiss)
    if amiss is not None:
        raise Unavailable(
            f"The record of meet {amiss} does not agree with its head. `check --database` tells "
            "what is wrong; keep the files as they are, and restore a copy."
        )
    # Once for all who ask at the same time, and a little longer: each trial is a disk sync.
    unsafe = await here.services.trials.get("store", here.clock.now(), lambda: _try(here.store))
    warnings = [*unsafe, *_of_room(room_left(here.store))]
    return {"status": "ready", "schema": REVISION, "warnings": warnings}


def _of_room(free: int | None) -> list[str]:
    if free is None or free >= LITTLE_ROOM:
        return []
    return [f"The disk of the database has only {free // 2**20:,} MiB left."]


async def _try(store: Store) -> list[str]:
    """Store something in earnest; Unavailable with the reason where that does not work."""
    try:
        async with asyncio.timeout(LONGEST_TRIAL):
            return await store.act(MeetId(new_id()), READINESS, trial)
    except TimeoutError as error:
        raise Unavailable(f"Nothing could be stored in {LONGEST_TRIAL} seconds.") from error
    except Unavailable as refusal:
        cause = cause_of(refusal.__cause__)
        raise Unavailable(f"Nothing can be stored in the database: {cause}.") from refusal


@router.get("/metrics", response_class=Response, responses={200: {"content": {"text/plain": {}}}})
async def metrics(here: Here) -> Response:
    """Numbers for Prometheus; nothing in them names a person or a team."""
    now, services = here.clock.now(), here.services
    told = [
        *of_process(here.feed, here.store, services.measures),
        *of_disk(_last_backup(here.store), room_left(here.store), now),
    ]
    try:
        found = await here.store.read_apart(partial(stored, now=now))
        told += of_store(found, now)
        await readyz(here)
        told += of_readiness(is_ready=True)
    except Unavailable:
        told += of_readiness(is_ready=False)
    text = await run_in_threadpool(as_text, told)
    return Response(text, media_type=MEDIA_TYPE)


def room_left(store: Store) -> int | None:
    """The bytes left for a SQLite database; PostgreSQL's disk is its own server's to watch."""
    path = _sqlite_file(store)
    try:
        return None if path is None else shutil.disk_usage(path.parent).free
    except OSError:
        return None


def _last_backup(store: Store) -> datetime | None:
    path = _sqlite_file(store)
    return None if path is None else last_backup(path)


def _sqlite_file(store: Store) -> Path | None:
    return database_path(store.engines.url) if store.engines.is_sqlite else None


class ProblemTypesOut(Wire):
    """The types of problems that this server's refusals have."""

    problems: list[ProblemTypeOut]


@router.get("/problems")
async def list_problems(response: Response) -> ProblemTypesOut:
    """Every problem type: its address, its title, its status, what it means, what can be done."""
    response.headers["Vary"] = "Accept"
    return ProblemTypesOut(problems=explained())


@router.get("/problems/{slug}")
async def explain_problem(slug: str, response: Response) -> ProblemTypeOut:
    """What a problem type means, and what can be done about it: every `type` in a problem document
    resolves here. Where a browser opens it, it is a page.
    """
    response.headers["Vary"] = "Accept"
    return explained_as(slug)
