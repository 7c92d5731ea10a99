"""gunicorn's worker: uvicorn-worker's, with `Connection` as its protocol and a stop that loses no request."""

from __future__ import annotations

import asyncio
import contextlib
import os
import resource
import socket
import sys
from typing import Any, Final

import uvicorn
import uvloop
from gunicorn.arbiter import Arbiter
from uvicorn_worker import UvicornWorker

from gramwatt.server.connection import UNREAD_TIMEOUT, Connection, limit_unread

SWITCH_INTERVAL: Final = 0.0005
"""Seconds after which a computing thread lets the event loop run; Python's own are ten times as many."""


class Server(uvicorn.Server):
    """uvicorn's server, which serves waiting clients before it stops, and ends with gunicorn's master."""

    def __init__(self, config: uvicorn.Config, master: int) -> None:
        super().__init__(config)
        self.master = master

    async def on_tick(self, counter: int) -> bool:
        """Return whether to stop."""
        return await super().on_tick(counter) or os.getppid() != self.master

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop listening, accept who waits, and end all connections after their responses."""
        waiting = [each.dup() for each in sockets or []]
        for server in self.servers:
            server.close()
        await asyncio.sleep(0)  # connections accepted a moment ago join the others
        for listener in waiting:
            with listener, contextlib.suppress(BlockingIOError):
                listener.setblocking(False)
                while True:
                    await self._accept(listener.accept()[0])
        if self.config.callback_notify is not None:
            await self.config.callback_notify()
        await super().shutdown(sockets)

    async def _accept(self, accepted: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        accepted.setblocking(False)
        with contextlib.suppress(OSError):
            await loop.connect_accepted_socket(
                lambda: Connection(config=self.config, server_state=self.server_state, app_state=self.lifespan.state),
                accepted,
            )


class Worker(UvicornWorker):  # type: ignore[misc, unused-ignore]
    """uvicorn's worker with the settings of this service."""

    CONFIG_KWARGS: dict[str, Any] = {  # noqa: RUF012 - declared so by the class above
        "http": Connection,
        "ws": "none",
        "lifespan": "off",
        "server_header": False,
        "proxy_headers": False,
        "timeout_graceful_shutdown": 15,
    }

    def init_process(self) -> None:
        """Let connections be as many as open files may be, and have the system end those that are not read."""
        sys.setswitchinterval(SWITCH_INTERVAL)
        most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
        for listener in self.sockets:
            limit_unread(listener, UNREAD_TIMEOUT)  # accepted connections inherit it
        super().init_process()

    def run(self) -> None:
        """Serve until stopped."""
        self.config.app = self.wsgi
        server = Server(self.config, self.ppid)  # as gunicorn forked it: the master may be gone by now
        with asyncio.Runner(loop_factory=uvloop.new_event_loop) as runner:
            runner.run(server.serve(sockets=self.sockets))
        if not server.started:
            sys.exit(Arbiter.WORKER_BOOT_ERROR)
