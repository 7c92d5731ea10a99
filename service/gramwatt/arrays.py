"""Array types that declarations and kernels share. All values are in SI units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
"""Values in SI units. Shape (N,) for N requests computed at once; (N, M) inside a list or a table."""
IndexArray: TypeAlias = NDArray[np.intp]
"""Positions in the options of a `Choice`, shape (N,); -1 where none was given."""
BoolArray: TypeAlias = NDArray[np.bool_]
StringArray: TypeAlias = NDArray[np.str_]
ObjectArray: TypeAlias = NDArray[np.object_]
"""One Python object for each request, shape (N,)."""


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit of a constant: ``Annotated[float, Unit("J/(mol K)")]``. Lets a test prove a formula's dimensions."""

    spelling: str
