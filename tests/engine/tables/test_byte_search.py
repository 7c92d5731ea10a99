"""Counting letters among many bytes gives what the methods of bytes give."""

from __future__ import annotations

import numpy as np
import pytest

from gramwatt.engine.tables import byte_search

LENGTHS = (0, 1, 2, 3, 100, byte_search.BLOCK - 1, byte_search.BLOCK, byte_search.BLOCK + 1, 2 * byte_search.BLOCK + 2)


def texts(alphabet: bytes) -> list[bytes]:
    chance = np.random.default_rng(1)
    return [bytes(chance.choice(np.frombuffer(alphabet, np.uint8), length)) for length in LENGTHS]


@pytest.mark.parametrize("wanted", [b",", b'":', b"\n"])
def test_counts(wanted: bytes) -> None:
    for text in texts(b'x,":\n'):
        assert byte_search.count(text, wanted) == text.count(wanted)


def test_byte_search_across_two_blocks() -> None:
    assert byte_search.count(b"x" * (byte_search.BLOCK - 1) + b'":' + b"x" * 10, b'":') == 1
