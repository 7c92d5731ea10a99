"""What a client says of itself in headers, and requests that ask for more than they cost."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from uvicorn.config import Config
from uvicorn.server import ServerState

from gramwatt.server.connection import MAX_PIPELINED, Connection
from gramwatt.web import create_app
from gramwatt.web.middleware.proxies import TrustedProxies
from gramwatt.web.middleware.rate_limit import MAX_CLIENTS, RateLimit
from server.test_operation import other_server
from web.conftest import running
from web.test_fast_path import Case
from web.wire import connect, read_answer, send, workers

PATH = "/v1/pack-energy"
PACK = f"{PATH}?cells=6&capacity=1300"
PAGE = b"/calculators/pack-energy?cells=6&capacity=1300"
HTML = b"Accept: text/html\r\n"
CLAIMS = b"X-Forwarded-Proto: https\r\nX-Forwarded-Host: claimed.example\r\nX-Forwarded-For: 192.0.2.7\r\n"
CLAIMS += b"Forwarded: for=192.0.2.7;proto=https;host=claimed.example\r\nX-Forwarded-Prefix: /claimed\r\n"


def get(target: bytes, *fields: bytes, host: bytes = b"x") -> bytes:
    return b"GET " + target + b" HTTP/1.1\r\nHost: " + host + b"\r\nConnection: close\r\n" + b"".join(fields) + b"\r\n"


@contextlib.contextmanager
def served(name: str) -> Iterator[str]:
    """Start the service and return its base URL, under its own server or another."""
    if name == "own":
        with running() as (port, _):
            yield f"http://127.0.0.1:{port}"
    else:
        with other_server(name) as base:
            yield base


@pytest.mark.parametrize("name", ["own", "waitress", "gunicorn-gthread"])
def test_nobody_is_believed_without_a_setting_not_even_on_this_machine(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Gunicorn's own workers believe X-Forwarded-Proto and SCRIPT_NAME of 127.0.0.1."""
    monkeypatch.setenv("GRAMWATT_RATE_LIMIT", "4")
    monkeypatch.setenv("WEB_CONCURRENCY", "1")
    with served(name) as base:
        status, _, plain = send(base, get(PAGE, HTML))
        assert status == 200
        assert b"http://x/v1/pack-energy" in plain
        assert send(base, get(PAGE, HTML, CLAIMS))[::2] == (status, plain)
        assert send(base, get(PAGE, HTML, b"SCRIPT_NAME: /calculators\r\n"))[::2] == (status, plain)
        statuses = [send(base, get(PAGE, b"X-Forwarded-For: 192.0.2.%d\r\n" % at))[0] for at in range(3)]
        assert statuses[-1] == 429, "no client gives itself another address"


def environ_of(setting: str, peer: str, **more: str) -> dict[str, Any]:
    """Return the environ that an application sees."""
    seen: list[dict[str, Any]] = []

    def application(environ: dict[str, Any], start_response: Any) -> list[bytes]:
        seen.append(environ)
        return []

    environ = {"REMOTE_ADDR": peer, "wsgi.url_scheme": "http", "HTTP_HOST": "x", "SCRIPT_NAME": "", "PATH_INFO": "/v1"}
    TrustedProxies(application, setting)({**environ, **more}, print)
    return seen[0]


@pytest.mark.parametrize(
    ("setting", "peer", "forwarded", "client"),
    [
        ("", "127.0.0.1", "192.0.2.7", "127.0.0.1"),
        ("0", "127.0.0.1", "192.0.2.7", "127.0.0.1"),
        ("1", "10.0.0.1", "192.0.2.7", "192.0.2.7"),
        ("2", "10.0.0.1", "192.0.2.9, 192.0.2.7, 10.0.0.2", "192.0.2.7"),
        ("10.0.0.1", "10.0.0.1", "192.0.2.7", "192.0.2.7"),
        ("10.0.0.1", "10.0.0.2", "192.0.2.7", "10.0.0.2"),
        ("10.0.0.0/8, ::1", "::1", "192.0.2.9, 192.0.2.7, 10.0.0.2", "192.0.2.7"),
        ("10.0.0.0/8", "10.0.0.1", "10.0.0.3", "10.0.0.3"),
        ("10.0.0.0/8", "10.0.0.1", ", ".join(["10.0.0.2"] * 1000), "10.0.0.2"),
        ("10.0.0.0/8", "10.0.0.1", "", "10.0.0.1"),
        ("10.0.0.0/8", "", "192.0.2.7", ""),
    ],
)
def test_forwarded_addresses_are_believed_from_named_proxies(
    setting: str, peer: str, forwarded: str, client: str
) -> None:
    claims = {"HTTP_X_FORWARDED_FOR": forwarded, "HTTP_X_FORWARDED_PROTO": "https", "HTTP_X_FORWARDED_HOST": "y"}
    environ = environ_of(setting, peer, **claims)
    assert environ["REMOTE_ADDR"] == client
    named = setting not in ("", "0", "2") and (peer, setting) != ("10.0.0.2", "10.0.0.1") and peer != ""
    assert (environ["wsgi.url_scheme"], environ["HTTP_HOST"]) == (("https", "y") if named else ("http", "x"))


@pytest.mark.parametrize("setting", ["proxy", "10.0.0.1/8", "-1", "1.5"])
def test_a_setting_that_names_no_proxy_ends_the_start(monkeypatch: pytest.MonkeyPatch, setting: str) -> None:
    monkeypatch.setenv("GRAMWATT_PROXIES", setting)
    with pytest.raises(ValueError, match="GRAMWATT_PROXIES"):
        create_app()


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("gramwatt.example", 200),
        ("gramwatt.example:8000", 200),
        ("a.club.example", 200),
        ("127.0.0.1:8000", 200),
        ("localhost", 200),
        ("other.example", 400),
        ("gramwatt.example.other.example", 400),
        ("a b", 400),
        ("", 400),
    ],
)
def test_a_list_of_hosts_binds_flask_and_the_fast_path(monkeypatch: pytest.MonkeyPatch, host: str, status: int) -> None:
    monkeypatch.setenv("GRAMWATT_HOSTS", "gramwatt.example, .club.example")
    app = create_app()
    case = Case(PATH, "cells=6&capacity=1300", headers=(("Host", host),))
    allowed = Case(PATH, "cells=6&capacity=1300", headers=(("Host", "gramwatt.example"),))
    fast_path = app.extensions["fast_path"]
    for _ in range(2):
        response = case.send_by_asgi(fast_path) or case.send_by_wsgi(fast_path.application)
        assert response[0] == case.send_by_wsgi(app)[0] == status
        assert (case.send_by_asgi(fast_path) is None) == (status == 400)
        assert allowed.send_by_wsgi(app)[0] == 200, "what is cached for one host is not served to another"
        if status == 400:
            assert dict(response[1])["content-type"] == "application/problem+json"


def test_any_host_is_served_without_a_list() -> None:
    assert create_app().test_client().get(PACK, headers={"Host": "other.example"}).status_code == 200


@pytest.fixture
def limited(monkeypatch: pytest.MonkeyPatch) -> FlaskClient:
    monkeypatch.setenv("GRAMWATT_RATE_LIMIT", "3")
    return create_app().test_client()


@pytest.mark.parametrize("url", [PACK, f"{PATH}/sweep?vary=cells&from=1&to=6&count=6&capacity=1300", "/", "/nothing"])
def test_head_is_not_free_of_the_rate_limit(limited: FlaskClient, url: str) -> None:
    statuses = [limited.head(url).status_code for _ in range(5)]
    assert statuses[:3] == [statuses[0]] * 3 != [429] * 3
    assert statuses[3:] == [429, 429]


def test_head_and_the_get_after_it_count_once(limited: FlaskClient) -> None:
    """A spreadsheet's cell sends both."""
    urls = [f"{PATH}/usable_energy?cells={cells}&capacity=1300" for cells in (1, 2, 3, 4)]
    for url in urls[:3]:
        assert [limited.options(url).status_code, limited.head(url).status_code] == [200, 200]
    assert [limited.get(url).status_code for url in urls[:3]] == [200] * 3
    assert [limited.get(url).status_code for url in urls] == [429] * 4


def test_a_prepaid_get_is_the_same_client_s_and_bounded() -> None:
    limit = RateLimit(1)
    limit.prepay("a", "/x")
    assert not limit.is_prepaid("b", "/x")
    assert not limit.is_prepaid("a", "/y")
    assert limit.is_prepaid("a", "/x")
    assert not limit.is_prepaid("a", "/x")
    for number in range(MAX_CLIENTS + 1):
        limit.prepay("a", f"/{number}")
    assert not limit.is_prepaid("a", "/0")
    assert limit.is_prepaid("a", "/1")


def test_head_is_cached_as_get_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its second request enters Flask no more, so it computes nothing."""
    app = create_app()
    case = Case(f"{PATH}/sweep", "vary=cells&from=1&to=6&count=6&capacity=1300", "HEAD")
    first = case.send_by_wsgi(app)
    app.extensions["fast_path"].application = None
    assert case.send_by_wsgi(app.wsgi_app) == first
    assert first[2] == b""


class Transport(asyncio.Transport):
    """A transport whose client reads nothing."""

    def __init__(self) -> None:
        super().__init__()
        self.written = 0
        self.paused = self.closed = False

    def write(self, data: Any) -> None:
        self.written += len(data)

    def pause_reading(self) -> None:
        self.paused = True

    def resume_reading(self) -> None:
        self.paused = False

    def write_eof(self) -> None: ...

    def abort(self) -> None:
        self.closed = True

    close = abort

    def is_closing(self) -> bool:
        return self.closed

    def get_extra_info(self, name: str, default: Any = None) -> Any:
        return default


def test_requests_sent_ahead_are_bounded_though_the_transport_never_pauses() -> None:
    """The application has not responded to the first yet: of 100,000 requests few are held."""

    async def test() -> None:
        started = 0

        async def application(scope: Any, receive: Any, send: Any) -> None:
            nonlocal started
            started += 1
            await asyncio.Event().wait()

        connection = Connection(
            config=Config(application, lifespan="off", ws="none"), server_state=ServerState(), app_state={}
        )
        transport = Transport()
        connection.connection_made(transport)
        request = get(PACK.encode()).replace(b"Connection: close\r\n", b"")
        for _ in range(1000):
            connection.data_received(request * 100)
        await asyncio.sleep(0)
        assert started == 1
        assert len(connection.pipeline) <= MAX_PIPELINED
        assert transport.paused or connection.rejected
        connection.connection_lost(None)
        for task in asyncio.all_tasks() - {asyncio.current_task()}:
            task.cancel()

    asyncio.run(test())


def resident(pid: int) -> int:
    """Peak memory of a process [kB]."""
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0])


def flood(base: str, request: bytes, seconds: float = 0.4) -> int:
    """Send a request over and over and read nothing; bytes that the server took."""
    sent, many = 0, request * 100
    with connect(base) as connection:
        connection.settimeout(seconds)
        with contextlib.suppress(TimeoutError, ConnectionResetError, BrokenPipeError):
            for _ in itertools.repeat(None, 50_000):
                sent += connection.send(many)
    return sent


def test_pipelined_requests_whose_responses_nobody_reads_take_no_memory() -> None:
    process: subprocess.Popen[str]
    with running(WEB_CONCURRENCY="1") as (port, process):
        base = f"http://127.0.0.1:{port}"
        (worker,) = workers(process)
        with connect(base) as connection:
            connection.sendall(get(b"/openapi.json"))
            assert read_answer(connection)[0] == 200
        before = resident(worker)
        for target in (b"/openapi.json", PACK.encode(), b"/nothing"):
            flood(base, get(target).replace(b"Connection: close\r\n", b""))
        assert resident(worker) - before < 20_000


def test_no_header_or_target_forges_a_line_of_the_access_log() -> None:
    with running(GRAMWATT_ACCESS_LOG="1", WEB_CONCURRENCY="1") as (port, process):
        base = f"http://127.0.0.1:{port}"
        for target in (b"/v1/x%0D%0Aforged%1b%5b2J?a=%0Aforged", b"/v1?a=\xc3\xa9\xff", b"/v1/\xc3\xa9"):
            status = send(base, get(target, b"User-Agent: a\tforged\r\nX-Request-ID: x\r\n"))[0]
            assert status in (200, 400, 404)
        assert send(base, get(b"/v1"))[0] == 200
        process.terminate()
        output, _ = process.communicate(timeout=60)
    assert "Traceback" not in output
    assert not [line for line in output.splitlines() if line.startswith("forged")]
    assert all(character.isprintable() for line in output.split("\n") for character in line)


def test_a_socket_closed_in_the_middle_of_a_head_is_no_failure() -> None:
    with running(WEB_CONCURRENCY="1") as (port, process):
        for raw in (b"GET /v1 HT", get(b"/v1/pack-energy/chart?cells=6&capacity=1300")):
            with socket.create_connection(("127.0.0.1", port), timeout=60) as connection:
                connection.sendall(raw)
        assert send(f"http://127.0.0.1:{port}", get(b"/v1"))[0] == 200
        process.terminate()
        output, _ = process.communicate(timeout=60)
    assert "Traceback" not in output
