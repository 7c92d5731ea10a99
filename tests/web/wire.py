"""Bytes on a socket: what the tests of the running service share."""

from __future__ import annotations

import contextlib
import http.client
import json
import socket
import urllib.request
from typing import Any
from urllib.parse import urlsplit

SHAPES = ("threads", "events")
PACK = "/v1/pack-energy?cells=6&capacity=1300"
QUESTION = b'{"cells": 6, "capacity": 1300}'
HEAD = b"POST /v1/pack-energy HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Type: application/json\r\n"


def send(base: str, raw: bytes) -> tuple[int, dict[str, str], bytes]:
    """Send bytes, read until the server closes; status, headers with small names, body."""
    address = urlsplit(base)
    with socket.create_connection((address.hostname, address.port or 80), timeout=60) as connection:
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
    assert made["type"] == f"/problems/{kind}"
    assert made["status"] == status
    return made


def answers(base: str) -> bool:
    with urllib.request.urlopen(base + PACK, timeout=60) as answer:
        return bool(json.load(answer)["results"]["usable_energy"] == 23.088)


def chunked(body: bytes, size: int = 65536) -> bytes:
    pieces = [body[at : at + size] for at in range(0, len(body), size)]
    return b"".join(b"%x\r\n%s\r\n" % (len(piece), piece) for piece in pieces) + b"0\r\n\r\n"
