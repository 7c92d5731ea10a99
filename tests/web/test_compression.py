"""Text responses are compressed for clients that take it: entity tags, HEAD, streams, and hostile headers."""

from __future__ import annotations

import gzip
import itertools
import threading
import zlib
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask, Response
from flask.testing import FlaskClient
from werkzeug.test import EnvironBuilder, run_wsgi_app

from gramwatt.web.middleware.compression import MAX_UNCOMPRESSED_BYTES, compress_chunks, compress_response

PACK = "/v1/pack-energy?cells=6&capacity=1300"
SWEEP = "/v1/pack-energy/sweep?cells=6&vary=capacity&from=1000&to=2000&count=50"
LONG_SWEEP = "/v1/pack-energy/sweep?cells=6&vary=capacity&from=1000&to=2000&count=200"
LONG_SWEEP += "&vary=reserve&from=0&to=50&count=100"
TEXTS = [
    pytest.param(PACK, id="json"),
    pytest.param(f"{PACK}&working=true&format=json", id="working"),
    pytest.param(f"{SWEEP}&format=csv", id="csv"),
    pytest.param(f"{SWEEP}&format=ndjson", id="ndjson"),
    pytest.param(f"{LONG_SWEEP}&format=csv", id="streamed-csv"),
    pytest.param("/v1/pack-energy/chart?cells=6&capacity=1300", id="svg"),
    pytest.param("/openapi.json", id="contract"),
    pytest.param("/v1", id="index"),
    pytest.param("/gramwatt.js", id="script"),
    pytest.param("/calculators/pack-energy", id="page"),
    pytest.param(f"{PACK}&{'x' * 600}=1&{'y' * 600}=1", id="problem"),
]
PLAIN = [
    pytest.param("/v1/pack-energy/usable_energy?cells=6&capacity=1300", {}, id="short"),
    pytest.param("/v1/pack-energy/chart?cells=6&capacity=1300", {"Accept": "image/png"}, id="png"),
    pytest.param(f"{SWEEP}&format=arrow", {}, id="arrow"),
]
GZIP = {"Accept-Encoding": "gzip"}


@pytest.mark.parametrize("url", TEXTS)
def test_what_is_decompressed_is_what_others_get(client: FlaskClient, url: str) -> None:
    headers = {"Accept": "text/html"} if url.startswith("/calculators") else {}
    plain, packed = client.get(url, headers=headers), client.get(url, headers={**headers, **GZIP})
    assert gzip.decompress(packed.data) == plain.data or plain.status_code == 422
    assert len(packed.data) < len(plain.data) / 1.5
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Content-Encoding" not in plain.headers
    for response in (plain, packed):
        assert response.headers["Vary"] == "Accept, Accept-Encoding"
        assert response.content_length in (None, len(response.data))
    others = {"X-Request-ID", "Content-Encoding", "Content-Length", "ETag"}
    shown = [{n: v for n, v in each.headers.items() if n not in others} for each in (plain, packed)]
    assert shown[0] == shown[1]
    if "ETag" in plain.headers:
        assert packed.headers["ETag"] == f'{plain.headers["ETag"][:-1]}-gzip"'


@pytest.mark.parametrize(("url", "headers"), PLAIN)
def test_what_gains_nothing_stays_as_it_is(client: FlaskClient, url: str, headers: dict[str, str]) -> None:
    plain, packed = client.get(url, headers=headers), client.get(url, headers={**headers, **GZIP})
    assert packed.data == plain.data
    assert "Content-Encoding" not in packed.headers
    assert packed.headers["ETag"] == plain.headers["ETag"]


@pytest.mark.parametrize("coding", ["gzip", "identity"])
@pytest.mark.parametrize("url", TEXTS)
def test_head_has_the_headers_of_get(client: FlaskClient, url: str, coding: str) -> None:
    """For a body that is streamed neither says how long it is."""
    sent = {"Accept-Encoding": coding, "Accept": "*/*", "X-Request-ID": "5d1f1f43-6a2a-4f4c-9d35-6d7c5ad0a2a1"}
    got, head = client.get(url, headers=sent), client.head(url, headers=sent)
    assert (head.status_code, head.data) == (got.status_code, b"")
    assert dict(head.headers) == dict(got.headers)


@pytest.mark.parametrize(
    ("accepted", "coded"),
    [
        ("gzip", True),
        ("x-gzip", True),
        ("GZIP", True),
        ("deflate, gzip;q=0.5, br, zstd", True),
        ("*", True),
        ("identity;q=0, *", True),
        ("gzip;q=0.001", True),
        ("", False),
        ("identity", False),
        ("br, zstd", False),
        ("gzip;q=0", False),
        ("gzip; q=0.000", False),
        ("gzip;q=0, *", False),
        ("*;q=0", False),
        ("gzip;q=0.5, identity", False),
        (f"{'a' * 194}, gzip;q=0", False),
        ("gzip;q=-1", False),
        ("gzip;q=nan", False),
        ("\xff\xfe, \x00", False),
        (", " * 3000, False),
        (f"{'x,' * 3000}gzip", False),
    ],
)
def test_accept_encoding(client: FlaskClient, accepted: str, coded: bool) -> None:
    """RFC 9110, 12.5.3. Only the beginning of a very long header counts."""
    environ = EnvironBuilder(PACK.split("?")[0], query_string=PACK.split("?")[1]).get_environ()
    environ["HTTP_ACCEPT_ENCODING"] = accepted
    response = client.open(environ)
    assert response.status_code == 200
    assert ("Content-Encoding" in response.headers) == coded


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize(
    ("form", "accepted", "status"),
    [
        ("{plain}", "identity", 304),
        ("{gzip}", "gzip", 304),
        ("W/{gzip}", "gzip", 304),
        ('"other", {gzip}', "gzip", 304),
        ("*", "gzip", 304),
        ("{plain}", "gzip", 200),
        ("{gzip}", "identity", 200),
        ('{gzip}"', "gzip", 200),
        ('"-gzip"', "gzip", 200),
    ],
)
@pytest.mark.parametrize("url", [PACK, SWEEP, "/openapi.json"])
def test_a_tag_fits_its_own_representation(
    client: FlaskClient, url: str, form: str, accepted: str, status: int, method: str
) -> None:
    plain, packed = client.get(url), client.get(url, headers=GZIP)
    tags = {"plain": plain.headers["ETag"], "gzip": packed.headers["ETag"]}
    sent = {"If-None-Match": form.format(**tags), "Accept-Encoding": accepted}
    response = client.open(url, method=method, headers=sent)
    assert response.status_code == status
    assert response.headers["ETag"] == tags["gzip" if accepted == "gzip" else "plain"]
    assert response.headers["Vary"] == "Accept, Accept-Encoding"
    if status == 304:
        assert response.data == b""
        assert "Content-Encoding" not in response.headers


def test_a_short_response_has_one_tag_for_all(client: FlaskClient) -> None:
    url = "/v1/pack-energy/usable_energy?cells=6&capacity=1300"
    tag = client.get(url).headers["ETag"]
    for accepted in ("gzip", "identity"):
        sent = {"If-None-Match": tag, "Accept-Encoding": accepted}
        assert client.get(url, headers=sent).status_code == 304


def test_each_chunk_is_sent_at_once() -> None:
    decompressor = zlib.decompressobj(16 + zlib.MAX_WBITS)
    chunks = [b"row %d\n" % at * 100 for at in range(5)]
    packed = compress_chunks([chunks[0], b"", *chunks[1:]])
    for chunk, sent in zip(chunks, packed, strict=False):
        assert decompressor.decompress(sent) == chunk
    assert decompressor.decompress(b"".join(packed)) == b""
    assert decompressor.eof


def test_rows_come_back_before_the_last_is_sent(client: FlaskClient) -> None:
    seen = threading.Event()

    class Body:
        """A client that sends its last row once it has seen results of the first."""

        chunks = iter([b"cells,capacity\n" + b"4,1300\n" * 200_000, b"6,1300\n"])

        def read(self, _: int = -1) -> bytes:
            if self.chunks is not None and not self.sent:
                self.sent = True
                return next(self.chunks)
            assert seen.wait(30)
            return next(self.chunks, b"")

        sent = False

    headers = {"Accept-Encoding": "gzip", "Content-Type": "text/csv", "Transfer-Encoding": "chunked"}
    environ = EnvironBuilder("/v1/pack-energy/batch", method="POST", headers=[*headers.items()]).get_environ()
    environ |= {"wsgi.input": Body(), "wsgi.input_terminated": True}
    environ.pop("CONTENT_LENGTH", None)
    chunks, _, sent = run_wsgi_app(client.application, environ)
    assert sent["Content-Encoding"] == "gzip"
    decompressor, received = zlib.decompressobj(16 + zlib.MAX_WBITS), b""
    for chunk in chunks:
        received += decompressor.decompress(chunk)
        if b"15.392," in received:
            seen.set()
    assert received.count(b"15.392,") == 200_000
    assert received.count(b"23.088,") == 1
    assert decompressor.eof


def test_a_stream_that_nobody_reads_is_closed() -> None:
    closed: list[str] = []

    def rows() -> Iterator[bytes]:
        try:
            yield from itertools.repeat(b"6,1300\n")
        finally:
            closed.append("rows")

    with Flask(__name__).test_request_context("/", headers=GZIP):
        response = compress_response(Response(rows(), content_type="text/csv"))
        next(iter(response.response))
        response.close()
    assert closed == ["rows"]


BOMB = gzip.compress(bytes(30_000_000))
POSTS = [
    ("/v1/pack-energy", "application/json"),
    ("/v1/pack-energy/sweep", "application/json"),
    ("/v1/pack-energy/chart", "application/json"),
    ("/v1/pack-energy/batch", "text/csv"),
    ("/v1/pack-energy/batch", "application/x-ndjson"),
    ("/v1/pack-energy/batch", "application/vnd.apache.arrow.stream"),
    ("/v1/flight-log/log", "text/csv"),
    ("/v1/flight-log/log", "application/json"),
    ("/calculators/pack-energy", "application/x-www-form-urlencoded"),
]


@pytest.mark.parametrize("coding", ["gzip", "x-gzip", "deflate", "gzip, gzip", "br", "identity, gzip", "GZip"])
@pytest.mark.parametrize(("url", "media"), POSTS)
def test_a_compressed_request_is_never_decompressed(client: FlaskClient, url: str, media: str, coding: str) -> None:
    """A bomb of 30 MB in 30 kB is refused, and the response says which coding would do (RFC 9110, 15.5.16)."""
    headers = {"Content-Type": media, "Content-Encoding": coding}
    response: Any = client.post(url, data=BOMB, headers=headers)
    assert response.status_code == 415
    assert response.headers["Accept-Encoding"] == "identity"
    assert len(response.data) < MAX_UNCOMPRESSED_BYTES * 2
