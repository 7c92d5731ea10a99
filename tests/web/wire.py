"""Bytes on a socket: what the tests of the running service share."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import socket
import subprocess
import time
import urllib.request
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

PACK = "/v1/pack-energy?cells=6&capacity=1300"
BODY = b'{"cells": 6, "capacity": 1300}'
KEEP_ALIVE = b"GET " + PACK.encode() + b" HTTP/1.1\r\nHost: x\r\n\r\n"
HEAD = b"POST /v1/pack-energy HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Type: application/json\r\n"


def connect(base: str) -> socket.socket:
    address = urlsplit(base)
    return socket.create_connection((address.hostname, address.port or 80), timeout=60)


def read_answer(connection: socket.socket, method: str = "GET") -> tuple[int, bytes]:
    response = http.client.HTTPResponse(connection, method=method)
    response.begin()
    return response.status, response.read()


def until(condition: Any) -> Any:
    """Try until it is true, or for a minute; what it is."""
    for _ in range(600):
        with contextlib.suppress(OSError):
            if made := condition():
                return made
        time.sleep(0.1)
    raise AssertionError("it never came true")


def workers(process: subprocess.Popen[str]) -> set[int]:
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    if not listed.exists():
        pytest.skip("this system does not list a process's children in /proc")
    return {int(number) for number in listed.read_text().split()}


def send(base: str, raw: bytes) -> tuple[int, dict[str, str], bytes]:
    """Send bytes, read until the server closes; status, headers with small names, body."""
    with connect(base) as connection:
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            connection.sendall(raw)
        response = http.client.HTTPResponse(connection)
        response.begin()
        with response:
            return response.status, {n.lower(): v for n, v in response.getheaders()}, response.read()


def problem(answer: tuple[int, dict[str, str], bytes], status: int, kind: str) -> Any:
    got, headers, body = answer
    assert got == status, body[:500]
    assert headers["content-type"] == "application/problem+json"
    assert headers["access-control-allow-origin"] == "*"
    made = json.loads(body)
    assert re.fullmatch(
        rf"(http://[a-z0-9.:]+)?/problems/{kind}", made["type"]
    )  # relative before Flask has the request
    assert made["status"] == status
    return made


def answers(base: str) -> bool:
    with urllib.request.urlopen(base + PACK, timeout=60) as answer:
        return bool(json.load(answer)["results"]["usable_energy"] == 23.088)


def chunked(body: bytes, size: int = 65536) -> bytes:
    pieces = [body[at : at + size] for at in range(0, len(body), size)]
    return b"".join(b"%x\r\n%s\r\n" % (len(piece), piece) for piece in pieces) + b"0\r\n\r\n"
