"""Search bytes with numpy, several times as fast as the methods of bytes."""

from __future__ import annotations

from typing import Final

import numpy as np

BLOCK: Final = 128 * 1024
"""Bytes to search at once: they stay in the cache of the processor."""


def count(text: bytes, letters: bytes) -> int:
    """Return ``text.count(letters)``. The letters must all differ."""
    codes = np.frombuffer(text, np.uint8)
    last = len(codes) - len(letters) + 1  # those after it have too few after them
    many = 0
    for start in range(0, last, BLOCK):
        stop = min(start + BLOCK, last)
        matches = codes[start:stop] == letters[0]
        for offset, letter in enumerate(letters[1:], 1):
            matches &= codes[start + offset : stop + offset] == letter
        many += int(np.count_nonzero(matches))
    return many
