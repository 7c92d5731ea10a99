"""Answers that are kept in front of Flask are Flask's own, header by header, and few enough."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from prometheus_client import REGISTRY

from gramwatt.web import create_app
from gramwatt.web.kept import Kept

PACK = "/v1/pack-energy?cells=6&capacity=1300"
VALUE = "/v1/pack-energy/usable_energy?cells=6&capacity=1300"
KEPT = [PACK, f"{PACK}&format=csv", VALUE, f"{VALUE}&decimal=,", "/", "/v1", "/v1/pack%2Denergy?cells=6&capacity=1300"]
ID = "01234567-89ab-cdef-0123-456789abcdef"


@pytest.fixture
def app() -> Flask:
    return create_app()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture(scope="module")
def plain() -> FlaskClient:
    """The application with nothing kept in front of it."""
    app = create_app()
    app.wsgi_app = app.wsgi_app._application  # type: ignore[method-assign, attr-defined]
    return app.test_client()


def kept_by(app: Flask) -> Kept:
    made = app.extensions["kept"]
    assert isinstance(made, Kept)
    return made


def direct(app: Flask, url: str, method: str = "GET", **headers: str) -> Any:
    """What a server gets that asks before it makes an environ."""
    path, _, query = url.partition("?")
    scope = {
        "method": method,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "headers": [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()],
    }
    return kept_by(app).ready(scope)


@pytest.fixture
def uncomputed(monkeypatch: pytest.MonkeyPatch) -> Any:
    """From when it is called, nothing may be computed or even be asked of Flask."""

    def forbid() -> None:
        def refuse(*_: Any, **__: Any) -> Any:
            raise AssertionError("Flask was asked")

        monkeypatch.setattr(Flask, "full_dispatch_request", refuse)

    return forbid


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize(
    ("url", "accept"),
    [
        (url, accept)
        for url in KEPT
        for accept in (None, "*/*", "application/json;q=0.9, text/*")
        if (url, accept) != ("/", "application/json;q=0.9, text/*")  # a page, which holds the host's name: never kept
    ],
)
def test_a_kept_answer_is_flask_s(
    app: Flask, plain: FlaskClient, uncomputed: Any, url: str, accept: str | None, method: str
) -> None:
    headers = {"X-Request-ID": ID} | ({"Accept": accept} if accept else {})
    own = plain.open(url, method=method, headers=headers)
    unchanged = plain.open(url, method=method, headers=headers | {"If-None-Match": "*"})
    client = app.test_client()
    first = client.open(url, method=method, headers=headers)
    client.open(url, method=method, headers=headers | {"If-None-Match": "*"})
    uncomputed()
    for answer in (first, client.open(url, method=method, headers=headers)):
        assert (answer.status, answer.data, list(answer.headers)) == (own.status, own.data, list(own.headers))
    again = client.open(url, method=method, headers=headers | {"If-None-Match": own.headers["ETag"]})
    assert (again.status, again.data, list(again.headers)) == (unchanged.status, b"", list(unchanged.headers))


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize("url", [url for url in KEPT if "%" not in url])
def test_a_server_may_ask_before_it_makes_an_environ(app: Flask, url: str, method: str) -> None:
    assert direct(app, url, method) is None
    with app.test_client() as client:
        own = client.open(url, method=method, headers={"X-Request-ID": ID})
        tag = own.headers["ETag"]
        unchanged = client.open(url, method=method, headers={"X-Request-ID": ID, "If-None-Match": tag})
    for answer, wished in ((own, '"other"'), (unchanged, tag)):
        status, headers, body = direct(app, url, method, x_request_id=ID, if_none_match=wished)
        assert (status, body) == (answer.status_code, answer.data)
        assert headers == [(name.lower().encode(), value.encode()) for name, value in answer.headers]


@pytest.mark.parametrize("form", ["{tag}", "W/{tag}", '"a", {tag}', '{tag},"a"', "*", "{bare}", '"a"', "W/", "", ", ,"])
def test_if_none_match_is_judged_as_flask_judges_it(
    app: Flask, client: FlaskClient, plain: FlaskClient, form: str
) -> None:
    tag = client.get(PACK).headers["ETag"]
    client.get(PACK, headers={"If-None-Match": tag})
    headers = {"If-None-Match": form.format(tag=tag, bare=tag.strip('"'))}
    status = plain.get(PACK, headers=headers).status_code
    assert client.get(PACK, headers=headers).status_code == status
    assert direct(app, PACK, if_none_match=headers["If-None-Match"])[0] == status


@pytest.mark.parametrize("offered", [None, "", ID.upper(), "x", f"{ID}\n", f"{ID},{ID}", ID])
def test_each_answer_has_a_request_id_of_its_own(
    app: Flask, client: FlaskClient, plain: FlaskClient, offered: str | None
) -> None:
    client.get(PACK)
    headers = {} if offered is None else {"X-Request-ID": offered.strip()}
    echoed = plain.get(PACK, headers=headers).headers["X-Request-ID"] == headers.get("X-Request-ID")
    got = [client.get(PACK, headers=headers).headers["X-Request-ID"] for _ in range(3)]
    if offered is not None:
        got += [dict(direct(app, PACK, x_request_id=offered)[1])[b"x-request-id"].decode()]
    assert len(set(got[:3])) == (1 if echoed else 3)
    assert all(str(uuid.UUID(each)) == each for each in got)


def test_an_error_s_own_id_is_not_kept(client: FlaskClient) -> None:
    ids = {client.get("/v1/pack-energy").get_json()["instance"] for _ in range(3)}
    assert len(ids) == 3


NOT_KEPT = [
    pytest.param("GET", "/v1/pack-energy", id="422"),
    pytest.param("GET", "/nothing", id="404"),
    pytest.param("GET", f"{VALUE}&errors=text&cells=7", id="error-as-text"),
    pytest.param("GET", "/health/ready", id="no-store"),
    pytest.param("GET", "/metrics", id="metrics"),
    pytest.param("GET", "/docs", id="without-a-tag"),
    pytest.param("GET", "/openapi.json", id="too-large"),
    pytest.param("OPTIONS", PACK, id="options"),
    pytest.param("POST", "/v1/pack-energy", id="post"),
    pytest.param("DELETE", PACK, id="delete"),
]


@pytest.mark.parametrize(("method", "url"), NOT_KEPT)
def test_only_small_good_public_answers_are_kept(app: Flask, client: FlaskClient, method: str, url: str) -> None:
    for _ in range(2):
        client.open(url, method=method, json={"cells": 6, "capacity": 1300} if method == "POST" else None)
    assert len(kept_by(app)) == 0


UNUSUAL = [
    {"Range": "bytes=0-3"},
    {"Authorization": "Basic eDp5"},
    {"If-Modified-Since": "Wed, 25 Nov 2026 00:00:00 GMT"},
    {"If-Range": '"a"'},
    {"If-Match": '"a"'},
]


@pytest.mark.parametrize("headers", UNUSUAL, ids=lambda headers: next(iter(headers)))
def test_an_unusual_request_is_flask_s_alone(
    app: Flask, client: FlaskClient, plain: FlaskClient, headers: dict[str, str]
) -> None:
    client.get(PACK, headers=headers)
    assert len(kept_by(app)) == 0
    client.get(PACK)
    assert direct(app, PACK) is not None
    lowered = {name.lower().replace("-", "_"): value for name, value in headers.items()}
    assert direct(app, PACK, **lowered) is None
    assert client.get(PACK, headers=headers).data == plain.get(PACK, headers=headers).data


def test_a_get_with_a_body_is_flask_s_alone(app: Flask, client: FlaskClient) -> None:
    client.get(PACK, data=b"x")
    assert len(kept_by(app)) == 0
    client.get(PACK)
    assert direct(app, PACK, content_length="1") is None
    assert direct(app, PACK, transfer_encoding="chunked") is None
    assert direct(app, PACK, content_length="0") is not None


def test_headers_that_come_twice_are_left_to_wsgi(app: Flask, client: FlaskClient) -> None:
    client.get(PACK, headers={"Accept": "text/csv"})
    twice = [(b"accept", b"text/csv"), (b"accept", b"text/html")]
    scope = {"method": "GET", "raw_path": PACK.split("?")[0].encode(), "query_string": PACK.split("?")[1].encode()}
    assert kept_by(app).ready({**scope, "headers": twice[:1]}) is not None
    assert kept_by(app).ready({**scope, "headers": twice}) is None
    assert kept_by(app).ready({**scope, "headers": twice[:1], "root_path": "/mount"}) is None


def test_what_determines_the_answer_is_told_apart(client: FlaskClient) -> None:
    answers = [
        client.get(PACK),
        client.get(PACK, headers={"Accept": "text/csv"}),
        client.head(PACK),
        client.get(f"{PACK}&format=csv"),
        client.get(PACK.replace("1300", "1301")),
        client.get("/v1/pack-energy/usable_energy?" + PACK.split("?")[1]),
    ]
    again = [
        client.get(PACK),
        client.get(PACK, headers={"Accept": "text/csv"}),
        client.head(PACK),
        client.get(f"{PACK}&format=csv"),
        client.get(PACK.replace("1300", "1301")),
        client.get("/v1/pack-energy/usable_energy?" + PACK.split("?")[1]),
    ]
    assert [answer.data for answer in answers] == [answer.data for answer in again]
    assert len({answer.data for answer in answers}) == len(answers) - 1, "csv comes twice"


def test_nothing_is_kept_where_a_rate_is_limited(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_RATE_LIMIT", "2")
    app = create_app()
    client = app.test_client()
    assert [client.get(PACK).status_code for _ in range(3)] == [200, 200, 429]
    assert "kept" not in app.extensions


def counted(method: str, status: str) -> tuple[float, float]:
    route = "/v1/<calculator_name>"
    requests = REGISTRY.get_sample_value(
        "gramwatt_requests_total", {"method": method, "route": route, "status": status}
    )
    return requests or 0.0, REGISTRY.get_sample_value("gramwatt_request_seconds_count", {"route": route}) or 0.0


@pytest.mark.parametrize(
    ("method", "wished", "status"), [("GET", False, "200"), ("HEAD", False, "200"), ("GET", True, "304")]
)
def test_a_kept_answer_is_counted_like_any(
    app: Flask, client: FlaskClient, method: str, wished: bool, status: str
) -> None:
    tag = client.open(PACK, method=method).headers["ETag"]
    headers = {"If-None-Match": tag} if wished else {}
    client.open(PACK, method=method, headers=headers)
    before = counted(method, status)
    client.open(PACK, method=method, headers=headers)
    assert counted(method, status) == (before[0] + 1, before[1] + 1)
    assert direct(app, PACK, method, **({"if_none_match": tag} if wished else {})) is not None
    assert counted(method, status) == (before[0] + 2, before[1] + 2)
