"""Invented inputs of pack-current, the same on every run; every set of them has results."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt

from benchmarks import http_messages

Columns: TypeAlias = Mapping[str, npt.NDArray[Any]]

SEED: Final = 20_240_229
PATH: Final = "/v1/pack-current"
INPUTS: Final = ("cells", "capacity", "pack_power", "state_of_charge", "cell_resistance", "discharge_rating")
WITH_UNITS: Final = {"capacity": "mAh", "pack_power": "W", "cell_resistance": "mohm"}
"""The three inputs that are sent as text with a unit where that is measured."""


def columns(rows: int, seed: int = SEED) -> Columns:
    """Return packs at half of their maximum power or less; about one row in thirteen has a caution of its own."""
    random = np.random.default_rng(seed)
    cells = random.integers(3, 9, rows)
    capacity = random.integers(400, 6001, rows)
    cell_resistance = np.round(random.uniform(6_000, 14_000, rows) / capacity, 3)  # mohm
    maximum = (3.7 * cells) ** 2 / (4 * cells * cell_resistance / 1000)
    return {
        "cells": cells,
        "capacity": capacity,
        "pack_power": np.round(maximum * random.uniform(0.03, 0.5, rows), 2),
        "state_of_charge": np.round(random.uniform(20, 100, rows), 2),
        "cell_resistance": cell_resistance,
        "discharge_rating": random.integers(40, 151, rows),
    }


def inputs(count: int, seed: int = SEED) -> Iterator[dict[str, Any]]:
    """Yield the same row by row."""
    made = columns(count, seed)
    for values in zip(*(made[name].tolist() for name in INPUTS), strict=True):
        yield dict(zip(INPUTS, values, strict=True))


def with_units(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return the inputs with a unit behind three of the numbers."""
    return {n: f"{value} {WITH_UNITS[n]}" if n in WITH_UNITS else value for n, value in row.items()}


def get_request(row: Mapping[str, Any], more_headers: str = "") -> bytes:
    """Return a GET request of the inputs."""
    return http_messages.get_request(PATH, http_messages.query_of(row), more_headers=more_headers)


def value_request(row: Mapping[str, Any]) -> bytes:
    """Return a GET request of one value, as text."""
    return http_messages.get_request(f"{PATH}/pack_current", http_messages.query_of(row), accept="text/plain")


def post_request(row: Mapping[str, Any]) -> bytes:
    """Return a POST request of the inputs."""
    return http_messages.post_request(PATH, json.dumps(row))
