"""The event loop's side of `serve`: gunicorn's own ASGI worker, with the WSGI application in a shell."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from importlib import import_module
from typing import Any, Final

from gramwatt.asgi import Shell
from gramwatt.serve import PATIENCE, problem_bytes

STUCK: Final = 20
LONG: Final = ("/batch", "/sweep", "/chart", ".yaml")
PAGES: Final = "/calculators/"
"""Pages hold pictures, which take as long to draw as a hundred answers."""
_Worker: Any = import_module("gunicorn.workers.gasgi").ASGIWorker  # what stubs there are know neither
_Protocol: Any = import_module("gunicorn.asgi.protocol").ASGIProtocol


def takes_long(path: str) -> bool:
    """Whether what is at a path would hold up the others if it were answered in the loop itself."""
    return path == "/" or path.startswith(PAGES) or path.rstrip("/").endswith(LONG)


class EventsWorker(_Worker):  # type: ignore[misc]
    """gunicorn's event loop, with `asgi.Shell` around the application, and with mends.

    The backlog is the one that was set; a stop answers what is under way and closes kept connections only after
    their clients had a second to hear of it; `Connection` says what it does for each client.
    """

    asgi: Any

    def init_process(self) -> None:
        """Let silent sockets be many (as many open files as may be), and the loop wait less for the long threads."""
        import resource

        sys.setswitchinterval(0.0005)
        most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
        self.connections: set[Connection] = set()
        super().init_process()

    def load_wsgi(self) -> None:
        """Put the shell around the application."""
        super().load_wsgi()
        fast = getattr(self.asgi, "extensions", {}).get("fast_path")
        self.asgi = Shell(
            self.asgi if fast is None else fast.application,
            is_long=lambda scope: takes_long(scope["path"]),
            **({"known": fast.respond, "known_body": fast.respond} if fast is not None else {}),
            threads=int(os.environ.get("GRAMWATT_LONG_THREADS") or 4),
            patience=PATIENCE,
        )

    async def _serve(self) -> None:
        """Listen until told to stop."""
        for listener in self.sockets:
            server = await self.loop.create_server(
                lambda: Connection(self), sock=listener.sock, backlog=1, ssl=self._get_ssl_context()
            )
            # To asyncio the backlog is also how many are accepted at once: with 1 the workers share them out.
            listener.sock.listen(self.cfg.backlog)
            self.servers.append(server)
        while self.alive and self.ppid == os.getppid():
            self.notify()
            await asyncio.sleep(0.2)
        await self._shutdown()

    async def _shutdown(self) -> None:
        """Accept no more, and end each connection after the answer it waits for."""
        self.alive = False
        waiting = []
        for server, listener in zip(self.servers, self.sockets, strict=True):
            with contextlib.suppress(OSError):
                while True:  # whoever still waits in the backlog would be reset
                    waiting.append(listener.sock.accept()[0])
            server.close()
        for accepted in waiting:
            accepted.setblocking(False)
            with contextlib.suppress(OSError):
                await self.loop.connect_accepted_socket(lambda: Connection(self), accepted, ssl=self._get_ssl_context())
        began = self.loop.time()
        await asyncio.sleep(0.1)  # for connections that were accepted a moment ago
        while self.connections and not self._quick_shutdown:
            waited = self.loop.time() - began
            if waited > self.cfg.graceful_timeout:
                break
            if waited > 1:
                for connection in list(self.connections):
                    connection.close_if_idle()
            self.notify()
            await asyncio.sleep(0.05)


class Connection(_Protocol):  # type: ignore[misc]
    """gunicorn's connection, with mends.

    Its own errors are problems. A request's head must arrive within `PATIENCE` seconds of its first byte (or of
    the connection); who takes nothing of an answer for `STUCK` seconds is cut off. A client that has sent all it
    will (a half-closed socket) still gets its answer. And a client that is still sending when it is answered is
    listened to for a while: to close at once would reset the connection and lose the answer on its way.
    """

    def __init__(self, worker: EventsWorker) -> None:
        super().__init__(worker)
        self._head_timer: asyncio.TimerHandle | None = None
        self._stuck_timer: asyncio.TimerHandle | None = None
        self._answering = self._last = self._deaf = False

    def connection_made(self, transport: Any) -> None:
        self.worker.connections.add(self)
        super().connection_made(transport)
        self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self.worker.connections.discard(self)
        for timer in (self._head_timer, self._stuck_timer):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def close_if_idle(self) -> None:
        """End a connection that waits for its client's next request."""
        if self._awaiting_request and self._head_timer is None:
            self._keepalive_timeout()

    def _await_head(self) -> None:
        self._head_timer = self.worker.loop.call_later(PATIENCE, self._late)

    def _late(self) -> None:
        self.transport.abort()
        self._closed = True
        self._request_ready.set()

    def data_received(self, data: bytes) -> None:
        if not self._deaf:
            super().data_received(data)

    def _feed_callback_parser(self, data: bytes) -> bool:
        fine = bool(super()._feed_callback_parser(data))
        if fine and self._current_request is None and self._head_timer is None:
            self._await_head()
        return fine

    def _on_headers_complete(self) -> Any:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None
        self._answering = False
        return super()._on_headers_complete()

    def eof_received(self) -> bool:
        """Keep the way back open while there is something to answer."""
        if self._deaf or self._current_request is None:
            return False
        self._last = True
        if self._body_receiver is not None and not self._body_receiver._complete:
            self._body_receiver.signal_disconnect()
        return True

    def _arm_keepalive_timer(self) -> None:
        if self._last:
            self.worker.loop.call_soon(self._keepalive_timeout)
        else:
            super()._arm_keepalive_timer()

    def _will_close(self, request: Any, response_requires_close: bool) -> bool:
        unread = self._body_receiver is not None and not self._body_receiver._complete
        return self._last or unread or bool(super()._will_close(request, response_requires_close))

    def _send_response_start(self, *told: Any, **more: Any) -> None:
        self._answering = True
        super()._send_response_start(*told, **more)

    def _send_error_response(self, status: int, message: str, extra_headers: Any = ()) -> None:
        if self._answering and self._current_request is not None:
            return  # it would stand in the middle of an answer
        self._answering = True
        self._safe_write(problem_bytes(status, message))

    def _close_transport(self) -> None:
        if self.transport is None or self._closed:
            return
        self._watch()
        parser = self._callback_parser
        if (
            self._last
            or parser is None
            or parser.is_complete
            or (self._current_request is None and self._head_timer is None)
        ):
            super()._close_transport()
            self.transport.close()  # gunicorn does not where its client is gone already
            return
        self._closed = self._deaf = True
        if self._body_receiver is not None:
            self._body_receiver.signal_disconnect()
        with contextlib.suppress(OSError):
            self.transport.write_eof()
        self._resume_reading()
        self.worker.loop.call_later(PATIENCE, self.transport.abort)

    def pause_writing(self) -> None:
        super().pause_writing()
        self._watch()

    def resume_writing(self) -> None:
        if self._stuck_timer is not None and not self._closed:
            self._stuck_timer.cancel()
            self._stuck_timer = None
        super().resume_writing()

    def _watch(self, before: int | None = None) -> None:
        """Cut off who takes nothing of what is to be sent, from one look at it to the next."""
        if self._stuck_timer is not None and before is None:
            return
        left = self.transport.get_write_buffer_size()
        sends = self._body_receiver is not None and not self._body_receiver._complete
        if before is not None and left >= before and not sends:  # many send all they have before they take anything
            self.transport.abort()
        else:
            self._stuck_timer = self.worker.loop.call_later(STUCK, self._watch, left) if left else None

    def _is_websocket_upgrade(self, request: Any) -> bool:
        """An upgrade that is not on offer is ignored (RFC 9110, 7.8)."""
        return False
