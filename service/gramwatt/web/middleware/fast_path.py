"""The fast path in front of Flask: cached responses, and plain requests, which need no web framework.

A plain request is for all results of a calculator or one bare value, has only inputs, and gets the default format. Its
body is computed by the function that Flask's route calls. The head is Flask's too, built once for each method and path
by the route's own `make_response` and Flask's `process_response`, in a request context without any client's
data. Flask handles everything else: an option, an invalid input, another format, a condition.
"""

from __future__ import annotations

import io
import os
import time
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, NamedTuple
from urllib.parse import parse_qsl

from flask import Flask, Response, g, request
from werkzeug.sansio.utils import host_is_trusted

from gramwatt.engine import registry
from gramwatt.engine.deprecations import has_deprecations
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.strict_json import InvalidJson, parse_strict_json
from gramwatt.model import Calculator
from gramwatt.web import headers
from gramwatt.web.middleware import failures
from gramwatt.web.middleware.compression import MAX_UNCOMPRESSED_BYTES, compress
from gramwatt.web.middleware.response_cache import CACHE_BYTES, CacheKey, ResponseCache, ResponseHead
from gramwatt.web.middleware.work_limits import get_max_short_inputs
from gramwatt.web.responses import PLAIN_TEXT, compute_plain_body, make_response

MAX_QUERY_LENGTH: Final = 4000
AsgiResponse = tuple[int, list[tuple[bytes, bytes]], bytes]
CompleteResponse = tuple[ResponseHead, bytes]
_SLOW_PATH_HEADERS: Final = frozenset(
    b"range if-range if-match if-modified-since if-unmodified-since authorization transfer-encoding "
    b"content-encoding".split()
)
_ENVIRON: Final = {"CONTENT_TYPE": b"content-type", "CONTENT_LENGTH": b"content-length"} | {
    f"HTTP_{name.decode().upper().replace('-', '_')}": name
    for name in (
        *b"accept accept-encoding host if-none-match x-forwarded-host x-request-id".split(),
        *_SLOW_PATH_HEADERS,
    )
}


class PlainRequest(NamedTuple):
    """The parts of a WSGI or ASGI request that determine its response."""

    method: str
    path: bytes
    query: bytes
    headers: Mapping[bytes, bytes]

    def key(self) -> CacheKey | None:
        """Return its key in the cache; None unless it is a GET or HEAD without a body."""
        if self.method not in ("GET", "HEAD") or self.headers.get(b"content-length", b"0") not in (b"0", b""):
            return None
        return self.method, self.path, self.query, self.headers.get(b"accept"), self.coding()

    def coding(self) -> str:
        """Return the content coding that its client prefers for text."""
        accepted = self.headers.get(b"accept-encoding")
        return "" if accepted is None else headers.choose_coding(accepted.decode("latin-1"))

    def size(self) -> int:
        """Return the bytes of its body; 0 if they are unknown, or 100,000 and more, which Flask handles."""
        length = self.headers.get(b"content-length", b"")
        return int(length) if length.isdigit() and len(length) < 6 else 0

    def request_id(self) -> str:
        """Return the client's own id where that is a UUID, else a new one."""
        offered = self.headers.get(b"x-request-id")
        return headers.make_request_id(None if offered is None else offered.decode("latin-1"))


class Target(NamedTuple):
    """The resource at a path: all results of a calculator, or one of them as a bare value."""

    calculator: Calculator[Any, Any]
    names: frozenset[str]
    result: str | None = None

    def accepts(self, accept: bytes | None) -> bool:
        """Return whether a client that sends this Accept gets the default format."""
        return accept in (None, b"", b"*/*", b"application/json" if self.result is None else b"text/plain")

    def compute(self, inputs: dict[str, Any], *, text: bool) -> bytes | None:
        """Return the body of the response, None if Flask must make it, such as with an option."""
        if not inputs.keys() <= self.names:
            return None
        try:
            return compute_plain_body(self.calculator, self.result, inputs, text=text)
        except failures.CONTROL_EXCEPTIONS:
            raise
        except BaseException:  # invalid inputs, or a failure: Flask reports both
            return None


class FastPath:
    """A WSGI application in front of Flask's. A server with an event loop calls `respond`, then `application`."""

    def __init__(self, app: Flask) -> None:
        self._app, self.application = app, app.wsgi_app
        self._hosts: list[str] | None = app.config["TRUSTED_HOSTS"]
        self.cache = ResponseCache(int(os.environ.get("GRAMWATT_CACHE_BYTES") or CACHE_BYTES))
        self._posted: dict[bytes, Target] = {}
        self._queried: dict[bytes, Target] = {}
        for calculator in registry.load().values():
            if get_max_short_inputs(calculator) == 0 or has_deprecations(calculator):
                continue  # they may be long, which needs a budget; or headers depend on the inputs
            path, target = f"/v1/{calculator.name}", Target(calculator, frozenset(calculator.input_fields))
            self._posted[path.encode()] = target
            if fits_query(calculator):
                self._queried[path.encode()] = target
                for result in calculator.result_fields:
                    self._queried[f"{path}/{result}".encode()] = target._replace(result=result)
        self._heads: dict[tuple[str, bytes, str], ResponseHead] = {}

    def respond(self, scope: Mapping[str, Any], body: bytes = b"", compute: bool = True) -> AsgiResponse | None:
        """Return status, headers and body of the response to an ASGI request; None if `application` must respond.

        ``body`` is the whole body of the request; without it only requests without a body are handled.
        Only the cache is used unless ``compute``.
        """
        if scope["method"] == "POST" and not (body and compute):
            return None
        start = time.perf_counter()
        path, sent = scope.get("raw_path"), dict(scope["headers"])
        joined = len(sent) != len(scope["headers"])  # WSGI joins headers of one name
        if not path or not path.startswith(b"/") or b"%" in path or scope.get("root_path") or joined:
            return None
        plain = PlainRequest(scope["method"], path, scope["query_string"], sent)
        request_id = plain.request_id()
        found = (
            self._find_safely(plain, body, request_id, compute=compute) if _SLOW_PATH_HEADERS.isdisjoint(sent) else None
        )
        if found is None:
            return None
        head, content = found
        response_headers = head.asgi(request_id)
        head.count(start)
        return head.code, response_headers, content

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Respond to a WSGI request, or call `application`."""
        start = time.perf_counter()
        plain = _from_environ(environ)
        body = _read_body(environ, plain.size()) if plain is not None and self._takes_body(plain) else b""
        request_id = "" if plain is None else plain.request_id()
        found = None if plain is None else self._find_safely(plain, body, request_id)
        if found is None:
            return self.application(environ, start_response)
        head, content = found
        start_response(head.status, head.wsgi(request_id))
        head.count(start)
        return [content]

    def store(self, response: Response) -> Response:
        """Cache a complete response of Flask's if its headers allow that."""
        plain = _from_environ(request.environ) if "ETag" in response.headers else None
        key = None if plain is None else plain.key()
        if key is not None:
            try:
                self.cache.store(key, response)
            except Exception as error:  # a response that cannot be cached is still a response
                failures.log_failure(g.request_id, error)
        return response

    def _find_safely(
        self, plain: PlainRequest, body: bytes, request_id: str, *, compute: bool = True
    ) -> CompleteResponse | None:
        """Return the response from the cache or the fast path; None, so that Flask responds, if they fail."""
        if self._hosts is not None and not self._serves(plain):
            return None
        try:
            return self._find(plain, body, compute=compute)
        except failures.CONTROL_EXCEPTIONS:
            raise
        except BaseException as error:
            failures.log_failure(request_id, error)
            return None

    def _serves(self, plain: PlainRequest) -> bool:
        """Return whether the host of a request is served and certain: behind a proxy Flask may see another."""
        host = plain.headers.get(b"host", b"").decode("latin-1")
        return b"x-forwarded-host" not in plain.headers and host_is_trusted(host, self._hosts)

    def _find(self, plain: PlainRequest, body: bytes, *, compute: bool) -> CompleteResponse | None:
        key, condition = plain.key(), plain.headers.get(b"if-none-match")
        if key is None:
            return self._compute_from_body(plain, body) if body and self._takes_body(plain) else None
        found = self.cache.get(key, condition)
        return self._compute_from_query(key) if compute and found is None and condition is None else found

    def _compute_from_query(self, key: CacheKey) -> CompleteResponse | None:
        """Compute the response to a plain GET or HEAD."""
        method, path, query, accept, coding = key
        target = self._queried.get(path)
        if target is None or not target.accepts(accept) or len(query) > MAX_QUERY_LENGTH:
            return None
        try:
            pairs = parse_qsl(query.decode("ascii"), keep_blank_values=True, errors="strict")
        except ValueError:
            return None
        inputs = dict(pairs)
        if len(inputs) != len(pairs):
            return None
        if target.result is not None and inputs.get("errors") in ("status", "text"):
            del inputs["errors"]  # how errors look does not matter to a value
        body = target.compute(inputs, text=True)
        if body is None:
            return None
        tag = headers.make_etag("json" if target.result is None else "text", f"{path.decode()}?{query.decode()}")
        body, coding = _encode(body, coding)
        tag += f"-{coding}" if coding else ""
        head = self._head(method, path, target, coding).replace({"ETag": f'"{tag}"', "Content-Length": str(len(body))})
        body = b"" if method == "HEAD" else body
        self.cache.put(key, head, body, tag)
        return head, body

    def _takes_body(self, plain: PlainRequest) -> bool:
        target, sent = self._posted.get(plain.path), plain.headers
        if plain.method != "POST" or target is None or plain.query or plain.size() == 0:
            return False
        return sent.get(b"content-type") == b"application/json" and target.accepts(sent.get(b"accept"))

    def _compute_from_body(self, plain: PlainRequest, sent: bytes) -> CompleteResponse | None:
        """Compute the response to a plain POST."""
        try:
            inputs = parse_strict_json(sent)
        except InvalidJson:
            return None
        if not isinstance(inputs, dict) or len(sent) != plain.size():
            return None
        target = self._posted[plain.path]
        body = target.compute(inputs, text=False)
        if body is None:
            return None
        body, coding = _encode(body, plain.coding())
        return self._head("POST", plain.path, target, coding).replace({"Content-Length": str(len(body))}), body

    def _head(self, method: str, path: bytes, target: Target, coding: str) -> ResponseHead:
        """Return the head of a plain response, in which the caller replaces ETag and Content-Length."""
        if (method, path, coding) not in self._heads:
            media = "application/json" if target.result is None else PLAIN_TEXT
            body = bytes(MAX_UNCOMPRESSED_BYTES + 1) if coding else b""
            with self._app.test_request_context(path.decode(), method=method, headers={"Accept-Encoding": coding}):
                headers.assign_request_id()
                response = make_response(body, media, None if method == "POST" else "")
                self._heads[method, path, coding] = ResponseHead(self._app.process_response(response))
        return self._heads[method, path, coding]


def install(app: Flask) -> None:
    """Put a `FastPath` in front of an application, before other functions that run after each request."""
    app.extensions["fast_path"] = fast_path = FastPath(app)
    app.after_request(fast_path.store)  # these run last first
    app.wsgi_app = fast_path  # type: ignore[method-assign]


def _encode(body: bytes, coding: str) -> tuple[bytes, str]:
    """Return a body in a content coding, and the coding; as it is, and "", if it is short."""
    return (compress(body), coding) if coding and len(body) > MAX_UNCOMPRESSED_BYTES else (body, "")


def _from_environ(environ: Mapping[str, Any]) -> PlainRequest | None:
    sent = {name: environ[key].encode("latin-1") for key, name in _ENVIRON.items() if key in environ}
    if environ.get("SCRIPT_NAME") or not _SLOW_PATH_HEADERS.isdisjoint(sent):
        return None
    path, query = environ["PATH_INFO"].encode("latin-1"), environ.get("QUERY_STRING", "").encode("latin-1")
    return PlainRequest(environ["REQUEST_METHOD"], path, query, sent)


def _read_body(environ: dict[str, Any], size: int) -> bytes:
    """Read a body and put it back for Flask."""
    try:
        body: bytes = environ["wsgi.input"].read(size)
    except Exception as error:  # each server has its own; Flask converts it
        environ["wsgi.input"] = _FailedBody(error)
        return b""
    environ["wsgi.input"] = io.BytesIO(body)
    return body


class _FailedBody:
    """A body that could not be read, and raises the same exception when it is read again."""

    def __init__(self, error: Exception) -> None:
        self._error = error

    def read(self, size: int = -1) -> bytes:
        """Raise what was raised."""
        raise self._error
