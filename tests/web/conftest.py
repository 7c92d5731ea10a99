"""The application in this process, and the real service in another one."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest
from flask.testing import FlaskClient

from gramwatt.web import create_app


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    """Return the application without a server around it."""
    return create_app().test_client()


@pytest.fixture(scope="session")
def live() -> Iterator[str]:
    """Return the base URL of a running ``python -m gramwatt serve``."""
    with running() as (port, _):
        yield f"http://127.0.0.1:{port}"


@contextmanager
def running(**environment: str) -> Iterator[tuple[int, subprocess.Popen[str]]]:
    """Start a service, and yield its port and its process once it is ready; end it afterwards."""
    port = free_port()
    with subprocess.Popen(
        [sys.executable, "-m", "gramwatt", "serve", "--port", str(port)],
        env={**os.environ, **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        try:
            wait_until_ready(f"http://127.0.0.1:{port}", process)
            yield port, process
        finally:
            process.terminate()
            try:
                process.communicate(timeout=60)
            except subprocess.TimeoutExpired:
                process.kill()
                raise


def free_port() -> int:
    """Return a port of 127.0.0.1 that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until_ready(base: str, process: subprocess.Popen[str]) -> None:
    """Return as soon as the service says that it is ready; fail with its output where it ended instead."""
    for _ in range(600):
        with suppress(urllib.error.URLError, ConnectionError):
            with urllib.request.urlopen(f"{base}/health/ready", timeout=10) as answer:
                assert answer.read() == b"ready\n"
            return
        with suppress(subprocess.TimeoutExpired):
            process.wait(0.1)
            raise AssertionError(f"the service ended: {process.communicate()[0]}")
    raise AssertionError("the service was not ready after 600 tries")
