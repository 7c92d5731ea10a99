"""Pure answers, kept ready in front of Flask: a question that was asked before costs microseconds.

What may be kept is told by the answer itself: 200, a strong ETag, Cache-Control: public, nothing in Vary but Accept. So
method, path, query and Accept determine it, and it stays true for as long as this process runs. How the 304 to an
answer looks is Flask's to say too: it is kept the first time.
"""

from __future__ import annotations

import io
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from flask import Flask, Response, request
from werkzeug.http import parse_etags

from gramwatt.web.direct import Direct
from gramwatt.web.told import Told, Wire, entity_tag, length, request_id, values

MOST_ANSWERS: Final = 2000
MOST_BYTES: Final = 8 * 1024 * 1024
LARGEST: Final = 16 * 1024
OVERHEAD: Final = 1500  # bytes an answer takes beside its body and its question: lists, their shared headers' places

Key = tuple[str, bytes, bytes, bytes | None]
Started = tuple[str, list[tuple[str, str]]]

_NEVER: Final = frozenset(
    ("range", "if-range", "if-match", "if-modified-since", "if-unmodified-since", "authorization", "transfer-encoding")
)
_NEVER_KEYS: Final = frozenset("HTTP_" + name.upper().replace("-", "_") for name in _NEVER)
_READ: Final = {b"accept": 0, b"if-none-match": 1, b"x-request-id": 2}
_NEVER_NAMES: Final = frozenset(name.encode() for name in _NEVER)


@dataclass(slots=True)
class Answer:
    """What is kept of one question: its 200, and its 304 once that was seen."""

    whole: Told
    body: bytes
    tag: str
    size: int
    unchanged: Told | None = None


class Kept:
    """A WSGI application in front of another, with the least recently used of its answers forgotten first."""

    def __init__(
        self,
        application: Callable[..., Iterable[bytes]],
        most_answers: int = MOST_ANSWERS,
        most_bytes: int = MOST_BYTES,
        direct: Direct | None = None,
    ) -> None:
        self._application, self._direct = application, direct or Direct()
        self._most_answers, self._most_bytes = most_answers, most_bytes
        self._lock = threading.Lock()
        self._answers: OrderedDict[Key, Answer] = OrderedDict()
        self.bytes = 0

    def __len__(self) -> int:
        return len(self._answers)

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer a request, or let the application do so and keep what it says."""
        method = environ["REQUEST_METHOD"]
        if method == "POST":
            return self._post(environ, start_response)
        if (
            method not in ("GET", "HEAD")
            or environ.get("SCRIPT_NAME")
            or environ.get("CONTENT_LENGTH") not in (None, "", "0")
            or not _NEVER_KEYS.isdisjoint(environ)
        ):
            return self._application(environ, start_response)
        began = time.perf_counter()
        accept = environ.get("HTTP_ACCEPT")
        key = (
            method,
            environ["PATH_INFO"].encode("latin-1"),
            environ.get("QUERY_STRING", "").encode("latin-1"),
            None if accept is None else accept.encode("latin-1"),
        )
        found = self._find(key, environ.get("HTTP_IF_NONE_MATCH"))
        if found is None and method == "GET" and "HTTP_IF_NONE_MATCH" not in environ:
            found = self._made(key)
        if found is None:
            return self._ask(key, environ, start_response)
        told, body = found
        start_response(told.status, told.headers(request_id(environ.get("HTTP_X_REQUEST_ID"))))
        told.count(began)
        return [body]

    def _made(self, key: Key) -> tuple[Told, bytes] | None:
        """The answer to a plain question that nobody asked before, kept from now on."""
        _, path, query, accept = key
        made = self._direct.by_query(path, query, accept)
        if made is None:
            return None
        told, body, tag = made
        size = len(body) + len(path) + len(query) + len(accept or b"") + OVERHEAD
        if len(body) <= LARGEST:
            self._keep(key, Answer(told, body, tag, size))
        return told, body

    def _post(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer a plain question in a body; leave any other, its body unread or put back, to the application."""
        began = time.perf_counter()
        told_length = environ.get("CONTENT_LENGTH") or ""
        accept = environ.get("HTTP_ACCEPT")
        path = environ["PATH_INFO"].encode("latin-1")
        plain = not (
            environ.get("SCRIPT_NAME") or environ.get("QUERY_STRING") or "HTTP_CONTENT_ENCODING" in environ
        ) and _NEVER_KEYS.isdisjoint(environ)
        size = int(told_length) if told_length.isdecimal() and len(told_length) < 9 else 0
        wish = None if accept is None else accept.encode("latin-1")
        if not plain or not self._direct.takes(path, environ.get("CONTENT_TYPE"), wish, size):
            return self._learning(path, environ, start_response)
        try:
            raw = environ["wsgi.input"].read(size)
        except Exception as error:
            environ["wsgi.input"] = _Raising(error)
            return self._application(environ, start_response)
        found = self._direct.by_body(path, raw) if len(raw) == size else None
        if found is None:
            environ["wsgi.input"] = io.BytesIO(raw)
            return self._application(environ, start_response)
        told, body = found
        start_response(told.status, told.headers(request_id(environ.get("HTTP_X_REQUEST_ID"))))
        told.count(began)
        return [body]

    def _learning(self, path: bytes, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Let the application answer a POST, and show `Direct` how it does."""
        started: list[Started] = []

        def start(status: str, headers: list[tuple[str, str]], *more: Any) -> Any:
            started.append((status, headers))
            return start_response(status, headers, *more)

        result = self._application(environ, start)
        route = environ.get("gramwatt.route")
        if len(started) == 1 and route is not None and not environ.get("QUERY_STRING"):
            status, headers = started[0]
            if status.startswith("200") and len(values(headers, "x-request-id")) == 1:
                self._direct.learn("POST", path, Told(status, headers, "POST", route))
        return result

    def ready(self, scope: dict[str, Any]) -> tuple[int, list[Wire], bytes] | None:
        """The answer to an ASGI scope, where it is known without asking anybody."""
        began = time.perf_counter()
        raw: bytes | None = scope.get("raw_path")
        if scope["method"] not in ("GET", "HEAD") or not raw or raw[0] != 47 or b"%" in raw or scope.get("root_path"):
            return None
        read: list[bytes | None] = [None, None, None]
        for name, value in scope["headers"]:
            at = _READ.get(name)
            if at is not None:
                if read[at] is not None:
                    return None  # WSGI joins them
                read[at] = value
            elif name in _NEVER_NAMES or (name == b"content-length" and value != b"0"):
                return None
        accept, wished, offered = read
        key = (scope["method"], raw, scope["query_string"], accept)
        found = self._find(key, None if wished is None else wished.decode("latin-1"))
        if found is None and wished is None and scope["method"] == "GET":
            found = self._made(key)
        if found is None:
            return None
        told, body = found
        headers = told.wire(request_id(None if offered is None else offered.decode("latin-1")))
        told.count(began)
        return told.code, headers, body

    def ready_body(self, scope: dict[str, Any], raw: bytes) -> tuple[int, list[Wire], bytes] | None:
        """The answer to an ASGI scope with a short body, where it is a plain question."""
        began = time.perf_counter()
        path: bytes | None = scope.get("raw_path")
        if scope["method"] != "POST" or not path or scope["query_string"] or scope.get("root_path"):
            return None
        read: dict[bytes, bytes] = {}
        for name, value in scope["headers"]:
            if name in read or name in _NEVER_NAMES or name == b"content-encoding":
                return None
            read[name] = value
        content_type = read.get(b"content-type", b"").decode("latin-1")
        if not self._direct.takes(path, content_type, read.get(b"accept"), len(raw)):
            return None
        found = self._direct.by_body(path, raw)
        if found is None:
            return None
        told, body = found
        offered = read.get(b"x-request-id")
        headers = told.wire(request_id(None if offered is None else offered.decode("latin-1")))
        told.count(began)
        return told.code, headers, body

    def _find(self, key: Key, wished: str | None) -> tuple[Told, bytes] | None:
        with self._lock:
            answer = self._answers.get(key)
            if answer is None:
                return None
            self._answers.move_to_end(key)
        if wished and parse_etags(wished).contains_weak(answer.tag):
            return None if answer.unchanged is None else (answer.unchanged, b"")
        return answer.whole, answer.body

    def _ask(self, key: Key, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        started: list[Started] = []

        def start(status: str, headers: list[tuple[str, str]], *more: Any) -> Any:
            started.append((status, headers))
            return start_response(status, headers, *more)

        result = self._application(environ, start)
        route = environ.get("gramwatt.route")
        if len(started) != 1 or route is None:
            return result
        status, headers = started[0]
        tag = entity_tag(headers)
        if tag is None:
            return result
        if status.startswith("304"):
            with self._lock:
                answer = self._answers.get(key)
            if answer is not None and answer.tag == tag:
                answer.unchanged = Told(status, headers, key[0], route)
            return result
        if not status.startswith("200") or not 0 <= length(headers) <= LARGEST:
            return result
        try:
            body = b"".join(result)
        finally:
            getattr(result, "close", lambda: None)()
        if len(body) == (length(headers) if key[0] == "GET" else 0):
            if key[0] == "GET" and key[3] in (None, b"*/*"):
                self._direct.learn("GET", key[1], Told(status, headers, "GET", route))
            size = len(body) + len(key[1]) + len(key[2]) + len(key[3] or b"") + OVERHEAD
            self._keep(key, Answer(Told(status, headers, key[0], route), body, tag, size))
        return [body]

    def _keep(self, key: Key, answer: Answer) -> None:
        with self._lock:
            before = self._answers.pop(key, None)
            self.bytes += answer.size - (0 if before is None else before.size)
            self._answers[key] = answer
            while len(self._answers) > self._most_answers or self.bytes > self._most_bytes:
                self.bytes -= self._answers.popitem(last=False)[1].size


class _Raising(io.RawIOBase):
    """A body whose reading failed; it fails again for whoever reads it next."""

    def __init__(self, error: Exception) -> None:
        super().__init__()
        self._error = error

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        raise self._error

    def readinto(self, buffer: Any) -> int:
        raise self._error


def keep(app: Flask) -> None:
    """Put a `Kept` in front of an application; a server may ask it directly: ``app.extensions["kept"].ready``."""
    app.after_request(_note_route)
    app.extensions["kept"] = kept = Kept(app.wsgi_app)
    app.wsgi_app = kept  # type: ignore[method-assign]


def _note_route(response: Response) -> Response:
    if request.url_rule is not None:
        request.environ["gramwatt.route"] = request.url_rule.rule
    return response
