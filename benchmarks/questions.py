"""Invented questions for pack-current: the same on every run, plainly made up, all of them with an answer."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt

Columns: TypeAlias = Mapping[str, npt.NDArray[Any]]

SEED: Final = 20_240_229
PATH: Final = "/v1/pack-current"
INPUTS: Final = ("cells", "capacity", "power", "state_of_charge", "cell_resistance", "discharge_rating")
WITH_UNITS: Final = {"capacity": "mAh", "power": "W", "cell_resistance": "mohm"}
"""The three inputs that are sent as text with a unit where that is measured."""

HEADERS: Final = "Host: 127.0.0.1\r\nAccept: application/json\r\nUser-Agent: benchmark\r\n"


def columns(rows: int, seed: int = SEED) -> Columns:
    """Packs at half of what they can give or less; about one row in thirteen earns a caution of its own."""
    random = np.random.default_rng(seed)
    cells = random.integers(3, 9, rows)
    capacity = random.integers(400, 6001, rows)
    cell_resistance = np.round(random.uniform(6_000, 14_000, rows) / capacity, 3)  # mohm
    greatest = (3.7 * cells) ** 2 / (4 * cells * cell_resistance / 1000)
    return {
        "cells": cells,
        "capacity": capacity,
        "power": np.round(greatest * random.uniform(0.03, 0.5, rows), 2),
        "state_of_charge": np.round(random.uniform(20, 100, rows), 2),
        "cell_resistance": cell_resistance,
        "discharge_rating": random.integers(40, 151, rows),
    }


def questions(count: int, seed: int = SEED) -> Iterator[dict[str, Any]]:
    """The same as one question each."""
    made = columns(count, seed)
    for values in zip(*(made[name].tolist() for name in INPUTS), strict=True):
        yield dict(zip(INPUTS, values, strict=True))


def with_units(question: Mapping[str, Any]) -> dict[str, Any]:
    """The question with a unit behind three of its numbers."""
    return {n: f"{value} {WITH_UNITS[n]}" if n in WITH_UNITS else value for n, value in question.items()}


def get_request(question: Mapping[str, Any], more_headers: str = "") -> bytes:
    """A whole GET, ready to send."""
    query = "&".join(f"{name}={value}" for name, value in question.items()).replace(" ", "%20")
    return f"GET {PATH}?{query} HTTP/1.1\r\n{HEADERS}{more_headers}\r\n".encode()


def post_request(question: Mapping[str, Any]) -> bytes:
    """A whole POST, ready to send."""
    body = json.dumps(question)
    return (
        f"POST {PATH} HTTP/1.1\r\n{HEADERS}Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n{body}"
    ).encode()
