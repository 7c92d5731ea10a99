"""Headers of every response: request id, CORS that works with shared caches, ETag, caching and security headers."""

from __future__ import annotations

import functools
import hashlib
import random
import re
from pathlib import Path
from typing import Final

from flask import Response, g, request

from gramwatt.version import __version__

ONE_HOUR: Final = "public, max-age=3600"
EXPOSED_HEADERS: Final = "ETag, Link, RateLimit, RateLimit-Policy, Retry-After, X-Request-ID"
_UUID: Final = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def assign_request_id() -> None:
    """Assign the current request its id."""
    g.request_id = make_request_id(request.headers.get("X-Request-ID"))


def make_request_id(sent: str | None) -> str:
    """Return the id that the client sent if it is a UUID, else a new one (RFC 9562, version 4).

    The id need not be secret, so no random bytes of the operating system are used.
    """
    if sent is not None and _UUID.fullmatch(sent):
        return sent
    bits = random.getrandbits(128) & ~(0xF << 76) & ~(0x3 << 62) | 4 << 76 | 2 << 62
    digits = f"{bits:032x}"
    return f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}"


def add_headers(response: Response) -> Response:
    """Add the headers that do not depend on the route."""
    headers = response.headers
    headers["Access-Control-Allow-Origin"] = "*"
    headers["Access-Control-Expose-Headers"] = EXPOSED_HEADERS
    headers["X-Request-ID"] = g.request_id
    headers["X-Content-Type-Options"] = "nosniff"
    headers["Cross-Origin-Resource-Policy"] = "cross-origin"
    headers["Referrer-Policy"] = "no-referrer"
    headers.setdefault("Content-Security-Policy", "default-src 'none'; frame-ancestors *")
    headers.add("Vary", "Accept")
    if request.method == "OPTIONS" and response.status_code == 200:
        headers["Content-Type"] = "text/plain; charset=utf-8"
        headers["Access-Control-Allow-Methods"] = headers.get("Allow", "GET, HEAD, OPTIONS, POST")
        headers["Access-Control-Allow-Headers"] = "Accept, Content-Type, If-None-Match, X-Request-ID"
        headers["Access-Control-Max-Age"] = "86400"
        headers["Cache-Control"] = ONE_HOUR
    return response


@functools.cache
def compute_source_digest() -> bytes:
    """Return a digest of this package's source, so that entity tags change when the code does."""
    package = Path(__file__).resolve().parent.parent
    digest = hashlib.sha256(__version__.encode())
    for source in sorted(package.rglob("*")):
        if source.suffix in (".py", ".html", ".css", ".js"):
            digest.update(source.relative_to(package).as_posix().encode() + b"\0" + source.read_bytes())
    return digest.digest()


def make_request_etag(format_name: str) -> str:
    """Return the strong entity tag of the current request, before anything is computed.

    A response depends on the code, the URL and the format alone.
    """
    return make_etag(format_name, request.full_path)


def make_etag(format_name: str, full_path: str) -> str:
    """Return the entity tag of a path with its query, in a format."""
    path = full_path.encode("utf-8", "surrogatepass")
    digest = hashlib.blake2b(compute_source_digest() + format_name.encode() + b"\0" + path, digest_size=12)
    return digest.hexdigest()


def make_not_modified(tag: str) -> Response | None:
    """Return a 304 response if the client's cached copy has this entity tag, else None."""
    tags = request.if_none_match
    if request.method in ("GET", "HEAD") and not tags.star_tag and tags.contains_weak(tag):
        return make_cacheable(Response(status=304), tag)
    return None


def make_cacheable(response: Response, tag: str) -> Response:
    """Allow every cache to store a response; it becomes a 304 if the request has ``If-None-Match: *``."""
    if response.status_code == 200 and request.if_none_match.star_tag and request.method in ("GET", "HEAD"):
        response = Response(status=304)
    response.headers["ETag"] = f'"{tag}"'
    response.headers["Cache-Control"] = ONE_HOUR
    return response
