"""Entries of a table by position."""

from typing import Any

from gramwatt.declare import Array


def look_up(table: Array, *index: Any) -> Array:
    """``table[index]``, shape (N,) for index arrays of shape (N,), counted from 0.

    An index that stands for a value not yet known (see `edge.scalar`) brings its own way of looking it up.
    """
    own = getattr(index[-1], "look_up", None)
    if own is not None:
        found: Array = own(table, index)
    elif len(index) == 2:
        found = table.take(index[0] * table.shape[1] + index[1])  # twice as fast as table[index]
    else:
        found = table[index]
    return found
