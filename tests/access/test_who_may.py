"""The table of who may call what: complete, and saying what the trade says.

That umpires assist and never decide, that the referee rules, that the results desk announces:
World Athletics CR18 and CR20 in secondary texts; that the organiser names the officials is common
practice.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from app import server
from app.access.who_may import WHO_MAY, WHO_OPENS
from app.config import Settings
from app.guarded import for_programs
from app.roles import Role

MEET = "/api/meets/{meet}"
HEAD = {Role.REFEREE, Role.CHIEF_UMPIRE}
DOCUMENTATION = {"/openapi.json"}
PUBLIC = {
    "/healthz",
    "/readyz",
    "/metrics",
    "/problems",
    "/problems/{slug}",
    "/api/time",
    "/api/editions",
    "/api/join/look",
    "/api/join",
    "/api/meets",
    MEET,
    f"{MEET}/heats",
    f"{MEET}/heats/{{heat}}",
    f"{MEET}/heats/{{heat}}/round",
    f"{MEET}/rounds",
    f"{MEET}/rounds/{{round}}",
    f"{MEET}/scores",
    f"{MEET}/announcements",
    f"{MEET}/announcements/{{announcement}}.json",
    f"{MEET}/announcements/{{announcement}}.csv",
    f"{MEET}/announcements/{{announcement}}.pdf",
    f"{MEET}/announcements/{{announcement}}.txt",
    f"{MEET}/end",
    f"{MEET}/windows.json",
    f"{MEET}/windows.ics",
    f"{MEET}/seals",
    f"{MEET}/record/head",
    f"{MEET}/record/checkpoint",
    f"{MEET}/record/checkpoints",
    f"{MEET}/record/proofs/consistency",
}


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(_env_file=None).model_copy(
        update={"database_url": f"sqlite:///{tmp_path / 'unused.db'}"}
    )


def test_every_route_of_the_program_is_declared_and_every_declared_one_exists() -> None:
    assert set(server.declared_routes()) == set(WHO_MAY) | set(WHO_OPENS)


async def tell_secrets() -> str:
    return "secret"


def test_an_undeclared_route_keeps_the_program_from_starting(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    extra = for_programs("secrets")
    extra.add_api_route(f"{MEET}/secrets", tell_secrets, methods=["GET"])
    monkeypatch.setattr(server, "ROUTERS", (*server.ROUTERS, extra))
    with pytest.raises(RuntimeError, match="/secrets"):
        server.create_app(settings)


def test_a_declared_route_that_does_not_exist_keeps_the_program_from_starting(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "ROUTERS", server.ROUTERS[:-1])
    with pytest.raises(RuntimeError, match="/healthz"):
        server.create_app(settings)


def test_beside_the_declared_routes_there_is_only_the_documentation(settings: Settings) -> None:
    app = server.create_app(settings)
    described = set(app.openapi()["paths"])
    assert described == {path for _method, path in WHO_MAY}
    served = {
        (method, path)
        for route in app.routes
        if (path := getattr(route, "path", "")) not in DOCUMENTATION
        for method in getattr(route, "methods", ())
    }
    assert served == set(WHO_MAY) | set(WHO_OPENS)


def test_the_public_sees_the_programme_and_what_was_announced_and_nothing_else() -> None:
    assert {path for (_method, path), who in WHO_MAY.items() if who.public} == PUBLIC


def test_only_the_head_official_rules_and_reads_the_docket() -> None:
    assert WHO_MAY["PUT", f"{MEET}/cases/{{case}}/rulings/{{ruling}}"].roles == HEAD
    assert WHO_MAY["GET", f"{MEET}/docket"].roles == HEAD


def test_the_head_official_starts_heats_and_returns_reports() -> None:
    for act in ("heats/{heat}/start", "heats/{heat}/hold-back", "reports/{report}/return"):
        assert WHO_MAY["POST", f"{MEET}/{act}"].roles == HEAD, act


def test_the_head_official_says_which_heat_is_now_and_every_official_reads_it() -> None:
    assert WHO_MAY["PUT", f"{MEET}/heat-now"].roles == HEAD
    assert WHO_MAY["GET", f"{MEET}/heat-now"].roles == set(Role)
    assert not WHO_MAY["GET", f"{MEET}/heat-now"].public


def test_the_organiser_makes_a_rehearsal_and_the_head_official_may_end_it() -> None:
    assert WHO_MAY["PUT", f"{MEET}/rehearsals/{{rehearsal}}"].roles == {Role.ORGANISER}
    end = WHO_MAY["POST", f"{MEET}/rehearsals/{{rehearsal}}/end"]
    assert end.roles == {Role.ORGANISER, *HEAD}
    assert WHO_MAY["GET", f"{MEET}/rehearsals"].roles == set(Role)
    assert not WHO_MAY["GET", f"{MEET}/rehearsals"].public


def test_whoever_draws_says_which_heat_is_not_held() -> None:
    for act in ("start-lists", "heats/{heat}/not-held"):
        assert WHO_MAY["POST", f"{MEET}/{act}"].roles == {Role.ORGANISER}, act


def test_umpires_and_the_head_official_report_and_withdraw() -> None:
    for route in (
        ("PUT", "calls/{call}"),
        ("PUT", "reports/{report}"),
        ("POST", "reports/{report}/withdraw"),
    ):
        assert WHO_MAY[route[0], f"{MEET}/{route[1]}"].roles == {Role.UMPIRE, *HEAD}, route


def test_only_the_results_desk_announces() -> None:
    assert WHO_MAY["PUT", f"{MEET}/announcements/{{announcement}}"].roles == {Role.RESULTS}
    assert WHO_MAY["PUT", f"{MEET}/heats/{{heat}}/result"].roles == {Role.RESULTS}


def test_lots_are_entered_by_the_desk_or_the_referee() -> None:
    route = ("PUT", f"{MEET}/rounds/{{round}}/lots/{{lots}}")
    assert WHO_MAY[route].roles == {Role.RESULTS, Role.REFEREE}


def test_the_desk_corrects_a_time_and_the_referee_or_the_organiser_ends_the_meet() -> None:
    correction = f"{MEET}/announcements/{{announcement}}/time-corrections/{{correction}}"
    assert WHO_MAY["PUT", correction].roles == {Role.RESULTS}
    assert WHO_MAY["PUT", f"{MEET}/end"].roles == {Role.REFEREE, Role.ORGANISER}


@pytest.mark.parametrize(
    ("act", "corrected"),
    [
        ("protests/{protest}", "protests/{protest}/time-corrections"),
        ("protests/{protest}/advice", "protests/{protest}/advice/time-corrections"),
        ("appeals/{appeal}", "appeals/{appeal}/time-corrections"),
        ("appeals/{appeal}/deposit", "appeals/{appeal}/deposit/time-corrections"),
        ("appeals/{appeal}/deposit", "appeals/{appeal}/deposit/receipt-corrections"),
        ("end", "end/time-corrections"),
    ],
)
def test_whoever_may_do_an_act_may_correct_what_was_typed_wrongly_in_it(
    act: str, corrected: str
) -> None:
    correction = f"{MEET}/{corrected}/{{correction}}"
    assert WHO_MAY["PUT", correction].roles == WHO_MAY["PUT", f"{MEET}/{act}"].roles
    assert not WHO_MAY["PUT", correction].public


def test_only_the_organiser_names_officials_and_gives_them_roles() -> None:
    assert WHO_MAY["PUT", f"{MEET}/officials/{{official}}"].roles == {Role.ORGANISER}
    assert not WHO_MAY["PUT", f"{MEET}/officials/{{official}}"].founder


def test_no_report_is_for_the_results_desk_or_the_organiser() -> None:
    for path in ("reports/{report}", "reports", "calls/{call}", "cases/{case}", "docket"):
        who = WHO_MAY["GET", f"{MEET}/{path}"]
        assert who.roles.isdisjoint({Role.RESULTS, Role.ORGANISER}), path


def test_case_files_are_for_those_who_read_cases_and_dossiers() -> None:
    for kind in ("cases/{case}", "protests/{protest}", "appeals/{appeal}"):
        for ending in ("pdf", "zip"):
            who = WHO_MAY["GET", f"{MEET}/{kind}/file.{ending}"]
            assert who.roles == {*HEAD, Role.JURY}, (kind, ending)
            assert not who.public


def test_whoever_changes_something_at_a_meet_is_known_by_name() -> None:
    for (method, path), who in WHO_MAY.items():
        if method != "GET" and not path.startswith("/api/join"):
            assert not who.public, (method, path)
