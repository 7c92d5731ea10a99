"""Conditional requests and ranges (RFC 9110, 13 and 14), decided when the whole response is there.

A view may respond with 304 earlier, before anything is computed, where the tag alone decides (`headers`).
"""

from __future__ import annotations

from flask import Response, request
from werkzeug.http import parse_range_header

from gramwatt.web.problems import Problem, respond_to_problem


def respond_to_conditions(response: Response) -> Response:
    """Return 304 for the representation that the client has, 206 for a part of it, else the response as it is."""
    if request.method not in ("GET", "HEAD") or response.status_code != 200:
        return response
    tag, weak = response.get_etag()
    if tag is not None and not weak and request.if_none_match.contains_weak(tag):
        response.status_code = 304
        close = getattr(response.response, "close", None)  # of a file
        if close is not None:
            response.call_on_close(close)
        response.set_data(b"")
        return response
    return _respond_to_range(response, tag if not weak else None)


def _respond_to_range(response: Response, tag: str | None) -> Response:
    """Return the requested part of a body of known length, and say whether such requests work here.

    A `Range` of another unit, of several parts or of another form is ignored, as a server may do.
    """
    ranged = tag is not None and not response.is_streamed
    is_file = "Last-Modified" in response.headers  # of which Flask has sent a part already, if one was requested
    response.headers["Accept-Ranges"] = "bytes" if ranged or is_file else "none"
    sent = parse_range_header(request.headers.get("Range")) if ranged and request.method == "GET" else None
    if sent is None or sent.units != "bytes" or len(sent.ranges) != 1:
        return response
    if request.headers.get("If-Range", f'"{tag}"') != f'"{tag}"':  # a strong comparison
        return response
    body, (start, stop) = response.get_data(), sent.ranges[0]
    length = len(body)
    start, stop = max(0, start + length) if start < 0 else start, min(stop or length, length)
    if start >= stop:
        headers = {"Content-Range": f"bytes */{length}"}
        return respond_to_problem(
            Problem("range-not-satisfiable", f"The response has {length} bytes.", headers=headers)
        )
    response.status_code = 206
    response.headers["Content-Range"] = f"bytes {start}-{stop - 1}/{length}"
    response.set_data(body[start:stop])
    return response
