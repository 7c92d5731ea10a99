"""How much is cached in front of Flask, and which responses."""

from __future__ import annotations

import gc
import threading
import tracemalloc

import pytest
from flask import Response

from gramwatt.web import create_app
from gramwatt.web.middleware.fast_path import FastPath
from gramwatt.web.middleware.response_cache import ENTRY_OVERHEAD, MAX_BODY_BYTES, ResponseCache, ResponseHead

KEY = ("GET", b"/v1", b"", None, "")
GOOD = {"ETag": '"1"', "Cache-Control": "public, max-age=1", "X-Request-ID": "", "Content-Length": "5"}
APP = create_app()
with APP.test_request_context("/v1"):
    HEAD = ResponseHead(Response(headers=GOOD))


def put(cache: ResponseCache, size: int) -> None:
    cache.put(("GET", b"", b"%02d" % size, None, ""), HEAD, b"x" * size, "tag")


def get(cache: ResponseCache, size: int) -> int | None:
    found = cache.get(("GET", b"", b"%02d" % size, None, ""))
    return None if found is None else len(found[1])


@pytest.mark.parametrize(
    ("name", "value", "cached"),
    [
        ("Vary", "accept", 1),
        ("ETag", 'W/"1"', 0),
        ("ETag", "", 0),
        ("Cache-Control", "max-age=1", 0),
        ("Cache-Control", "public, no-store", 0),
        ("Cache-Control", "public, no-cache", 0),
        ("Cache-Control", "private", 0),
        ("Vary", "Accept, Origin", 0),
        ("Vary", "*", 0),
        ("Set-Cookie", "a=b", 0),
        ("Content-Length", "7", 0),
    ],
)
def test_the_response_says_whether_it_may_be_cached(name: str, value: str, cached: int) -> None:
    for body, expected in (b"xxxxx", cached), (iter([b"xxxxx"]), 0):
        cache, response = ResponseCache(), Response(body)
        response.headers.update({**GOOD, name: value})
        with APP.test_request_context("/v1"):
            cache.store(KEY, response)
        assert len(cache) == expected


def test_the_least_recently_used_is_evicted_first() -> None:
    cache = ResponseCache(3 * (ENTRY_OVERHEAD + 7))
    for size in (1, 2, 3):
        put(cache, size)
    assert get(cache, 1) == 1
    put(cache, 4)
    assert [get(cache, size) for size in (1, 2, 3, 4)] == [1, None, 3, 4]


def test_bytes_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_CACHE_BYTES", "1000000")
    cache: ResponseCache = create_app().extensions["fast_path"].cache
    for size in range(9_000, 9_200):
        put(cache, size)
        assert len(cache) * 9_000 <= cache.bytes <= 1_000_000
    assert len(cache) == 1_000_000 // (ENTRY_OVERHEAD + 9_199 + 4) == 89
    put(cache, MAX_BODY_BYTES)
    put(cache, MAX_BODY_BYTES + 1)
    assert (get(cache, MAX_BODY_BYTES), get(cache, MAX_BODY_BYTES + 1)) == (MAX_BODY_BYTES, None)


def test_what_is_counted_is_what_it_takes() -> None:
    fast_path: FastPath = create_app().extensions["fast_path"]
    queries = [b"cells=6&capacity=%d" % capacity for capacity in range(1000, 1600)]
    scopes = [
        {"method": "GET", "raw_path": b"/v1/pack-energy", "query_string": query, "headers": []} for query in queries
    ]
    for scope in scopes[:100]:
        fast_path.respond(scope)
    before = fast_path.cache.bytes
    tracemalloc.start()
    for scope in scopes[100:]:
        fast_path.respond(scope)
    gc.collect()
    taken = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert len(fast_path.cache) == len(scopes)
    assert taken < fast_path.cache.bytes - before < 1.5 * taken


def test_many_threads_get_the_right_responses_and_keep_the_bounds() -> None:
    cache = ResponseCache(20 * (ENTRY_OVERHEAD + 42))
    wrong: list[int] = []

    def work(seed: int) -> None:
        for step in range(400):
            size = 1 + (seed * 31 + step * 7) % 40
            if get(cache, size) not in (None, size):
                wrong.append(size)
            put(cache, size)

    threads = [threading.Thread(target=work, args=(seed,)) for seed in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert len(cache) == 20
    assert cache.bytes == sum(ENTRY_OVERHEAD + size + 2 for size in range(41) if get(cache, size))
