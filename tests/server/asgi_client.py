"""An ASGI server made of two queues, and small WSGI applications, for the tests of the adapter."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterable, Iterator
from typing import Any

from gramwatt.server.adapter import MAX_BUFFERED_BODY, WsgiToAsgi

Message = dict[str, Any]
Start = Callable[..., Callable[[bytes], None]]
Environ = dict[str, Any]
LIMIT = 20  # seconds after which a test that hangs fails
PLAIN = [("Content-Type", "text/plain")]
LENGTH = (b"content-length", b"5")
CHUNKED = (b"transfer-encoding", b"chunked")
LARGE = (b"content-length", str(MAX_BUFFERED_BODY + 1).encode())


class Request:
    """One request as a server sees it: what the client sends goes in, what the adapter sends comes out."""

    def __init__(
        self, adapter: WsgiToAsgi, method: str = "POST", path: str = "/", headers: Iterable[Any] = (), *sent: bytes
    ) -> None:
        self.scope: Message = {"type": "http", "method": method, "path": path, "headers": list(headers)}
        self.received: asyncio.Queue[Message] = asyncio.Queue()
        self.responses: asyncio.Queue[Message] = asyncio.Queue()
        self.writable = asyncio.Event()
        self.writable.set()
        for chunk in sent:
            self.send(chunk)
        self.task = asyncio.create_task(adapter(self.scope, self.received.get, self._respond))

    async def _respond(self, message: Message) -> None:
        await self.writable.wait()
        await self.responses.put(message)

    def send(self, body: bytes, more: bool = True) -> None:
        self.received.put_nowait({"type": "http.request", "body": body, "more_body": more})

    def leave(self) -> None:
        self.received.put_nowait({"type": "http.disconnect"})

    async def next(self) -> Message:
        return await asyncio.wait_for(self.responses.get(), LIMIT)

    async def end(self) -> list[Message]:
        """Wait for the adapter to return; what it sent and nobody read. Raises what it raises."""
        await asyncio.wait_for(self.task, LIMIT)
        return self.unread()

    def unread(self) -> list[Message]:
        return [self.responses.get_nowait() for _ in range(self.responses.qsize())]

    async def read(self) -> bytes:
        """Wait for the whole response; its body."""
        messages = await self.end()
        assert [message["type"] for message in messages[1:]] == ["http.response.body"] * (len(messages) - 1)
        assert not messages[-1].get("more_body", False)
        return b"".join(message["body"] for message in messages[1:])


def complete(adapter: WsgiToAsgi, header: list[Any], body: bytes = b"", method: str = "POST") -> Request:
    """Return a request whose body has arrived."""
    request = Request(adapter, method, headers=header)
    request.send(body, more=False)
    return request


def run(test: Callable[[], Coroutine[Any, Any, None]]) -> None:
    asyncio.run(test())


async def until(condition: Callable[[], object]) -> None:
    async with asyncio.timeout(LIMIT):
        while not condition():
            await asyncio.sleep(0.01)


def echo(environ: Environ, start: Start) -> list[bytes]:
    start("200 OK", PLAIN)
    return [environ["wsgi.input"].read(), threading.current_thread().name.encode()]


class Endless:
    """An application whose response has no end."""

    def __init__(self, size: int = 65536) -> None:
        self.made = 0
        self.closed = threading.Event()
        self._size = size

    def __call__(self, environ: Environ, start: Start) -> Endless:
        start("200 OK", PLAIN)
        return self

    def __iter__(self) -> Iterator[bytes]:
        while True:
            self.made += 1
            yield b"x" * self._size

    def close(self) -> None:
        self.closed.set()
