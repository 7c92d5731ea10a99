"""Entries of a table by position."""

from typing import Any

from gramwatt.declare import Array


def look_up(table: Array, *index: Any) -> Array:
    """``table[index]``, shape (N,) for index arrays of shape (N,).

    An index that stands for a value not yet known (see `edge.scalar`) brings its own way of looking it up.
    """
    own = getattr(index[-1], "look_up", None)
    found: Array = table[index] if own is None else own(table, index)
    return found
