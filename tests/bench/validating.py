"""What does the framework itself cost? The service's framework takes a report and stores nothing.

The same document is read into the same model by the same framework on the same server, and answered
with a few bytes: no session, no finding, no record, no disk.
"""

from __future__ import annotations

import os
import sys

import uvicorn
from fastapi import FastAPI, Response

from app.collector import leave_what_is_there, look_seldom
from app.config import Settings
from app.reports.wire import ReportIn
from app.serving import listen

TAKEN = b'{"taken":true}'

app = FastAPI(openapi_url=None)


@app.put("/api/meets/{meet}/reports/{report}", status_code=201)
async def take(meet: str, report: str, sent: ReportIn) -> Response:
    """A report's document, validated and forgotten."""
    return Response(TAKEN, status_code=201, media_type="application/json")


@app.get("/healthz")
async def alive() -> Response:
    return Response(b"alive")


def serve() -> int:
    """Serve on a free port with the settings of the service, until a signal ends it."""
    look_seldom()
    with listen(Settings(_env_file=None, port=0)) as listener:
        print(f"Serving http://127.0.0.1:{listener.getsockname()[1]}", flush=True)
        leave_what_is_there()
        uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False)).run(
            sockets=[listener]
        )
    return 0


if __name__ == "__main__":
    os.environ.pop("DATABASE_URL", None)
    sys.exit(serve())
