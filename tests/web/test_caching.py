"""Responses are pure, so anybody may keep them: entity tags, 304, and CORS that shared caches can keep."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient

PACK = "/v1/pack-energy?cells=6&capacity=1300"
VALUE = "/v1/pack-energy/usable_energy?cells=6&capacity=1300"
CACHED = [PACK, f"{PACK}&format=csv", VALUE, "/", "/v1", "/openapi.json", "/openapi.yaml"]


@pytest.mark.parametrize("url", CACHED)
def test_a_pure_answer_has_a_strong_tag_and_may_be_preserved(client: FlaskClient, url: str) -> None:
    first, again = client.get(url), client.get(url)
    assert re.fullmatch(r'"[0-9a-f]{16,}"', first.headers["ETag"])
    assert first.headers["ETag"] == again.headers["ETag"]
    assert first.headers["Cache-Control"] == "public, max-age=3600"
    assert "Accept" in first.headers["Vary"]


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize("url", CACHED)
def test_a_known_tag_gives_304(client: FlaskClient, url: str, method: str) -> None:
    tag = client.get(url).headers["ETag"]
    answer = client.open(url, method=method, headers={"If-None-Match": tag})
    assert answer.status_code == 304
    assert answer.data == b""
    assert answer.headers["ETag"] == tag
    assert answer.headers["Cache-Control"] == "public, max-age=3600"
    assert "Content-Type" not in answer.headers, "a cache would store it over the response's own"


@pytest.mark.parametrize(
    ("form", "status"),
    [
        pytest.param('"other", {tag}', 304, id="one-of-a-list"),
        pytest.param('{tag}, "other"', 304, id="first-of-a-list"),
        pytest.param('"other"', 200, id="another"),
        pytest.param('"other", "third"', 200, id="none-of-a-list"),
        pytest.param("W/{tag}", 304, id="weakened-by-a-proxy-that-compresses"),  # RFC 9110, 13.1.2: weak comparison
        pytest.param("*", 304, id="star-any-representation"),  # RFC 9110, 13.1.2
    ],
)
def test_if_none_match(client: FlaskClient, form: str, status: int) -> None:
    tag = client.get(PACK).headers["ETag"]
    answer = client.get(PACK, headers={"If-None-Match": form.format(tag=tag)})
    assert answer.status_code == status


def test_a_star_never_hides_a_error(client: FlaskClient) -> None:
    """There is no representation of a request that cannot be computed."""
    assert client.get(f"{PACK}&bogus=1", headers={"If-None-Match": "*"}).status_code == 422
    assert client.get("/v1/nothing", headers={"If-None-Match": "*"}).status_code == 404


def test_another_request_or_format_has_another_tag(client: FlaskClient) -> None:
    answers = [
        client.get(PACK),
        client.get(PACK, headers={"Accept": "text/csv"}),
        client.get(f"{PACK}&working=true"),
        client.get(f"{PACK}&reserve=20"),
        client.get(PACK.replace("1300", "1301")),
        client.get(VALUE),
        client.get("/", headers={"Accept": "application/json"}),
        client.get("/", headers={"Accept": "text/html"}),
    ]
    assert len({answer.headers["ETag"] for answer in answers}) == len(answers)


def test_a_tag_of_json_does_not_fit_csv(client: FlaskClient) -> None:
    tag = client.get(PACK).headers["ETag"]
    answer = client.get(PACK, headers={"Accept": "text/csv", "If-None-Match": tag})
    assert answer.status_code == 200
    assert answer.mimetype == "text/csv"


@pytest.mark.parametrize("url", [PACK, VALUE])
def test_the_tag_is_known_before_anything_is_computed(
    client: FlaskClient, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    tag = client.get(url).headers["ETag"]

    def refuse(*_: Any, **__: Any) -> Any:
        raise AssertionError("it was computed")

    monkeypatch.setattr("gramwatt.engine.calculate.compute_response", refuse)
    assert client.get(url, headers={"If-None-Match": tag}).status_code == 304


ERRORS = [
    pytest.param("GET", "/nothing", 404, id="404"),
    pytest.param("GET", "/v1/pack-energy/specific_energy?cells=6&capacity=1300", 404, id="404-no-result"),
    pytest.param("DELETE", "/v1", 405, id="405"),
    pytest.param("POST", "/v1/pack-energy", 415, id="415"),
    pytest.param("GET", "/v1/pack-energy", 422, id="422"),
    pytest.param("GET", f"{VALUE}&errors=text&cells=7", 200, id="error-as-text"),
    pytest.param("GET", f"/v1?{'x' * 8000}", 414, id="414"),
    pytest.param("OPTIONS", "/nothing", 404, id="404-to-a-preflight"),
]


@pytest.mark.parametrize(("method", "url", "status"), ERRORS)
def test_errors_are_never_preserved(client: FlaskClient, method: str, url: str, status: int) -> None:
    answer = client.open(url, method=method)
    assert answer.status_code == status
    assert answer.headers["Cache-Control"] == "no-store"
    assert "ETag" not in answer.headers


@pytest.mark.parametrize(("method", "url", "status"), [*ERRORS, pytest.param("GET", PACK, 200, id="answer")])
def test_any_page_may_read_any_answer(client: FlaskClient, method: str, url: str, status: int) -> None:
    answer = client.open(url, method=method, headers={"Origin": "https://club.example"})
    assert answer.headers.getlist("Access-Control-Allow-Origin") == ["*"]
    assert "Access-Control-Allow-Credentials" not in answer.headers
    assert "origin" not in answer.headers.get("Vary", "").lower(), "one copy in a cache serves every page"
    assert "ETag" in answer.headers["Access-Control-Expose-Headers"]


def test_a_304_may_be_read_by_any_page(client: FlaskClient) -> None:
    tag = client.get(PACK).headers["ETag"]
    answer = client.get(PACK, headers={"If-None-Match": tag, "Origin": "https://club.example"})
    assert answer.headers["Access-Control-Allow-Origin"] == "*"
