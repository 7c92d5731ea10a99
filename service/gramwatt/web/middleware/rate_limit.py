"""A limit on requests per minute, off unless the operator sets GRAMWATT_RATE_LIMIT; one bucket a client and worker.

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
        """Let the next GET of a URL by a client be free: its HEAD has cost a token."""
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
        """Take a token; what is left after it, or the negative number of seconds to wait."""
        now, rate = self._clock(), self.per_minute / 60
        with self._lock:
            tokens, since = self._buckets.pop(client, (float(self.per_minute), now))
            tokens = min(self.per_minute, tokens + (now - since) * rate)
            enough = tokens >= 1
            self._buckets[client] = (tokens - 1 if enough else tokens, now)
            if len(self._buckets) > MAX_CLIENTS:
                self._buckets.popitem(last=False)
        return tokens - 1 if enough else (tokens - 1) / rate

    def before(self) -> None:
        """Refuse a request beyond the limit."""
        if request.method == "OPTIONS" or request.path.startswith("/health/"):
            return
        client, url = request.remote_addr or "", request.full_path
        if request.method == "GET" and self.is_prepaid(client, url):
            return
        left = self.take(client)
        g.rate_left = max(0, math.floor(left))
        if left < 0:
            wait = math.ceil(-left)
            raise Problem("too-many-requests", f"Wait {wait} s.", headers={"Retry-After": str(wait)})
        if request.method == "HEAD":
            self.prepay(client, url)

    def after(self, response: Response) -> Response:
        """Tell the client where it stands."""
        if "rate_left" in g:
            response.headers["RateLimit-Policy"] = f'"default";q={self.per_minute};w=60'
            response.headers["RateLimit"] = f'"default";r={g.rate_left};t=60'
        return response
