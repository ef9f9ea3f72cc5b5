"""What the README says about running the service fits the service: its limits, its settings, its
commands. The blocks were run as they stand when they were written, nginx and all; here it is held
that the program has not moved away from them since."""

from __future__ import annotations

import re
import shlex

import pytest

from app.cli import main
from app.config import Settings
from app.connections import Connection, most_connections
from app.metrics import as_text, of_disk, of_process, of_readiness, of_store, stored
from app.pictures.redrawing import LARGEST_PICTURE
from app.record.feed import LOOK_EVERY, PING_AFTER, TURNS
from app.serving import SECONDS_IDLE, SECONDS_TO_STOP
from app.store.engine import READERS
from tests.running import Service
from tests.test_readme import README

FOR_REAL = README.partition("\n### For real\n")[2].partition("\n### ")[0]
MIB = 2**20


def blocks(language: str) -> str:
    found = re.findall(rf"^```{language}\n(.*?)^```", FOR_REAL, flags=re.DOTALL | re.MULTILINE)
    assert found, language
    return "\n".join(found)


def unit(name: str) -> str:
    """A directive of the systemd unit."""
    found = re.search(rf"^{name}=(.*)$", blocks("ini"), flags=re.MULTILINE)
    assert found is not None, name
    return found[1]


def nginx(name: str) -> list[str]:
    """What a directive of nginx says, wherever it stands."""
    lines = [line.partition("#")[0] for line in blocks("nginx").splitlines()]
    return re.findall(rf"(?:^|[{{;\s]){name}\s+([^;{{]+?)\s*[;{{]", "\n".join(lines))


def seconds(text: str) -> int:
    assert text.endswith("s")
    return int(text[:-1])


def test_systemd_waits_for_longer_than_the_service_takes_to_stop() -> None:
    assert int(unit("TimeoutStopSec")) > 2 * SECONDS_TO_STOP
    assert unit("ExecStart").endswith(" serve")
    assert unit("Restart") == "on-failure"  # told to stop it ends with 0


def test_the_unit_lets_the_service_open_as_many_lines_as_it_would_take() -> None:
    assert most_connections(int(unit("LimitNOFILE"))) == 5_000


def test_the_proxy_lets_through_what_the_service_takes() -> None:
    (body,) = nginx("client_max_body_size")
    assert body.endswith("m")
    assert int(body[:-1]) * MIB > LARGEST_PICTURE  # what is larger gets the service's own words
    caddy = re.search(r"max_size (\d+)MiB", blocks("caddyfile"))
    assert caddy is not None
    assert caddy[1] == body[:-1]
    number, size = nginx("large_client_header_buffers")[0].split()
    assert size.endswith("k")
    assert int(size[:-1]) * 1024 >= Connection.largest_head
    assert int(number) > 1


def test_the_proxy_gives_an_idle_line_up_before_the_service_does() -> None:
    """One that the service closes while a request is on its way looks like no answer."""
    assert seconds(nginx("keepalive_timeout")[0]) < SECONDS_IDLE
    assert nginx("proxy_http_version") == ["1.1"]


def test_the_proxy_waits_for_longer_than_a_live_feed_or_a_body_keeps_it() -> None:
    longest_silence = PING_AFTER + TURNS * LOOK_EVERY
    assert seconds(nginx("proxy_read_timeout")[0]) > 2 * longest_silence
    assert seconds(nginx("proxy_read_timeout")[0]) > Connection.seconds_for_body
    assert seconds(nginx("client_header_timeout")[0]) <= Connection.seconds_for_head


def test_the_proxy_keeps_the_metrics_inside_and_tells_the_host_that_pages_are_of() -> None:
    assert "location = /metrics { return 404; }" in blocks("nginx")
    assert "respond /metrics 404" in blocks("caddyfile")
    assert {"Host $host", "X-Request-Id $request_id"} <= set(nginx("proxy_set_header"))
    assert nginx("access_log") == ["off"]


def test_the_proxy_asks_at_the_port_where_the_service_listens() -> None:
    port = Settings.model_fields["port"].default
    assert [one.split()[0] for one in nginx("server") if "." in one] == [f"127.0.0.1:{port}"]
    assert f"reverse_proxy 127.0.0.1:{port}" in blocks("caddyfile")
    assert blocks("nginx").count("{") == blocks("nginx").count("}")


def test_every_setting_in_the_file_of_settings_is_one() -> None:
    named = re.findall(r"^([A-Z_]+)=", blocks("bash"), flags=re.MULTILINE)
    known = {field.upper() for field in Settings.model_fields}
    assert {"DATABASE_URL", "ZONEDOCKET_PUBLIC_URL", "ZONEDOCKET_SEAL_PASSPHRASE"} <= set(named)
    assert {name.removeprefix("ZONEDOCKET_") for name in named} <= known


def commands() -> list[list[str]]:
    """The program's commands, with their arguments, in every line that runs it."""
    lines = re.split(r"\n|&&", blocks("bash") + blocks("cron"))
    ran = re.compile(
        r"(?:^|\broot )\s*(?:\S*=\S* )*(?:zonedocket|\.venv/bin/python -m app) ([a-z].*)"
    )
    return [shlex.split(found[1], comments=True) for line in lines if (found := ran.search(line))]


def test_every_command_is_one_and_knows_its_options(capsys: pytest.CaptureFixture[str]) -> None:
    found = commands()
    assert {name for name, *_ in found} == {"backup", "restore", "check", "migrate"}
    for name, *rest in found:
        with pytest.raises(SystemExit):
            main([name, "--help"])
        told = capsys.readouterr().out
        assert [one for one in rest if one.startswith("--") and one not in told] == []


def test_a_process_opens_as_many_connections_to_postgresql_as_is_said() -> None:
    """Readers, as many again when it is busy, the writer, and the line on which it hears."""
    told = re.search(r"up to (\d+) connections of\s+PostgreSQL", FOR_REAL)
    assert told is not None
    assert int(told[1]) == 2 * READERS + 1 + 1


def test_every_number_that_is_worth_a_call_is_told(service: Service) -> None:
    services, now = service.app.state.services, service.clock.now()
    found = service.store.read_now(lambda conn: stored(conn, now))
    every = [
        *of_process(services.feed, services.store, services.measures),
        *of_store(found, now),
        *of_readiness(is_ready=True),
        *of_disk(now, 1, now),
    ]
    told = set(re.findall(r"zonedocket_\w+", as_text(every).decode()))
    named = set(re.findall(r"`(zonedocket_\w+)", FOR_REAL)) - {"zonedocket_again"}
    assert named - told <= {"zonedocket_next_window_closes_seconds"}  # there where one closes soon
    assert len(named) >= 5
