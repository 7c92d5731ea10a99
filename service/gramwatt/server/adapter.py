"""A WSGI application as an ASGI application (HTTP only): `WsgiToAsgi`.

A short request is read whole and handled in the event loop, which saves the way through a thread. A long one runs in a
thread. At most a few threads compute at once, so that short requests pass; who waits for its client does not count.
"""

from __future__ import annotations

import asyncio
import io
from collections.abc import Awaitable, Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Any, Final

from gramwatt.server.environ import scope_to_environ
from gramwatt.server.slots import MAX_STALLED, MAX_WAITING, Observe, Slots
from gramwatt.server.streams import BODY_TIMEOUT, BodyTimeout, ClientDisconnected, Exchange, ReadTimeout, Receive

MAX_BUFFERED_BODY: Final = 65536
MIN_SENT_BYTES: Final = 65536
CONTROL_EXCEPTIONS: Final = (asyncio.CancelledError, GeneratorExit, KeyboardInterrupt)
HOP_BY_HOP: Final = frozenset(
    ("connection", "keep-alive", "proxy-authenticate", "te", "trailer", "transfer-encoding", "upgrade")
)

Scope = dict[str, Any]
Send = Callable[[dict[str, Any]], Awaitable[None]]
Headers = list[tuple[bytes, bytes]]
Response = tuple[int, Headers, bytes]
ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None]


class WsgiToAsgi:
    """Run a WSGI application under an ASGI server.

    ``run_in_thread`` decides by the scope which requests take long; those with a chunked body, or one of more than
    `MAX_BUFFERED_BODY` bytes, always run in a thread. ``threads`` compute at once for requests whose body is streamed,
    and as many for the others; at most ``max_waiting`` of either wait for a thread, and ``max_stalled`` hold one
    without computing, since their clients send or read slowly. ``get_response`` may have a response (status, headers,
    body) to a request whose body is not streamed; its last argument is whether it may compute one.
    ``in_thread`` is the application for requests that run in a thread, where it is another. ``respond_to_error`` may
    handle a `BodyTimeout`, an `Overloaded`, or what the application raised before its response began; else the server
    sees the error. ``read_timeout`` is how many seconds a client may pause within a body, ``body_timeout`` how many its
    pauses may last in all. ``observe`` hears how many requests run and wait (`Slots`).

    In a thread the environ has ``gramwatt.cancelled``, which returns whether the response is no longer wanted, and
    ``gramwatt.wait_until`` (`Exchange.wait_until`), to wait for the client with.
    """

    def __init__(
        self,
        application: Callable[..., Iterable[bytes]],
        *,
        run_in_thread: Callable[[Scope], bool] = lambda scope: False,
        in_thread: Callable[..., Iterable[bytes]] | None = None,
        get_response: Callable[[Scope, bytes, bool], Response | None] = lambda scope, body, compute: None,
        respond_to_error: Callable[[Scope, BaseException], Response | None] = lambda scope, error: None,
        threads: int = 4,
        max_waiting: int = MAX_WAITING,
        max_stalled: int = MAX_STALLED,
        read_timeout: float = 5.0,
        body_timeout: float = BODY_TIMEOUT,
        observe: Observe = lambda state, change: None,
    ) -> None:
        self._application, self._in_thread = application, in_thread or application
        self._run_in_thread, self._get_response, self._respond_to_error = run_in_thread, get_response, respond_to_error
        self._read_timeout, self._body_timeout = read_timeout, body_timeout
        self._whole_slots, self._streamed_slots = (
            Slots(threads, max_waiting, max_stalled, observe=observe) for _ in range(2)
        )
        self._pool = ThreadPoolExecutor(2 * (threads + max_stalled), thread_name_prefix="request")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request. Raises NotImplementedError for other protocols, also lifespan, as ASGI allows."""
        if scope["type"] != "http":
            raise NotImplementedError(scope["type"])
        start = StartResponse(scope, send)
        try:
            size, chunked = _get_body_framing(scope)
            streamed = chunked or size > MAX_BUFFERED_BODY
            body = await self._read_whole(receive) if size and not streamed else b""
            long = streamed or self._run_in_thread(scope)
            response = None if streamed else self._get_response(scope, body, not long)
            if response is not None:
                await _send_response(response, send)
                return
            environ = scope_to_environ(scope)
            environ["wsgi.input"] = io.BytesIO(body)
            if long:
                await self._call_in_thread(environ, start, receive, streamed=streamed)
            else:
                await self._call(environ, start)
        except ClientDisconnected:
            return
        except CONTROL_EXCEPTIONS:
            raise
        except BaseException as error:  # extension code raises what is no Exception
            response = None if start.sent else self._respond_to_error(scope, error)
            if response is None:
                raise
            await _send_response(response, send)

    async def _read_whole(self, receive: Receive) -> bytes:
        """Read a short body. Raises BodyTimeout, ClientDisconnected."""
        body, timeout, clock = bytearray(), self._make_timeout(), asyncio.get_running_loop().time
        try:
            while True:
                began = clock()
                async with asyncio.timeout(timeout.left):
                    message = await receive()
                if message["type"] == "http.disconnect":
                    raise ClientDisconnected
                chunk = message.get("body", b"")
                body += chunk
                if not message.get("more_body", False):
                    return bytes(body)
                timeout.count(len(chunk), clock() - began)
        except TimeoutError:
            raise BodyTimeout from None

    def _make_timeout(self) -> ReadTimeout:
        return ReadTimeout(self._read_timeout, self._body_timeout)

    async def _call(self, environ: Scope, start: StartResponse) -> None:
        """Call the application in the loop, and send its response in few chunks."""
        gathered: list[bytes] = []
        size = 0
        start.put = gathered.append
        result = self._application(environ, start)
        try:
            for chunk in result:
                start.write(chunk)
                if start.bodiless and start.begun:
                    break
                size += len(chunk)
                if size >= MIN_SENT_BYTES:
                    await start.send(b"".join(gathered), more=True)
                    gathered.clear()
                    size = 0
                    await asyncio.sleep(0)  # a response without end must not stop other requests
            await start.send(b"".join(gathered), more=False)
        finally:
            _close(result)

    async def _call_in_thread(self, environ: Scope, start: StartResponse, receive: Receive, *, streamed: bool) -> None:
        """Call the application in a thread, while the loop carries its body in and its response out."""
        slots = self._streamed_slots if streamed else self._whole_slots
        exchange = Exchange(receive, start.send, slots, self._make_timeout() if streamed else None)
        start.put = exchange.put
        environ["gramwatt.cancelled"], environ["gramwatt.wait_until"] = exchange.is_cancelled, exchange.wait_until
        if streamed:
            environ["wsgi.input"] = io.BufferedReader(exchange)

        def work() -> None:
            try:
                result = self._in_thread(environ, start)
                try:
                    for chunk in result:
                        start.write(chunk)
                        if start.bodiless and start.begun:
                            break
                finally:
                    _close(result)
                exchange.wait_until_sent()
            except Exception:
                raise
            except BaseException as error:  # SystemExit would end the loop
                raise RuntimeError(f"the application raised {error!r}") from None

        try:
            await exchange.run(self._pool, work)
            await exchange.finish()
        finally:
            exchange.disconnect()
            del start.put  # else both hold each other, and the last chunk, until garbage is collected
        await start.send(b"", more=False)


class StartResponse:
    """start_response of PEP 3333: its last call counts, until the first byte of the body. ``put`` takes the body."""

    put: Callable[[bytes], None]

    def __init__(self, scope: Scope, send: Send) -> None:
        self._send = send
        self._head: tuple[int, Headers] | None = None
        self.begun, self.sent = False, False
        self.bodiless = scope["method"] == "HEAD"

    def __call__(
        self, status: str, headers: list[tuple[str, str]], exc_info: ExcInfo | None = None
    ) -> Callable[[bytes], None]:
        """Start the response, as WSGI's ``start_response``."""
        try:
            if exc_info is not None and self.begun:
                raise exc_info[1].with_traceback(exc_info[2])
        finally:
            raised, exc_info = exc_info is not None, None  # PEP 3333: no circle of references
        if self._head is not None and not raised:
            raise RuntimeError("start_response was called twice")
        self._head = (
            int(status[:3]),
            [
                (name.lower().encode("latin-1"), value.encode("latin-1"))
                for name, value in headers
                if name.lower() not in HOP_BY_HOP
            ],
        )
        return self.write

    def write(self, chunk: bytes) -> None:
        """Add a chunk to the body."""
        if not chunk:
            return
        if self._head is None:
            raise RuntimeError("the body began before start_response was called")
        self.begun = True
        if not self.bodiless:
            self.put(chunk)

    async def send(self, body: bytes, *, more: bool = True) -> None:
        """Send a part of the body to the server, and the head before the first."""
        if not self.sent:
            if self._head is None:
                raise RuntimeError("the application never called start_response")
            self.sent = True
            status, headers = self._head
            await self._send({"type": "http.response.start", "status": status, "headers": headers})
        await self._send({"type": "http.response.body", "body": body, "more_body": more})


async def _send_response(response: Response, send: Send) -> None:
    status, headers, body = response
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _get_body_framing(scope: Scope) -> tuple[int, bool]:
    """Return the declared length of the body, and whether it comes in chunks."""
    size, chunked = 0, False
    for name, value in scope["headers"]:
        if name == b"content-length":
            size = int(value) if value.isdigit() else 0
        elif name == b"transfer-encoding":
            chunked = True
    return size, chunked


def _close(result: Iterable[bytes]) -> None:
    close = getattr(result, "close", None)
    if close is not None:
        close()
