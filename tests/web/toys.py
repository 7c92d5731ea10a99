"""Toy WSGI applications, and a server made of two queues, for the tests of the shell."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterable, Iterator
from typing import Any

from gramwatt.asgi import LONGEST_WHOLE, Shell

Message = dict[str, Any]
Start = Callable[..., Callable[[bytes], None]]
Environ = dict[str, Any]
LIMIT = 20  # seconds after which a test that hangs fails
PLAIN = [("Content-Type", "text/plain")]
LENGTH = (b"content-length", b"5")
CHUNKED = (b"transfer-encoding", b"chunked")
BIG = (b"content-length", str(LONGEST_WHOLE + 1).encode())


class Talk:
    """One request as a server sees it: what the client sends goes in, what the shell sends comes out."""

    def __init__(self, shell: Shell, method: str = "POST", path: str = "/", headers: Iterable[Any] = ()) -> None:
        self.scope: Message = {"type": "http", "method": method, "path": path, "headers": list(headers)}
        self._shell = shell
        self._in: asyncio.Queue[Message] = asyncio.Queue()
        self._out: asyncio.Queue[Message] = asyncio.Queue()
        self.writable = asyncio.Event()
        self.writable.set()
        self.task: asyncio.Task[None] | None = None

    def begin(self) -> Talk:
        self.task = asyncio.create_task(self._shell(self.scope, self._in.get, self._send))
        return self

    async def _send(self, message: Message) -> None:
        await self.writable.wait()
        await self._out.put(message)

    def say(self, body: bytes, more: bool = True) -> None:
        self._in.put_nowait({"type": "http.request", "body": body, "more_body": more})

    def leave(self) -> None:
        self._in.put_nowait({"type": "http.disconnect"})

    async def hear(self) -> Message:
        return await asyncio.wait_for(self._out.get(), LIMIT)

    async def end(self) -> list[Message]:
        """Wait for the shell to finish; what it said since."""
        assert self.task is not None
        await asyncio.wait_for(self.task, LIMIT)
        return [self._out.get_nowait() for _ in range(self._out.qsize())]

    def said(self) -> int:
        return self._out.qsize()


def run(test: Callable[[], Coroutine[Any, Any, None]]) -> None:
    asyncio.run(test())


def whole(messages: list[Message]) -> bytes:
    assert [message["type"] for message in messages[1:]] == ["http.response.body"] * (len(messages) - 1)
    assert not messages[-1].get("more_body", False)
    return b"".join(message["body"] for message in messages[1:])


async def until(condition: Callable[[], bool]) -> None:
    async with asyncio.timeout(LIMIT):
        while not condition():
            await asyncio.sleep(0.01)


def echo(environ: Environ, start: Start) -> list[bytes]:
    start("200 OK", PLAIN)
    return [environ["wsgi.input"].read(), threading.current_thread().name.encode()]


class Endless:
    """An application that answers for ever and notes what becomes of it."""

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
