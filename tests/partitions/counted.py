"""A connection whose bytes are counted."""

from __future__ import annotations

import socket
import threading


class Counted:
    """A connection to the scheduler that counts the bytes that pass through it."""

    def __init__(self, address: str) -> None:
        host, _, port = address.removeprefix("tcp://").rpartition(":")
        self._scheduler = (host, int(port))
        self._server = socket.create_server(("127.0.0.1", 0))
        self.address = f"tcp://127.0.0.1:{self._server.getsockname()[1]}"
        self.bytes = 0
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                ours, _ = self._server.accept()
            except OSError:  # closed
                return
            theirs = socket.create_connection(self._scheduler)
            for source, sink in ((ours, theirs), (theirs, ours)):
                threading.Thread(target=self._pass, args=(source, sink), daemon=True).start()

    def _pass(self, source: socket.socket, sink: socket.socket) -> None:
        try:
            while data := source.recv(65536):
                self.bytes += len(data)
                sink.sendall(data)
        except OSError:
            pass
        finally:
            sink.close()

    def close(self) -> None:
        self._server.close()
