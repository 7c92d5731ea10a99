"""The limit on requests a minute: a token bucket for each client, off unless the operator sets it."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from gramwatt.web import create_app
from gramwatt.web.middleware.rate_limit import MAX_CLIENTS, RateLimit

PACK = "/v1/pack-energy?cells=6&capacity=1300"


class Clock:
    """Seconds that pass on demand."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


def test_a_minute_s_worth_may_come_at_once_and_no_more(clock: Clock) -> None:
    limit = RateLimit(3, clock)
    assert [limit.take("a") for _ in range(3)] == [2, 1, 0]
    assert limit.take("a") == pytest.approx(-20)  # by hand: 3 a minute is one every 20 s


def test_the_bucket_fills_evenly_and_never_above_its_size(clock: Clock) -> None:
    limit = RateLimit(3, clock)
    for _ in range(3):
        limit.take("a")
    clock.now += 19
    assert limit.take("a") == pytest.approx(-1)
    clock.now += 1
    assert limit.take("a") == pytest.approx(0, abs=1e-9)
    clock.now += 3600
    assert limit.take("a") == 2


def test_rejected_requests_do_not_put_the_next_one_off(clock: Clock) -> None:
    limit = RateLimit(1, clock)
    limit.take("a")
    for _ in range(59):
        clock.now += 1
        assert limit.take("a") < 0
    clock.now += 1
    assert limit.take("a") >= 0


def test_clients_do_not_share_a_bucket(clock: Clock) -> None:
    limit = RateLimit(1, clock)
    assert limit.take("a") == 0
    assert limit.take("b") == 0
    assert limit.take("a") < 0


def test_memory_is_bounded_and_the_longest_silent_is_forgotten(clock: Clock) -> None:
    limit = RateLimit(1, clock)
    limit.take("first")
    for number in range(MAX_CLIENTS):
        limit.take(f"client {number}")
    assert limit.take("first") == 0
    assert limit.take(f"client {MAX_CLIENTS - 1}") < 0


@pytest.fixture
def limited(monkeypatch: pytest.MonkeyPatch) -> FlaskClient:
    monkeypatch.setenv("GRAMWATT_RATE_LIMIT", "2")
    return create_app().test_client()


def test_beyond_the_limit_is_a_429_that_says_when_to_come_again(limited: FlaskClient) -> None:
    first, second, third = (limited.get(PACK) for _ in range(3))
    assert [answer.status_code for answer in (first, second, third)] == [200, 200, 429]
    assert [answer.headers["RateLimit"] for answer in (first, second, third)] == [
        '"default";r=1;t=60',
        '"default";r=0;t=60',
        '"default";r=0;t=60',
    ]
    assert third.headers["RateLimit-Policy"] == '"default";q=2;w=60'
    assert 1 <= int(third.headers["Retry-After"]) <= 30
    assert third.content_type == "application/problem+json"
    assert third.get_json()["type"] == "http://localhost/problems/too-many-requests"
    assert third.headers["Cache-Control"] == "no-store"
    assert "Retry-After" in third.headers["Access-Control-Expose-Headers"]


def test_errors_and_304_count_too(limited: FlaskClient) -> None:
    limited.get("/nothing")
    limited.get(PACK)
    assert limited.get("/v1").status_code == 429


@pytest.mark.parametrize(("method", "url"), [("OPTIONS", PACK), ("GET", "/health/live"), ("GET", "/health/ready")])
def test_what_a_browser_sends_before_each_request_and_what_a_probe_sends_is_free(
    limited: FlaskClient, method: str, url: str
) -> None:
    for _ in range(10):
        assert limited.open(url, method=method).status_code == 200
    assert limited.get(PACK).status_code == 200
    limited.get(PACK)
    assert limited.get(PACK).status_code == 429
    assert limited.open(url, method=method).status_code == 200


def test_another_address_is_another_client(limited: FlaskClient) -> None:
    for _ in range(3):
        limited.get(PACK)
    assert limited.get(PACK, environ_base={"REMOTE_ADDR": "192.0.2.7"}).status_code == 200


def test_a_forwarded_address_is_believed_only_where_the_operator_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_RATE_LIMIT", "1")
    alone = create_app().test_client()
    answers = [alone.get(PACK, headers={"X-Forwarded-For": f"192.0.2.{n}"}).status_code for n in range(2)]
    assert answers == [200, 429], "a client cannot give itself another address"
    monkeypatch.setenv("GRAMWATT_PROXIES", "1")
    behind = create_app().test_client()
    answers = [behind.get(PACK, headers={"X-Forwarded-For": f"192.0.2.{n}"}).status_code for n in range(2)]
    assert answers == [200, 200]


@pytest.mark.parametrize("setting", [None, "", "0"])
def test_it_is_off_by_default(monkeypatch: pytest.MonkeyPatch, setting: str | None) -> None:
    if setting is None:
        monkeypatch.delenv("GRAMWATT_RATE_LIMIT", raising=False)
    else:
        monkeypatch.setenv("GRAMWATT_RATE_LIMIT", setting)
    client = create_app().test_client()
    answers = [client.get(PACK) for _ in range(300)]
    assert {answer.status_code for answer in answers} == {200}
    assert "RateLimit" not in answers[0].headers
