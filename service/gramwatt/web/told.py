"""A status line and headers that were told once and are told again, each time with the request id of its own."""

from __future__ import annotations

import functools
import random
import re
import time
from collections.abc import Mapping
from typing import Final

from gramwatt.web.metrics import REQUESTS, SECONDS

Wire = tuple[bytes, bytes]
_UUID: Final = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


@functools.lru_cache(2048)
def _pair(name: str, value: str) -> tuple[tuple[str, str], Wire]:
    """A header for WSGI and for ASGI; nearly all are the same in every answer, so they are held once."""
    return (name, value), (name.lower().encode("latin-1"), value.encode("latin-1"))


class Told:
    """A status and its headers, in which the place of the request id is known."""

    def __init__(self, status: str, headers: list[tuple[str, str]], method: str, route: str) -> None:
        self.status, self.code = status, int(status[:3])
        pairs = [_pair(name, "" if name.lower() == "x-request-id" else value) for name, value in headers]
        self._headers = [pair[0] for pair in pairs]
        self._wire = [pair[1] for pair in pairs]
        self._places = {name.decode(): at for at, (name, _) in enumerate(self._wire)}
        self._place = self._places["x-request-id"]
        self._counted, self._timed = REQUESTS.labels(method, route, self.code), SECONDS.labels(route)

    def value(self, wanted: str) -> str:
        """The value of a header that stands once, by its name in small letters; else nothing."""
        values = [value for name, value in self._headers if name.lower() == wanted]
        return values[0] if len(values) == 1 else ""

    def varied(self, values: Mapping[str, str]) -> Told:
        """The same with other values of some headers, by their names in small letters."""
        made = object.__new__(Told)
        made.status, made.code, made._place = self.status, self.code, self._place
        made._counted, made._timed = self._counted, self._timed
        made._headers, made._wire = self._headers.copy(), self._wire.copy()
        for name, value in values.items():
            place = self._places[name]
            made._headers[place] = (self._headers[place][0], value)
            made._wire[place] = (self._wire[place][0], value.encode())
        made._places = self._places
        return made

    def headers(self, identity: str) -> list[tuple[str, str]]:
        """The headers as WSGI has them."""
        made = self._headers.copy()
        made[self._place] = (made[self._place][0], identity)
        return made

    def wire(self, identity: str) -> list[Wire]:
        """The headers as ASGI has them."""
        made = self._wire.copy()
        made[self._place] = (b"x-request-id", identity.encode())
        return made

    def count(self, began: float) -> None:
        """Count a request, as `metrics.finish` does."""
        self._counted.inc()
        self._timed.observe(time.perf_counter() - began)


def request_id(offered: str | None) -> str:
    """The id of a request: the client's own where that is a UUID, else a new one."""
    return offered if offered is not None and _UUID.fullmatch(offered) else new_request_id()


def new_request_id() -> str:
    """A random UUID (RFC 9562, version 4). It need not be a secret, and asks the system for nothing."""
    bits = random.getrandbits(128) & ~(0xF << 76) & ~(0x3 << 62) | 4 << 76 | 2 << 62
    digits = f"{bits:032x}"
    return f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}"


def values(headers: list[tuple[str, str]], wanted: str) -> list[str]:
    """The values of a header, by its name in small letters."""
    return [value for name, value in headers if name.lower() == wanted]


def words(headers: list[tuple[str, str]], wanted: str) -> set[str]:
    """The words in a header's lists."""
    return {word.strip().lower() for word in ",".join(values(headers, wanted)).split(",")}


def entity_tag(headers: list[tuple[str, str]]) -> str | None:
    """The strong entity tag of an answer that anybody may keep, else None."""
    tags, caching, varies = values(headers, "etag"), words(headers, "cache-control"), words(headers, "vary")
    public = "public" in caching and caching.isdisjoint(("no-store", "no-cache", "private"))
    if len(tags) != 1 or not public or not varies <= {"accept", ""} or values(headers, "set-cookie"):
        return None
    strong = re.fullmatch(r'"([^"]*)"', tags[0])
    return strong[1] if strong and len(values(headers, "x-request-id")) == 1 else None


def length(headers: list[tuple[str, str]]) -> int:
    """What Content-Length says; -1 where it says nothing."""
    lengths = values(headers, "content-length")
    return int(lengths[0]) if len(lengths) == 1 and lengths[0].isdecimal() else -1
