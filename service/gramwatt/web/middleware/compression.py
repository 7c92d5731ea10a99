"""Compress text responses with gzip, as far as `headers.get_coding` says that the client takes it (RFC 9110, 12.5.3).

A chunk of a streamed response is compressed and sent at once, so that no row waits for the next.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator
from typing import Any, Final

from flask import Response
from werkzeug.wsgi import ClosingIterator

from gramwatt.web.headers import GZIP, get_coding

MAX_UNCOMPRESSED_BYTES: Final = 1000
"""Bytes of a text that is sent as it is: compressing it costs more than it saves."""
_SLOW_BYTES: Final = 256 * 1024
_GZIP_FORMAT: Final = 16 + zlib.MAX_WBITS
_TEXT_TYPES: Final = frozenset(
    f"application/{name}" for name in ("json", "x-ndjson", "yaml", "javascript", "x-subrip", "xml")
)


def is_text(media_type: str) -> bool:
    """Return whether bodies of a media type are text, which is far shorter when it is compressed."""
    return media_type.startswith("text/") or media_type.endswith(("+json", "+xml")) or media_type in _TEXT_TYPES


def compress(body: bytes) -> bytes:
    """Return a body in the gzip format; the same body always gives the same bytes."""
    level = 6 if len(body) <= _SLOW_BYTES else 1
    return zlib.compress(body, level, _GZIP_FORMAT)


def compress_chunks(chunks: Iterable[bytes]) -> Iterator[bytes]:
    """Yield chunks in the gzip format; what was yielded so far can be decompressed to all chunks so far."""
    compressor = zlib.compressobj(1, zlib.DEFLATED, _GZIP_FORMAT)
    for chunk in chunks:
        if chunk:
            yield compressor.compress(chunk) + compressor.flush(zlib.Z_SYNC_FLUSH)
    yield compressor.flush()


def compress_response(response: Response) -> Response:
    """Compress a response of Flask's if that is worth it, and give its representation an entity tag of its own."""
    if get_coding() != GZIP or not is_text(response.mimetype or "") or not _has_plain_body(response):
        return response
    if response.is_streamed:
        close: Any = getattr(response.response, "close", None)
        chunks = compress_chunks(response.iter_encoded())
        response.direct_passthrough = False
        response.response = ClosingIterator(chunks, [] if close is None else [close])
        del response.content_length
    else:
        body = response.get_data()
        if len(body) <= MAX_UNCOMPRESSED_BYTES:
            return response
        response.set_data(compress(body))
    response.headers["Content-Encoding"] = GZIP
    tag, weak = response.get_etag()
    if tag and not weak:
        response.headers["ETag"] = f'"{tag}-{GZIP}"'
    return response


def _has_plain_body(response: Response) -> bool:
    return response.status_code not in (204, 206, 304) and "Content-Encoding" not in response.headers
