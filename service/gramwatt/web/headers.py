"""Headers of every response: request id, CORS that works with shared caches, ETag, caching and security headers."""

from __future__ import annotations

import functools
import hashlib
import random
import re
from pathlib import Path
from typing import Final

from flask import Response, g, request
from werkzeug.http import parse_accept_header

from gramwatt.version import __version__

ONE_HOUR: Final = "public, max-age=3600"
EXPOSED_HEADERS: Final = (
    "Accept-Encoding, Accept-Ranges, Allow, Content-Disposition, Content-Encoding, Content-Range, "
    "Deprecation, ETag, Link, "
    "RateLimit, RateLimit-Policy, Retry-After, Standing-Cautions, Sunset, X-Request-ID"
)
"""Headers that scripts of other sites may read, beside those that they always may."""
GZIP: Final = "gzip"
MAX_ACCEPT_ENCODING: Final = 200
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
    headers["Vary"] = "Accept, Accept-Encoding"
    if request.method == "OPTIONS" and response.status_code == 200:
        headers["Content-Type"] = "text/plain; charset=utf-8"
        headers["Access-Control-Allow-Methods"] = headers.get("Allow", "GET, HEAD, OPTIONS, POST")
        headers["Access-Control-Allow-Headers"] = "Accept, Content-Type, If-None-Match, If-Range, Range, X-Request-ID"
        headers["Access-Control-Max-Age"] = "86400"
        headers["Cache-Control"] = ONE_HOUR
    return response


@functools.cache
def compute_source_digest() -> bytes:
    """Return a digest of this package's source, so that entity tags change when the code does."""
    package = Path(__file__).resolve().parent.parent
    digest = hashlib.sha256(__version__.encode())
    for source in sorted(package.rglob("*")):
        if source.suffix in (".py", ".html", ".css", ".js", ".json"):
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


def get_coding() -> str:
    """Return the content coding that the current request prefers for text: `GZIP`, or nothing."""
    if request.method == "GET" and "Range" in request.headers:  # parts are of the plain text
        return ""
    return choose_coding(request.headers.get("Accept-Encoding"))


@functools.lru_cache(256)
def choose_coding(accepted: str | None) -> str:
    """Return `GZIP` if an Accept-Encoding accepts it, and no less than the plain text, else nothing."""
    if accepted is None or len(accepted) > MAX_ACCEPT_ENCODING:  # cut, it might accept what it does not
        return ""
    weights = parse_accept_header(accepted.replace("x-gzip", GZIP))
    return GZIP if weights.quality(GZIP) > 0 and weights.quality(GZIP) >= weights.quality("identity") else ""


def make_not_modified(tag: str) -> Response | None:
    """Return a 304 response if the client has cached the representation that it would get, else None.

    Short responses are never compressed, and only a finished response shows its length: the entity tag that the client
    has from before decides.
    """
    coding = get_coding()
    known = f"{tag}-{coding}" if coding else tag
    tags = request.if_none_match
    if request.method in ("GET", "HEAD") and not tags.star_tag and tags.contains_weak(known):
        return make_cacheable(Response(status=304), known)
    return None


def make_cacheable(response: Response, tag: str) -> Response:
    """Allow every cache to store a response."""
    response.headers["ETag"] = f'"{tag}"'
    response.headers["Cache-Control"] = ONE_HOUR
    return response
