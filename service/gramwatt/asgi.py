"""A WSGI application on an event loop (HTTP/1.1 by ASGI): `Shell`.

A short request is read whole and answered in the loop itself, which spares it the way through a thread. A long one runs
in one of a few threads, its body and its answer flowing both ways at once; the others wait for a thread, and short ones
pass them. The shell knows nothing of what it runs: who builds it says which requests are long.
"""

from __future__ import annotations

import asyncio
import io
from collections.abc import Awaitable, Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Any, Final

from gramwatt.environ import environ_of
from gramwatt.flow import Inflow, Outflow

LONGEST_WHOLE: Final = 65536
GATHERED: Final = 65536
HOP_BY_HOP: Final = frozenset(
    ("connection", "keep-alive", "proxy-authenticate", "te", "trailer", "transfer-encoding", "upgrade")
)

Scope = dict[str, Any]
Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]
Headers = list[tuple[bytes, bytes]]
Ready = tuple[int, Headers, bytes]
ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None]


class Shell:
    """An ASGI application that runs a WSGI application.

    ``is_long`` tells by the scope which requests are long; those with a chunked body, or one of more than
    `LONGEST_WHOLE` bytes, are in any case. ``known`` may have an answer ready (status, headers, body), and
    ``known_body`` once a short body is there. ``patience`` is how many seconds a client may be silent in the middle of
    a body.
    """

    def __init__(
        self,
        application: Callable[..., Iterable[bytes]],
        *,
        is_long: Callable[[Scope], bool] = lambda scope: False,
        known: Callable[[Scope], Ready | None] = lambda scope: None,
        known_body: Callable[[Scope, bytes], Ready | None] = lambda scope, body: None,
        threads: int = 4,
        patience: float = 5.0,
    ) -> None:
        self._application, self._is_long, self._known, self._patience = application, is_long, known, patience
        self._known_body = known_body
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="long")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] != "http":
            await _lifespan(scope, receive, send)
            return
        ready = self._known(scope)
        if ready is not None:
            await _send_ready(ready, send)
            return
        size, chunked = _body_of(scope)
        if chunked or size > LONGEST_WHOLE or self._is_long(scope):
            await self._long(environ_of(scope), receive, send)
            return
        body = await self._whole(receive) if size else io.BytesIO()
        ready = self._known_body(scope, body.getvalue()) if size and isinstance(body, io.BytesIO) else None
        if ready is not None:
            await _send_ready(ready, send)
            return
        environ = environ_of(scope)
        environ["wsgi.input"] = body
        await self._short(environ, send)

    async def _whole(self, receive: Receive) -> io.IOBase:
        """A short body; one that breaks off fails when it is read."""
        body = bytearray()
        try:
            while True:
                async with asyncio.timeout(self._patience):
                    message = await receive()
                if message["type"] == "http.disconnect":
                    return _Broken(ConnectionResetError("the body broke off"))
                body += message.get("body", b"")
                if not message.get("more_body", False):
                    return io.BytesIO(body)
        except TimeoutError:
            return _Broken(TimeoutError("the body did not arrive in time"))

    async def _short(self, environ: Scope, send: Send) -> None:
        """Call the application here and now, and send what it says in few pieces."""
        gathered: list[bytes] = []
        size = 0
        start = _Start(gathered.append, environ)
        result = self._application(environ, start)
        try:
            for piece in result:
                start.write(piece)
                if start.bodiless and start.begun:
                    break
                size += len(piece)
                if size >= GATHERED:
                    await start.send(send, b"".join(gathered), more=True)
                    gathered.clear()
                    size = 0
                    await asyncio.sleep(0)  # an answer without an end must not stop the others
            await start.send(send, b"".join(gathered), more=False)
        finally:
            _close(result)

    async def _long(self, environ: Scope, receive: Receive, send: Send) -> None:
        """Call the application in a thread, while this loop carries its body in and its answer out."""
        loop = asyncio.get_running_loop()
        inflow, outflow = Inflow(self._patience), Outflow()
        start = _Start(outflow.put, environ)
        environ["wsgi.input"] = io.BufferedReader(inflow)
        pump = loop.create_task(_pump(receive, inflow, outflow))
        work: asyncio.Future[None] | None = None
        try:
            # Whoever sends nothing holds no thread.
            try:
                await asyncio.wait_for(inflow.begun.wait(), self._patience)
            except TimeoutError:
                inflow.end(TimeoutError("the body did not arrive in time"))
            work = loop.run_in_executor(self._pool, self._run, environ, start, outflow)
            await outflow.pour(lambda body, more: start.send(send, body, more=more))
        finally:
            inflow.end(ConnectionResetError("the client went away"))
            outflow.give_up()
            pump.cancel()
            if work is not None:
                work.cancel()  # only one that still waits for its thread can be

    def _run(self, environ: Scope, start: _Start, outflow: Outflow) -> None:
        """The application's call, in a thread; what it raises is raised again in the loop."""
        try:
            result = self._application(environ, start)
            try:
                for piece in result:
                    start.write(piece)
                    if start.bodiless and start.begun:
                        break
            finally:
                _close(result)
        except Exception as error:
            outflow.end(error)
        except BaseException as error:
            outflow.end(RuntimeError(f"the application raised {error!r}"))
        else:
            outflow.end()


async def _send_ready(ready: Ready, send: Send) -> None:
    status, headers, body = ready
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _body_of(scope: Scope) -> tuple[int, bool]:
    """How long the body says it is, and whether it comes in chunks."""
    size, chunked = 0, False
    for name, value in scope["headers"]:
        if name == b"content-length":
            size = int(value) if value.isdigit() else 0
        elif name == b"transfer-encoding":
            chunked = True
    return size, chunked


class _Start:
    """start_response as PEP 3333 has it: what was said last counts, until the first byte of the body."""

    def __init__(self, put: Callable[[bytes], None], environ: Scope) -> None:
        self._put = put
        self._said: tuple[int, Headers] | None = None
        self._sent = False
        self.begun = False
        self.bodiless = environ["REQUEST_METHOD"] == "HEAD"

    def __call__(
        self, status: str, headers: list[tuple[str, str]], exc_info: ExcInfo | None = None
    ) -> Callable[[bytes], None]:
        try:
            if exc_info is not None and self.begun:
                raise exc_info[1].with_traceback(exc_info[2])
        finally:
            raised, exc_info = exc_info is not None, None  # PEP 3333: no circle of references
        if self._said is not None and not raised:
            raise RuntimeError("start_response was called twice")
        self._said = (
            int(status[:3]),
            [
                (name.lower().encode("latin-1"), value.encode("latin-1"))
                for name, value in headers
                if name.lower() not in HOP_BY_HOP
            ],
        )
        return self.write

    def write(self, piece: bytes) -> None:
        """Send a piece of the body."""
        if not piece:
            return
        if self._said is None:
            raise RuntimeError("the body began before start_response was called")
        self.begun = True
        if not self.bodiless:
            self._put(piece)

    async def send(self, send: Send, body: bytes, *, more: bool) -> None:
        """Tell the server: the head before the first piece, and a piece."""
        if not self._sent:
            if self._said is None:
                raise RuntimeError("the application never called start_response")
            self._sent = True
            status, headers = self._said
            await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": body, "more_body": more})


class _Broken(io.RawIOBase):
    """A body that cannot be read."""

    def __init__(self, fault: OSError) -> None:
        super().__init__()
        self._fault = fault

    def readable(self) -> bool:
        return True

    def readinto(self, target: Any) -> int:
        raise self._fault


def _close(result: Iterable[bytes]) -> None:
    close = getattr(result, "close", None)
    if close is not None:
        close()


async def _pump(receive: Receive, inflow: Inflow, outflow: Outflow) -> None:
    """Carry the body into the thread until it ends, then listen for the client going away."""
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            inflow.end(ConnectionResetError("the client went away"))
            outflow.give_up()
            return
        await inflow.feed(message.get("body", b""))
        if not message.get("more_body", False):
            inflow.end()


async def _lifespan(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] != "lifespan":
        raise NotImplementedError(scope["type"])
    while True:
        kind = (await receive())["type"]
        await send({"type": f"{kind}.complete"})
        if kind == "lifespan.shutdown":
            return
