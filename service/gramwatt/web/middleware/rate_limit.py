"""Limit requests per minute if the operator sets GRAMWATT_RATE_LIMIT; each client has a bucket in each worker.

A spreadsheet sends OPTIONS and HEAD before every GET. OPTIONS is free, as nothing is computed for it. HEAD costs what
GET costs, and the next GET of the same URL is free then. Header fields as in the IETF draft
draft-ietf-httpapi-ratelimit-headers.
"""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable

from flask import Response, g, request

from gramwatt.web.problems import Problem

MAX_CLIENTS = 10_000
MAX_URL_LENGTH = 8000
"""Characters of a path with its query."""


class RateLimit:
    """Token buckets by client address: ``per_minute`` tokens at most, refilled evenly."""

    def __init__(self, per_minute: int, clock: Callable[[], float] = time.monotonic) -> None:
        self.per_minute = per_minute
        self._clock = clock
        self._lock = threading.Lock()
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._prepaid: OrderedDict[tuple[str, int], None] = OrderedDict()

    def prepay(self, client: str, url: str) -> None:
        """Make the client's next GET of a URL free, since its HEAD has cost a token."""
        with self._lock:
            self._prepaid[client, hash(url)] = None
            if len(self._prepaid) > MAX_CLIENTS:
                self._prepaid.popitem(last=False)

    def is_prepaid(self, client: str, url: str) -> bool:
        """Return whether a GET is free, once."""
        with self._lock:
            known = (client, hash(url)) in self._prepaid
            if known:
                del self._prepaid[client, hash(url)]
        return known

    def take(self, client: str) -> float:
        """Take a token; return how many are left, or the negative number of seconds to wait."""
        now, rate = self._clock(), self.per_minute / 60
        with self._lock:
            tokens, since = self._buckets.pop(client, (float(self.per_minute), now))
            tokens = min(self.per_minute, tokens + (now - since) * rate)
            enough = tokens >= 1
            self._buckets[client] = (tokens - 1 if enough else tokens, now)
            if len(self._buckets) > MAX_CLIENTS:
                self._buckets.popitem(last=False)
        return tokens - 1 if enough else (tokens - 1) / rate

    def check(self) -> None:
        """Take a token for the current request. Raises Problem if none is left."""
        if request.method == "OPTIONS" or request.path.startswith("/health/"):
            return
        client, url = request.remote_addr or "", request.full_path
        if request.method == "GET" and self.is_prepaid(client, url):
            return
        left = self.take(client)
        g.rate_left = max(0, math.floor(left))
        if left < 0:
            wait = math.ceil(-left)
            raise Problem(
                "too-many-requests", f"Wait {wait} s before the next request.", headers={"Retry-After": str(wait)}
            )
        if request.method == "HEAD":
            self.prepay(client, url)

    def add_headers(self, response: Response) -> Response:
        """Add the headers RateLimit and RateLimit-Policy."""
        if "rate_left" in g:
            response.headers["RateLimit-Policy"] = f'"default";q={self.per_minute};w=60'
            response.headers["RateLimit"] = f'"default";r={g.rate_left};t=60'
        return response
