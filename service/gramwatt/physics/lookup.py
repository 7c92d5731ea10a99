"""Entries of a table by position."""

from typing import Any

from gramwatt.declare import Array


def look_up(table: Array, *index: Any) -> Array:
    """``table[index]``, shape (N,) for index arrays of shape (N,), counted from 0."""
    if len(index) == 2:
        found: Array = table.take(index[0] * table.shape[1] + index[1])  # twice as fast as table[index]
    else:
        found = table[index]
    return found
