"""A WSGI application on an event loop (HTTP/1.1 by ASGI): `Shell`.

A short request is read whole and answered in the loop itself, which spares it the way through a thread. A long one runs
in one of a few threads, its body and its answer flowing both ways at once; the others wait for a thread, and short ones
pass them. The shell knows nothing of what it runs: who builds it says which requests are long.
"""

from __future__ import annotations

import asyncio
import functools
import io
import re
import sys
from collections.abc import Awaitable, Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Any, Final
from urllib.parse import unquote_to_bytes

from gramwatt.flow import Gone, Inflow, Outflow

LONGEST_WHOLE: Final = 65536
GATHERED: Final = 65536
HOP_BY_HOP: Final = frozenset(
    (b"connection", b"keep-alive", b"proxy-authenticate", b"te", b"trailer", b"transfer-encoding", b"upgrade")
)

type_Scope = dict[str, Any]
Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]
Headers = list[tuple[bytes, bytes]]
Known = Callable[[dict[str, Any]], "tuple[int, Headers, bytes] | None"]
ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None]


def nothing_known(scope: dict[str, Any]) -> None:
    """The default of ``known``: every request is the application's."""


class Shell:
    """An ASGI application that runs a WSGI application.

    ``is_long`` tells by the scope which requests are long; those with a chunked body, or one of more than
    `LONGEST_WHOLE` bytes, are in any case. ``known`` may hold an answer ready (status, headers, body). ``patience`` is
    how many seconds a client may be silent in the middle of a body.
    """

    def __init__(
        self,
        application: Callable[..., Iterable[bytes]],
        *,
        is_long: Callable[[dict[str, Any]], bool] = lambda scope: False,
        known: Known = nothing_known,
        threads: int = 4,
        patience: float = 5.0,
    ) -> None:
        self._application, self._is_long, self._known, self._patience = application, is_long, known, patience
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="long")

    async def __call__(self, scope: dict[str, Any], receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] != "http":
            await _lifespan(scope, receive, send)
            return
        found = self._known(scope)
        if found is not None:
            await send({"type": "http.response.start", "status": found[0], "headers": found[1]})
            await send({"type": "http.response.body", "body": found[2]})
            return
        environ = environ_of(scope)
        length = environ.get("CONTENT_LENGTH", "0")
        size = int(length) if length.isdecimal() else 0
        chunked = "HTTP_TRANSFER_ENCODING" in environ
        if chunked or size > LONGEST_WHOLE or self._is_long(scope):
            await self._long(environ, receive, send)
        else:
            environ["wsgi.input"] = await self._whole(receive) if size else io.BytesIO()
            await self._short(environ, send)

    async def _whole(self, receive: Receive) -> io.BytesIO:
        """A short body; where it breaks off, reading it to its end fails."""
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

    async def _short(self, environ: dict[str, Any], send: Send) -> None:
        """Call the application here and now, and send what it says in few pieces."""
        gathered: list[bytes] = []
        start = _Start(gathered.append)
        size = 0
        result = self._application(environ, start)
        try:
            for piece in result:
                gathered.append(piece)
                size += len(piece)
                if size >= GATHERED:
                    await start.send(send, b"".join(gathered), more=True)
                    gathered.clear()
                    size = 0
                    await asyncio.sleep(0)  # an answer without an end must not stop the others
            await start.send(send, b"".join(gathered), more=False)
        finally:
            _close(result)

    async def _long(self, environ: dict[str, Any], receive: Receive, send: Send) -> None:
        """Call the application in a thread, while this loop carries its body in and its answer out."""
        loop = asyncio.get_running_loop()
        inflow, outflow = Inflow(self._patience), Outflow()
        start = _Start(outflow.put)
        environ["wsgi.input"] = io.BufferedReader(inflow, 8192)
        pump = loop.create_task(_pump(receive, inflow, outflow))
        work: asyncio.Future[None] | None = None
        try:
            # A client that sends nothing holds no thread.
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
                work.cancel()  # works on one that still waits for its thread

    def _run(self, environ: dict[str, Any], start: _Start, outflow: Outflow) -> None:
        try:
            result = self._application(environ, start)
            try:
                for piece in result:
                    if piece:
                        start.begun = True
                        outflow.put(piece)
            finally:
                _close(result)
        except BaseException as error:  # it is raised again in the loop
            outflow.end(error)
        else:
            outflow.end()
        finally:
            environ.clear()


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


async def _lifespan(scope: dict[str, Any], receive: Receive, send: Send) -> None:
    if scope["type"] != "lifespan":
        raise NotImplementedError(scope["type"])
    while True:
        kind = (await receive())["type"]
        await send({"type": f"{kind}.complete"})
        if kind == "lifespan.shutdown":
            return
