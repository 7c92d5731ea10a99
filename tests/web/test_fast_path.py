"""The fast path responds with the status, headers and bytes that Flask would, whatever came before."""

import io
import json
import random
import uuid
from collections.abc import Iterator
from typing import Any, NamedTuple
from urllib.parse import parse_qsl, quote, quote_plus

import pytest
from flask import Flask
from hypothesis import given, settings
from hypothesis import strategies as st
from prometheus_client import REGISTRY
from werkzeug.test import Client, create_environ

from gramwatt.engine import registry
from gramwatt.engine.query_strings import build_query, find_example_query, find_query_example, fits_query
from gramwatt.model import AnyCalculator
from gramwatt.web import create_app
from gramwatt.web.headers import make_etag
from gramwatt.web.middleware.fast_path import FastPath

ID = "5d1f1f43-6a2a-4f4c-9d35-6d7c5ad0a2a1"
MEDIA = "application/json"
OTHER_MEDIA = ("text/plain", "application/json; charset=utf-8")
Response = tuple[int, list[tuple[str, str]], bytes]


class Case(NamedTuple):
    """A request."""

    path: str
    query: str = ""
    method: str = "GET"
    body: bytes = b""
    headers: tuple[tuple[str, str], ...] = ()

    def make_environ(self, request_id: str = ID) -> dict[str, Any]:
        """Return its WSGI environ."""
        sent = [("X-Request-ID", request_id), *self.headers]
        return create_environ(self.path, query_string=self.query, method=self.method, data=self.body, headers=sent)

    def send_by_wsgi(self, application: Any, request_id: str = ID) -> Response:
        """Send it to a WSGI application."""
        response = Client(application).open(self.make_environ(request_id))
        return response.status_code, [(n.lower(), v) for n, v in response.headers], response.get_data()

    def send_by_asgi(self, fast_path: FastPath, request_id: str = ID, **more: Any) -> Response | None:
        """Send it as a server with an event loop does, which learns from None that Flask must respond."""
        sent = [
            ("X-Request-ID", request_id),
            *self.headers,
            *([("Content-Length", f"{len(self.body)}")] * bool(self.body)),
        ]
        headers = [(name.lower().encode(), value.encode()) for name, value in sent]
        scope = {"method": self.method, "raw_path": self.path.encode(), "query_string": self.query.encode()}
        found = fast_path.respond({**scope, "headers": headers, **more}, self.body)
        return found and (found[0], [(n.decode(), v.decode()) for n, v in found[1]], found[2])


QUERIES = [
    (calculator, query)
    for calculator in registry.load().values()
    if not calculator.formats and (query := find_example_query(calculator)) is not None
]
"""The calculators that GET can reach, each with the query of an example."""
PATH, QUERY = "/v1/pack-energy", "cells=6&capacity=1300"
PACK = Case(PATH, QUERY)


def make_post(path: str, inputs: object, *headers: tuple[str, str], cut: int = 0, media: str = MEDIA) -> Case:
    """Return a POST, its body cut short by some bytes."""
    raw = json.dumps(inputs).encode()
    return Case(path, "", "POST", raw[: len(raw) - cut], (("Content-Type", media), *headers))


def list_plain_cases() -> Iterator[Case]:
    """Yield every example of calculators without output formats of their own, by each method and as a bare value."""
    for calculator in registry.load().values():
        path = f"/v1/{calculator.name}"
        for example in () if calculator.formats else calculator.examples:
            yield make_post(path, dict(example.given))
            query = build_query(calculator, example.given) if fits_query(calculator) else None
            if query is not None:
                yield from (
                    Case(path, query),
                    Case(path, query, "HEAD"),
                    Case(path, query, headers=(("Accept-Encoding", "gzip, br"),)),
                    Case(path, f"&{query}", headers=(("Accept", ""),)),
                )
                value = f"{path}/{calculator.headline}"
                yield from (Case(value, query), Case(value, f"{query}&errors=text", "HEAD"))


def list_repeatable_cases() -> Iterator[Case]:
    """Yield requests that Flask handles the first time."""
    for calculator, query in QUERIES:
        path = f"/v1/{calculator.name}"
        for more in ("working=true", "format=csv", "digits=3"):
            yield from (Case(path, f"{query}&{more}"), Case(path, f"{query}&{more}", "HEAD"))
        yield Case(path, query, headers=(("Accept", "text/csv"),))
    yield from (Case(f"{PATH}/usable_energy", f"{QUERY}&{more}") for more in ("unit=kJ", "decimal=,", "digits=3"))
    yield from (Case(path) for path in ("/", "/v1", "/gramwatt.js", "/v1/units"))
    yield from (Case(f"{PATH}/chart", QUERY, headers=(("Accept", accept),)) for accept in ("image/png", "*/*"))
    yield Case(PATH.replace("-", "%2D"), QUERY)
    tag = make_etag("json", f"{PATH}?{QUERY}")
    for form in (f'"{tag}"', f'W/"{tag}"', f'"a", "{tag}"', f'"{tag}","a"', "*", tag, '"a"', "W/", "", ", ,"):
        yield from (PACK._replace(method=method, headers=(("If-None-Match", form),)) for method in ("GET", "HEAD"))


def list_flask_cases() -> Iterator[Case]:
    """Yield requests that Flask always handles, and those with long responses, which it streams."""
    flight = {"log": {"time": [0, 1], "voltage": [16, 16], "current": [8, 8]}, "cells": 4, "capacity": 850}
    yield from (make_post("/v1/overlay-cues", {**flight, "video_end_time": end}) for end in (1, 60))
    unusual = [("Range", "bytes=0-9"), ("Accept", "image/png"), ("Authorization", "Basic eDp5"), ("If-Match", '"a"')]
    unusual += [
        ("Content-Encoding", "gzip"),
        ("If-Range", '"a"'),
        ("If-Modified-Since", "Wed, 25 Nov 2026 00:00:00 GMT"),
    ]
    for calculator in registry.load().values():
        path, inputs = f"/v1/{calculator.name}", dict(calculator.examples[0].given)
        yield from (make_post(path, {**inputs, "bogus": 1}), make_post(path, inputs, cut=1), make_post(path, [inputs]))
        yield from (make_post(path, inputs, media=media) for media in OTHER_MEDIA)
        yield from (make_post(path, inputs, header) for header in (*unusual, ("Accept", "text/csv")))
        yield from (Case(path, "x"), Case(path, "", "DELETE"), Case(path, "", "OPTIONS"), Case(f"{path}/nothing"))
        query = build_query(calculator, inputs)
        if query is not None:
            yield from (
                Case(path, f"{query}&{more}") for more in ("bogus=1", "units=x", query, "cells=%FF", "=", "errors=text")
            )
            value = f"{path}/{calculator.headline}"
            yield from (Case(value, f"{query}&{more}") for more in ("unit=x", "errors=text&bogus=1", "errors=x"))
            yield from (Case(path, query, headers=(header,)) for header in unusual)
            yield Case(path, query, headers=(("Accept", "text/csv"), ("Accept", "*/*")))
    yield from (PACK._replace(body=b"x"), PACK._replace(headers=(("Transfer-Encoding", "chunked"),)))
    yield from (Case(path) for path in ("/nothing", "/health/ready", "/docs", "/openapi.json"))
    yield Case("/", headers=(("Accept", "text/html"),))


PLAIN, REPEATABLE, FLASK_ONLY = [*list_plain_cases()], [*list_repeatable_cases()], [*list_flask_cases()]


@pytest.fixture(scope="module")
def app() -> Flask:
    return create_app()


@pytest.fixture(scope="module")
def flask() -> Flask:
    """Return the application without its fast path."""
    app = create_app()
    app.wsgi_app = app.extensions["fast_path"].application  # type: ignore[method-assign]
    return app


@pytest.fixture
def alone() -> FastPath:
    """Return a fast path with no application behind it, not even for a first response to learn from."""
    fast_path: FastPath = create_app().extensions["fast_path"]
    fast_path.application = None  # type: ignore[assignment]
    return fast_path


def count_requests() -> dict[Any, float]:
    """Return how many requests were counted, by method, route and status, and timed, by route."""
    samples = (sample for metric in REGISTRY.collect() for sample in metric.samples)
    names = ("gramwatt_requests_total", "gramwatt_request_seconds_count")
    return {(each.name, *each.labels.values()): each.value for each in samples if each.name in names}


def test_any_order_of_requests_is_computed_and_counted_as_by_flask(flask: Flask) -> None:
    """Each request comes twice, in random order, by WSGI or ASGI, to an application that has seen nothing yet."""
    cases = [*PLAIN, *REPEATABLE, *FLASK_ONLY]
    start = count_requests()
    expected = [case.send_by_wsgi(flask) for case in cases]
    once = {key: number - start.get(key, 0) for key, number in count_requests().items() if number != start.get(key)}
    assert {status for status, _, _ in expected} >= {200, 304, 400, 404, 405, 406, 415, 422}
    assert any(status == 200 and "content-length" not in dict(headers) for status, headers, _ in expected), "streamed"
    for seed in range(2):
        fast_path, chance, start = create_app().extensions["fast_path"], random.Random(seed), count_requests()
        for at in chance.sample([*range(len(cases))] * 2, len(cases) * 2):
            found = cases[at].send_by_asgi(fast_path) if chance.random() < 0.5 else cases[at].send_by_wsgi(fast_path)
            assert (found or cases[at].send_by_wsgi(fast_path.application)) == expected[at], cases[at]
        end = count_requests()
        assert {key: end[key] - start[key] for key in once} == {key: 2 * number for key, number in once.items()}


def test_a_plain_request_never_enters_flask(flask: Flask, alone: FastPath) -> None:
    for case in PLAIN:
        expected = case.send_by_wsgi(flask)
        assert expected[0] == 200, case
        assert case.send_by_asgi(alone) == expected, case
        assert case.send_by_wsgi(alone) == expected, case


def test_a_repeated_request_never_enters_flask(flask: Flask) -> None:
    fast_path: FastPath = create_app().extensions["fast_path"]
    for case in [PACK, PACK._replace(method="HEAD"), *REPEATABLE]:
        case.send_by_wsgi(fast_path)
    fast_path.application = None  # type: ignore[assignment]
    for case in REPEATABLE:
        expected = case.send_by_wsgi(flask)
        assert expected[0] in (200, 304), case
        assert case.send_by_wsgi(fast_path) == expected, case
        assert case.send_by_asgi(fast_path) == (None if "%" in case.path else expected), case


def test_other_requests_are_left_to_flask(app: Flask, alone: FastPath) -> None:
    fast_path: FastPath = app.extensions["fast_path"]
    for case in [*PLAIN, *FLASK_ONLY]:
        case.send_by_wsgi(fast_path)
    assert [case for case in FLASK_ONLY if case.send_by_asgi(fast_path) is not None] == []
    assert PACK.send_by_asgi(fast_path) is not None
    odd: list[dict[str, Any]] = [{"root_path": "/mount"}, {"raw_path": b"http://x" + PATH.encode()}, {"raw_path": None}]
    assert [more for more in odd if PACK.send_by_asgi(fast_path, **more) is not None] == []
    with pytest.raises(TypeError, match="'NoneType' object is not callable"):
        alone(PACK.make_environ() | {"SCRIPT_NAME": "/mount"}, print)


class BrokenBody:
    """A body whose first read fails, and whose second one finds the end."""

    def __init__(self, body: bytes) -> None:
        self._reads = 0

    def read(self, size: int = -1) -> bytes:
        """Raise once, then return nothing."""
        self._reads += 1
        if self._reads == 1:
            raise RuntimeError
        return b""


@pytest.mark.parametrize("kind", [BrokenBody, io.BytesIO])
def test_a_body_that_does_not_arrive_is_reported_by_flask(app: Flask, flask: Flask, kind: Any) -> None:
    inputs = b'{"cells": 6, "capacity": 1300}'
    environ = make_post(PATH, None).make_environ() | {"CONTENT_LENGTH": str(len(inputs) + 1)}
    responses: list[list[Any]] = [[], []]
    for application, response in zip((app, flask), responses, strict=True):
        made = application({**environ, "wsgi.input": kind(inputs)}, lambda *start, to=response: to.append(start))
        response.append(b"".join(made))
    assert responses[0] == responses[1]
    assert responses[0][0][0] == "400 BAD REQUEST"


@pytest.mark.parametrize("offered", ["", ID.upper(), "x", f"{ID},{ID}", f"{ID} {ID}", ID])
def test_each_response_has_a_request_id_of_its_own(app: Flask, flask: Flask, offered: str) -> None:
    ways = [PACK.send_by_asgi(app.extensions["fast_path"], offered) for _ in range(2)]
    ways += [PACK.send_by_wsgi(each, offered) for each in (app.wsgi_app, app.wsgi_app, flask, flask)]
    ids = {dict(way[1])["x-request-id"] for way in ways if way is not None}
    assert len(ids) == (1 if offered == ID else len(ways))
    assert all(str(uuid.UUID(each)) == each for each in ids)
    invalid = [Case(PATH).send_by_wsgi(app, offered) for _ in range(2)]
    assert all(dict(headers)["x-request-id"] in body.decode() for _, headers, body in invalid)
    assert (invalid[0] == invalid[1]) == (offered == ID)


def test_there_is_no_fast_path_with_a_rate_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_RATE_LIMIT", "2")
    app = create_app()
    assert [PACK.send_by_wsgi(app)[0] for _ in range(3)] == [200, 200, 429]
    assert "fast_path" not in app.extensions


OTHER_NAMES = ("working", "format", "units", "unknown", "a b")
TEXTS = ["6", "4.0", "1300", "1.3 Ah", "0", "-1", "", "x", "1,5", "lipo", "li-ion", "50 %", "1e3", "212 ± 1 g"]
WORDS = st.sampled_from(TEXTS) | st.text(max_size=6)
VALUES: st.SearchStrategy[Any] = WORDS | st.sampled_from([6, 4.0, 1300, True, None, [], {}, -1, 1e300])


def sample_names(calculator: AnyCalculator) -> st.SearchStrategy[str]:
    """Return a strategy for the names of inputs, of options and of nothing."""
    return st.sampled_from([*calculator.input_fields, *OTHER_NAMES])


@st.composite
def query_cases(draw: st.DrawFn) -> Case:
    """Return a GET with options, invalid inputs, repeated names, other formats, and words escaped in every way."""
    calculator, query = draw(st.sampled_from(QUERIES))
    more = draw(st.lists(st.tuples(sample_names(calculator), WORDS), max_size=7))
    pairs = [*parse_qsl(query), *more][len(more) % 4 :]
    ways = (quote, quote_plus, lambda word: word if word.isascii() and word.isalnum() else quote(word, safe=""))
    changed = "&".join(f"{quote(name)}={ways[at % 3](word)}" for at, (name, word) in enumerate(pairs))
    path = f"/v1/{calculator.name}" + draw(st.sampled_from(["", f"/{calculator.headline}"]))
    return Case(path, changed, headers=(("Accept", draw(st.sampled_from(["", "*/*", "text/csv", "a/b"]))),))


@st.composite
def body_cases(draw: st.DrawFn) -> Case:
    """Return a POST with invalid inputs, a body that breaks off, or another media type."""
    calculator, _ = draw(st.sampled_from(QUERIES))
    changes = draw(st.dictionaries(sample_names(calculator), VALUES, max_size=4))
    media = draw(st.sampled_from([MEDIA, MEDIA, *OTHER_MEDIA]))
    inputs = {**find_query_example(calculator), **changes}
    return make_post(f"/v1/{calculator.name}", inputs, cut=draw(st.integers(0, 3)), media=media)


@settings(max_examples=600)
@given(query_cases() | body_cases())
def test_any_request_is_computed_as_by_flask(app: Flask, flask: Flask, case: Case) -> None:
    assert case.send_by_wsgi(app) == case.send_by_wsgi(flask)
