"""Joining, officials and their personal links over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from app.access import actions, badges, joining, keys, officials_list, queries, revoking
from app.access.guard import Here
from app.access.sign_wire import KeyIn, KeyOptionsOut, KeyOut, RevokeIn
from app.access.signing import confirm_pin
from app.access.wire import (
    BadgesIn,
    JoinIn,
    JoinOut,
    LeftOut,
    LinkOut,
    LookIn,
    LookOut,
    OfficialIn,
    OfficialOut,
    OfficialsListOut,
    SelfOut,
)
from app.answers import VersionNamed, answer, answer_put
from app.forms.badge_sheet import draw_badge_sheet
from app.guarded import for_programs
from app.header_names import A_LIST, LARGEST_LIST, ColumnNames, list_sent
from app.ids import ChosenId, KeyId, LinkId, MeetId, OfficialId
from app.meets.queries import meet_facts, meet_name
from app.roles import Role

router = for_programs("access")

Meet = Annotated[ChosenId, Path()]
Official = Annotated[ChosenId, Path()]
Link = Annotated[ChosenId, Path()]
Key = Annotated[ChosenId, Path()]


@router.post("/api/join/look", response_model=LookOut)
async def look_at_link(sent: LookIn, here: Here) -> Response:
    """Whose link is this? Looking does not use it up."""
    link, person = await here.store.read(
        lambda conn: joining.look_up(conn, sent.token, here.clock.now())
    )
    name = await here.store.read(lambda conn: meet_name(conn, MeetId(link.meet_id)))
    return answer(
        LookOut(
            meet=link.meet_id,
            meet_name=name,
            official=person.id,
            name=person.name,
            roles=[Role(role) for role in person.roles],
            has_pin=person.pin_hash is not None,
            is_used=link.used_at is not None,
        )
    )


@router.post("/api/join", response_model=JoinOut)
async def join_with_link(sent: JoinIn, here: Here) -> Response:
    """Use a personal link: the device gets its session, the official their PIN."""
    return answer(await joining.join_with(here.store, sent))


@router.get("/api/me", response_model=SelfOut)
async def who_am_i(here: Here) -> Response:
    """The caller's own name, roles and meet."""
    person = await here.store.read(
        lambda conn: queries.official(conn, here.caller.meet_id, here.caller.official_id)
    )
    return answer(
        SelfOut(
            meet=here.caller.meet_id,
            official=here.caller.official_id,
            name=person.name,
            roles=person.roles,
            session=here.caller.session_id,
        )
    )


@router.delete("/api/me/session", response_model=LeftOut)
async def leave_session(here: Here) -> Response:
    """End this device's session. The keys that were registered in it sign nothing from then on; the
    answer names them.
    """
    caller = here.caller
    return answer(
        await here.store.act(caller.meet_id, here.actor, actions.leave(caller.session_id))
    )


@router.get("/api/meets/{meet}/officials", response_model=list[OfficialOut])
async def list_officials(meet: Meet, here: Here) -> list[OfficialOut]:
    """All officials of the meet."""
    return await here.store.read(lambda conn: queries.officials_of(conn, MeetId(meet)))


@router.post(
    "/api/meets/{meet}/officials-list",
    response_model=OfficialsListOut,
    max_body_size=LARGEST_LIST,
    openapi_extra=A_LIST,
)
async def post_officials_list(
    meet: Meet,
    request: Request,
    here: Here,
    check: Annotated[bool, Query()] = False,
    columns: ColumnNames = "{}",
) -> Response:
    """Name officials from a CSV or XLSX file in the body, with the columns `name, roles`, and if
    you like `affiliation`; `check=true` only looks. Who is known by name is changed, who is not in
    the list stays. A list that was cut off is sent again.
    """
    listed = await list_sent(request, columns, officials_list.read_file)
    known = await here.store.read(lambda conn: queries.officials_of(conn, MeetId(meet)))
    steps, listed = officials_list.plan(listed, known, here.actor.id)
    if check:
        return answer(officials_list.summary(steps, listed, stored=False))
    out = await officials_list.take_over(here.store, MeetId(meet), here.actor, steps, listed)
    return answer(out)


@router.put("/api/meets/{meet}/officials/{official}", response_model=OfficialOut)
async def put_official(
    meet: Meet,
    official: Official,
    sent: OfficialIn,
    here: Here,
    version: VersionNamed,
) -> Response:
    """Name an official; with If-Match, change one."""
    meet_id, official_id = MeetId(meet), OfficialId(official)
    if version is not None:
        changed = await here.store.act(
            meet_id, here.actor, actions.change_official(official_id, sent, version)
        )
        return answer(changed, version=changed.version)
    put = await here.store.act(meet_id, here.actor, actions.name_official(official_id, sent))
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/officials/{official}", response_model=OfficialOut)
async def get_official(meet: Meet, official: Official, here: Here) -> Response:
    """One official."""
    found = await here.store.read(
        lambda conn: queries.official(conn, MeetId(meet), OfficialId(official))
    )
    return answer(found, version=found.version)


@router.delete("/api/meets/{meet}/officials/{official}/pin", response_model=OfficialOut)
async def delete_pin(
    meet: Meet,
    official: Official,
    here: Here,
) -> Response:
    """Forget an official's PIN, end their sessions, and revoke their keys and the links that nobody
    has used. They join again with a new link, made after this.
    """
    out = await here.store.act(MeetId(meet), here.actor, actions.clear_pin(OfficialId(official)))
    return answer(out, version=out.version)


@router.put("/api/meets/{meet}/officials/{official}/join-links/{link}", response_model=LinkOut)
async def put_link(
    meet: Meet,
    official: Official,
    link: Link,
    here: Here,
) -> Response:
    """Issue a personal link. Its token is told in this answer only."""
    put = await here.store.act(
        MeetId(meet), here.actor, actions.issue_link(OfficialId(official), LinkId(link))
    )
    return answer_put(put)


@router.delete("/api/meets/{meet}/officials/{official}/join-links/{link}", response_model=LinkOut)
async def delete_link(
    meet: Meet,
    official: Official,
    link: Link,
    here: Here,
) -> Response:
    """Take a personal link back and end the session it opened, whose keys sign nothing from then
    on.
    """
    out = await here.store.act(
        MeetId(meet), here.actor, actions.revoke_link(OfficialId(official), LinkId(link))
    )
    return answer(out)


@router.post(
    "/api/meets/{meet}/badges.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def print_badges(meet: Meet, sent: BadgesIn, here: Here) -> Response:
    """Badges to cut out, each with a new personal link as a QR code. The links stand on this paper
    only: ask for new badges if it got lost. Devices that have joined stay joined.
    """
    meet_id = MeetId(meet)
    known = await here.store.read(lambda conn: queries.officials_of(conn, meet_id))
    facts = await here.store.read(lambda conn: meet_facts(conn, meet_id))
    people = badges.choose(known, sent.officials)
    address = here.services.settings.address
    with here.one_more_file():  # before the links: they would be new, and on no paper
        links = await badges.issue_links(here.store, meet_id, here.actor, people)
        sheet = badges.on_badges(people, links, facts.name, facts.time_zone, address)
        drawn = await run_in_threadpool(draw_badge_sheet, sheet, sent.paper)
    headers = {
        "Cache-Control": "private, no-store",
        "Content-Disposition": 'attachment; filename="badges.pdf"',
    }
    return Response(drawn, media_type="application/pdf", headers=headers)


@router.post("/api/meets/{meet}/me/keys/options", response_model=KeyOptionsOut)
async def get_key_options(meet: Meet, here: Here) -> Response:
    """What this device's browser is asked so that it makes a passkey. Nothing is stored."""
    from app.access.passkeys import creation_options  # noqa: PLC0415  (see `signing.py`)

    return answer(await creation_options(here, MeetId(meet)))


@router.put("/api/meets/{meet}/me/keys/{key}", response_model=KeyOut)
async def put_key(meet: Meet, key: Key, sent: KeyIn, here: Here) -> Response:
    """Register a key of this device with the PIN: a passkey, or a phone's own key for reports."""
    made = await keys.read_key(here, KeyId(key), sent)
    await confirm_pin(here.store, here.caller, sent.pin)
    act = keys.register_key(KeyId(key), sent, made, here.caller)
    return answer_put(await here.store.act(MeetId(meet), here.actor, act))


@router.get("/api/meets/{meet}/me/keys", response_model=list[KeyOut])
async def list_own_keys(meet: Meet, here: Here) -> list[KeyOut]:
    """The caller's own keys, first to last, also those that were revoked."""
    return await here.store.read(
        lambda conn: queries.keys_of(conn, MeetId(meet), here.caller.official_id)
    )


@router.post("/api/meets/{meet}/me/keys/{key}/revoke", response_model=KeyOut)
async def revoke_own_key(meet: Meet, key: Key, sent: RevokeIn, here: Here) -> Response:
    """From then on a key of one's own signs nothing; the answer lists what it has signed since."""
    act = revoking.revoke_key(here.caller.official_id, KeyId(key), sent)
    return answer(await here.store.act(MeetId(meet), here.actor, act))


@router.get("/api/meets/{meet}/officials/{official}/keys", response_model=list[KeyOut])
async def list_keys(meet: Meet, official: Official, here: Here) -> list[KeyOut]:
    """An official's keys, first to last, also those that were revoked."""
    return await here.store.read(
        lambda conn: queries.keys_of(conn, MeetId(meet), OfficialId(official))
    )


@router.post("/api/meets/{meet}/officials/{official}/keys/{key}/revoke", response_model=KeyOut)
async def revoke_key(
    meet: Meet, official: Official, key: Key, sent: RevokeIn, here: Here
) -> Response:
    """From then on an official's key signs nothing; the answer lists what it has signed since."""
    act = revoking.revoke_key(OfficialId(official), KeyId(key), sent)
    return answer(await here.store.act(MeetId(meet), here.actor, act))
