"""The zone official's page, and what lets a phone keep it: a manifest, and a worker.

All that the page shows is in the one answer of `…/watch`; the first of them comes with the page, so
that a phone on a bad line need not ask twice. From then on the page lives on the phone
(`assets/zone/`): it works without a network, and what is done on it goes through the JSON API.
"""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import Path, Request, Response

from app.access.guard import Here
from app.access.who_may import UMPIRES
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.pages.asked import asked
from app.pages.assets import address, assets, packed_or_plain
from app.pages.frame import frame_of
from app.pages.languages import translations
from app.pages.rendering import Language, Page, render
from app.pages.wording import WORDS
from app.watching.queries import watch

router = for_readers()

MANIFEST = "application/manifest+json"

Meet = Annotated[ChosenId, Path()]


@router.get("/meets/{meet}/zone")
async def show_zone(
    meet: Meet, request: Request, here: Here, language: Language = None
) -> Response:
    """What an official at a take-over looks at and taps."""
    frame = await frame_of(here, MeetId(meet))
    told = await here.store.read_apart(
        lambda conn: watch(conn, MeetId(meet), here.caller, frame.now)
    )
    shows = {
        "frame": frame,
        "told": told,
        "heats": {heat.id: heat for heat in told.heats},
        "asked": asked(),
        "facts": WORDS["fact"],
        "answers": WORDS["answer"],
        "flag_roles": sorted(UMPIRES.roles),
    }
    return render(request, Page("zone.html", shows, zone=frame.meet.time_zone), language)


@router.get("/meets/{meet}/zone/manifest.webmanifest")
async def get_manifest(meet: Meet, here: Here, language: Language = None) -> Response:
    """What a phone's home screen needs to know of the page. Nothing in it is anybody's own."""
    frame = await frame_of(here, MeetId(meet))
    place = translations(language or "en").ugettext(WORDS["place"]["zone"])
    page = f"/meets/{meet}/zone"
    told = {
        "id": page,
        "name": f"{place} · {frame.meet.name}",
        "short_name": place,
        "start_url": page,
        "scope": page,
        "display": "standalone",
        "background_color": "#fbfaf6",
        "theme_color": "#12343b",
        "icons": [
            {"src": address("icon.svg"), "sizes": "any", "type": "image/svg+xml"},
            *(
                {"src": address(f"icon-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
                for size in (192, 512)
            ),
        ],
    }
    headers = {"Cache-Control": "no-cache"}
    return Response(json.dumps(told, ensure_ascii=False), media_type=MANIFEST, headers=headers)


@router.get("/worker.js")
async def get_worker(request: Request) -> Response:
    """What keeps the page on the phone; the browser asks for a newer one by itself."""
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/meets/"}
    return packed_or_plain(assets()["zone/worker.js"], request, headers)
