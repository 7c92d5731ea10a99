"""Finished responses to repeated requests, the least recently used evicted first.

The response itself says whether it may be cached: status 200, a strong ETag, ``Cache-Control: public``, nothing in Vary
but Accept and Accept-Encoding, the body in memory. Then method, path, query, Accept and the content coding determine it
for as long as this process runs.
"""

from __future__ import annotations

import functools
import threading
import time
from collections import OrderedDict
from collections.abc import Mapping
from typing import Final, NamedTuple

from flask import Response, request
from werkzeug.http import parse_etags

from gramwatt.web.middleware import metrics

CACHE_BYTES: Final = 32 * 1024 * 1024
MAX_BODY_BYTES: Final = 256 * 1024
ENTRY_OVERHEAD: Final = 2000
"""Bytes of an entry beside its key and body: its place in the cache, and its head, whose headers are mostly shared."""
_REQUEST_ID: Final = "X-Request-ID"

CacheKey = tuple[str, bytes, bytes, bytes | None, str]
"""Method, path, query, Accept, content coding."""
Header = tuple[tuple[str, str], tuple[bytes, bytes]]
"""A header in the form of WSGI, and in that of ASGI."""


@functools.lru_cache(2048)
def _header(name: str, value: str) -> Header:
    """Return a header in both forms; most are the same in every response and share one object."""
    return (name, value), (name.lower().encode("latin-1"), value.encode("latin-1"))


class ResponseHead:
    """The status and headers of a response, each time sent with another request id, and the metrics that count it."""

    __slots__ = ("_headers", "_metrics", "_positions", "code", "status")

    def __init__(self, response: Response) -> None:
        """Take the head of a response that Flask has finished; needs its request context."""
        self.status, self.code, self._metrics = response.status, response.status_code, metrics.get_series(response)
        headers = response.headers if self.code == 200 else response.get_wsgi_headers(request.environ)
        self._headers = [_header(name, "" if name == _REQUEST_ID else value) for name, value in headers]
        self._positions = {header[0][0]: at for at, header in enumerate(self._headers)}

    def replace(self, values: Mapping[str, str]) -> ResponseHead:
        """Return a copy with other values of some of its headers."""
        copy: ResponseHead = object.__new__(ResponseHead)
        copy.status, copy.code, copy._metrics = self.status, self.code, self._metrics
        copy._headers, copy._positions = self._headers.copy(), self._positions
        for name, value in values.items():
            at = self._positions[name]
            copy._headers[at] = ((name, value), (self._headers[at][1][0], value.encode("latin-1")))
        return copy

    def wsgi(self, request_id: str) -> list[tuple[str, str]]:
        """Return the headers for WSGI."""
        headers = [header[0] for header in self._headers]
        headers[self._positions[_REQUEST_ID]] = (_REQUEST_ID, request_id)
        return headers

    def asgi(self, request_id: str) -> list[tuple[bytes, bytes]]:
        """Return the headers for ASGI."""
        headers = [header[1] for header in self._headers]
        headers[self._positions[_REQUEST_ID]] = (b"x-request-id", request_id.encode())
        return headers

    def count(self, began: float) -> None:
        """Count a request that began at ``began`` [s, time.perf_counter], as `metrics.finish` does."""
        requests, seconds = self._metrics
        requests.inc()
        seconds.observe(time.perf_counter() - began)


class CacheEntry(NamedTuple):
    """A cached response; Flask makes its 304, which is cached once it was sent."""

    head: ResponseHead
    body: bytes
    tag: str
    size: int
    not_modified: ResponseHead | None = None


class ResponseCache:
    """Finished responses by request, at most ``max_bytes`` of them."""

    def __init__(self, max_bytes: int = CACHE_BYTES) -> None:
        self._max_bytes = max_bytes
        self._lock = threading.Lock()
        self._entries: OrderedDict[CacheKey, CacheEntry] = OrderedDict()
        self.bytes = 0

    def __len__(self) -> int:
        return len(self._entries)

    def get(self, key: CacheKey, if_none_match: bytes | None = None) -> tuple[ResponseHead, bytes] | None:
        """Return the cached head and body for a request, or None."""
        with self._lock:
            entry = self._entries.get(key)
            if entry is None:
                return None
            self._entries.move_to_end(key)
        if if_none_match and parse_etags(if_none_match.decode("latin-1")).contains_weak(entry.tag):
            return None if entry.not_modified is None else (entry.not_modified, b"")
        return entry.head, entry.body

    def put(self, key: CacheKey, head: ResponseHead, body: bytes, tag: str) -> None:
        """Cache a response, unless it is too large."""
        if len(body) > MAX_BODY_BYTES:
            return
        body = bytes(memoryview(body))  # orjson's own keeps a buffer of up to four times its length
        entry = CacheEntry(head, body, tag, len(body) + len(key[1]) + len(key[2]) + len(key[3] or b"") + ENTRY_OVERHEAD)
        with self._lock:
            before = self._entries.pop(key, None)
            self.bytes += entry.size - (0 if before is None else before.size)
            self._entries[key] = entry
            while self.bytes > self._max_bytes:
                self.bytes -= self._entries.popitem(last=False)[1].size

    def store(self, key: CacheKey, response: Response) -> None:
        """Cache a response of Flask's if its headers allow it; needs its request context."""
        tag = _shared_tag(response)
        if tag is not None and response.status_code == 304:
            with self._lock:
                entry = self._entries.get(key)
                if entry is not None and entry.tag == tag:
                    self._entries[key] = entry._replace(not_modified=ResponseHead(response))
        elif tag is not None and response.status_code == 200 and not response.is_streamed:
            body = response.get_data()
            if response.content_length == len(body):
                self.put(key, ResponseHead(response), b"" if key[0] == "HEAD" else body, tag)


def _shared_tag(response: Response) -> str | None:
    """Return the strong entity tag of a response that any cache may store, else None."""
    tag, weak = response.get_etag()
    control, varies = _list_values(response, "Cache-Control"), _list_values(response, "Vary")
    public = "public" in control and control.isdisjoint(("no-store", "no-cache", "private"))
    public = public and varies <= {"accept", "accept-encoding", ""}
    return tag if public and tag and not weak and "Set-Cookie" not in response.headers else None


def _list_values(response: Response, header: str) -> set[str]:
    """Return the values in a header that holds lists of them."""
    return {value.strip().lower() for value in ",".join(response.headers.getlist(header)).split(",")}
