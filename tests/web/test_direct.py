"""Plain questions answered in front of Flask: to the byte and the header what Flask itself answers."""

import json
from collections.abc import Mapping
from typing import Any

import pytest
from flask import Flask
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from werkzeug.test import Client

from gramwatt import registry
from gramwatt.edge.queries import fits_query, query_of
from gramwatt.web import create_app, direct

ID = "5d1f1f43-6a2a-4f4c-9d35-6d7c5ad0a2a1"
EXAMPLES = [
    pytest.param(calculator, example, id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
]
QUERIES = [
    pytest.param(calculator, example, id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
    if fits_query(calculator) and query_of(calculator, example.given) is not None
]
"""Those without a table, which is asked by POST alone."""
Told = tuple[int, list[tuple[str, str]], bytes]


@pytest.fixture(scope="module")
def app() -> Flask:
    """An application whose Direct has seen one answer of each calculator."""
    made = create_app()
    client = made.test_client()
    for calculator in registry.load().values():
        example = calculator.examples[-1]
        client.post(f"/v1/{calculator.name}", json=dict(example.given))
        query = next((q for e in calculator.examples if (q := query_of(calculator, e.given)) is not None), None)
        if query is not None and fits_query(calculator):
            client.get(f"/v1/{calculator.name}?{query}&digits=11")
    return made


def by_flask(app: Flask, **request: Any) -> Told:
    """The answer without what stands in front."""
    return told(Client(app.extensions["kept"]._application), request)


def by_service(app: Flask, **request: Any) -> Told:
    """The answer as a client gets it."""
    return told(Client(app.wsgi_app), request)


def told(client: Client, request: Mapping[str, Any]) -> Told:
    """Status, headers and body, with the request id of ours."""
    headers = {"X-Request-ID": ID, **request.get("headers", {})}
    response = client.open(**{**request, "headers": headers})
    return response.status_code, list(response.headers), response.get_data()


def counted(app: Flask, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The methods of the requests that Flask itself sees from now on."""
    seen: list[str] = []
    kept = app.extensions["kept"]
    inner = kept._application

    def watch(environ: dict[str, Any], start: Any) -> Any:
        seen.append(environ["REQUEST_METHOD"])
        return inner(environ, start)

    monkeypatch.setattr(kept, "_application", watch)
    return seen


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES)
def test_a_body_is_answered_as_by_flask(
    app: Flask, calculator: Any, example: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    request = {"path": f"/v1/{calculator.name}", "method": "POST", "json": dict(example.given)}
    expected = by_flask(app, **request)
    seen = counted(app, monkeypatch)
    assert by_service(app, **request) == expected
    assert seen == []


@pytest.mark.parametrize(("calculator", "example"), QUERIES)
def test_a_query_is_answered_as_by_flask(
    app: Flask, calculator: Any, example: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    query = query_of(calculator, example.given)
    assert query is not None
    request = {"path": f"/v1/{calculator.name}", "query_string": query}
    expected = by_flask(app, **request)
    assert expected[0] == 200
    seen = counted(app, monkeypatch)
    assert by_service(app, **request) == expected
    assert by_service(app, **request) == expected
    assert seen == []


WORDS = st.one_of(
    st.sampled_from(
        ["6", "4.0", "1300", "1.3 Ah", "0", "-1", "", "x", "1,5", "lipo", "li-ion", "50 %", "1e3", "212 ± 1 g"]
    ),
    st.text(max_size=6),
)
NAMES = st.sampled_from(
    ["cells", "capacity", "power", "chemistry", "working", "format", "units", "digits", "celsl", "a b"]
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pairs=st.lists(st.tuples(NAMES, WORDS), max_size=7), accept=st.sampled_from([None, "*/*", "text/csv", "a/b"]))
def test_any_query_is_answered_as_by_flask(app: Flask, pairs: list[tuple[str, str]], accept: str | None) -> None:
    """Options, faults, names given twice, other formats: all the same with and without what stands in front."""
    pairs = [("cells", "6"), ("capacity", "1300"), ("power", "100"), *pairs][len(pairs) % 4 :]
    request: dict[str, Any] = {"path": "/v1/pack-current", "query_string": pairs_of(pairs)}
    request["headers"] = {} if accept is None else {"Accept": accept}
    assert by_service(app, **request) == by_flask(app, **request)


def pairs_of(pairs: list[tuple[str, str]]) -> str:
    """A query in which some words are escaped and some are not."""
    from urllib.parse import quote, quote_plus

    ways = (quote, quote_plus, lambda word: word if word.isascii() and word.isalnum() else quote(word, safe=""))
    return "&".join(f"{quote(name)}={ways[at % 3](value)}" for at, (name, value) in enumerate(pairs))


VALUES: st.SearchStrategy[Any] = st.one_of(
    st.sampled_from([6, 4.0, 1300, "1.3 Ah", True, None, [], {}, "6", "lipo", -1, 1e300, "20 ± 1 %"]),
    st.text(max_size=5),
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(more=st.dictionaries(NAMES, VALUES, max_size=4), cut=st.integers(0, 3), media=st.sampled_from([0, 0, 0, 1, 2]))
def test_any_body_is_answered_as_by_flask(app: Flask, more: dict[str, Any], cut: int, media: int) -> None:
    """Faults, bodies that break off, other media types."""
    raw = json.dumps({"cells": 6, "capacity": 1300, "power": 90, **more}).encode()
    content_type = ("application/json", "text/plain", "application/json; charset=utf-8")[media]
    request = {
        "path": "/v1/pack-current",
        "method": "POST",
        "content_type": content_type,
        "data": raw[: len(raw) - cut],
    }
    assert by_service(app, **request) == by_flask(app, **request)


@pytest.mark.parametrize(
    "headers",
    [
        pytest.param({"Content-Encoding": "gzip"}, id="compressed"),
        pytest.param({"Accept": "text/csv"}, id="csv"),
        pytest.param({"Accept": "image/png"}, id="not-acceptable"),
        pytest.param({"Range": "bytes=0-9"}, id="range"),
    ],
)
def test_what_is_not_plain_is_left_to_flask(
    app: Flask, headers: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    request = {
        "path": "/v1/pack-current",
        "method": "POST",
        "json": {"cells": 6, "capacity": 1300, "power": 90},
        "headers": headers,
    }
    expected = by_flask(app, **request)
    seen = counted(app, monkeypatch)
    assert by_service(app, **request) == expected
    assert seen == ["POST"]


def test_a_body_that_fails_is_told_by_flask(app: Flask) -> None:
    """The client is slow or gone: the reading fails in front, and Flask says what it is."""

    class Failing:
        def read(self, size: int = -1) -> bytes:
            raise TimeoutError

    answers = []
    for application in (app.wsgi_app, app.extensions["kept"]._application):
        started: list[str] = []
        environ: dict[str, Any] = {
            "REQUEST_METHOD": "POST",
            "PATH_INFO": "/v1/pack-current",
            "SERVER_NAME": "x",
            "SERVER_PORT": "80",
            "CONTENT_TYPE": "application/json",
            "CONTENT_LENGTH": "30",
            "HTTP_X_REQUEST_ID": ID,
            "wsgi.input": Failing(),
            "wsgi.url_scheme": "http",
        }
        body = b"".join(application(environ, lambda status, headers, more=None, to=started: to.append(status)))
        answers.append((started, body))
    assert answers[0] == answers[1]
    assert answers[0][0] == ["400 BAD REQUEST"]


def test_no_pattern_is_taken_from_a_fault() -> None:
    """The first answer of a calculator may be a problem: the next good one is the pattern."""
    app = create_app()
    client = app.test_client()
    assert client.post("/v1/pack-energy", json={"cells": 0}).status_code == 422
    learner: direct.Direct = app.extensions["kept"]._direct
    assert not learner.takes(b"/v1/pack-energy", "application/json", None, 10)
    assert client.post("/v1/pack-energy", json={"cells": 6, "capacity": 1300}).status_code == 200
    assert learner.takes(b"/v1/pack-energy", "application/json", None, 10)
