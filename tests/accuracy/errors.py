"""What comparisons of calculated with known values have in common."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gramwatt.model import Array


@dataclass(frozen=True, slots=True)
class Errors:
    """Relative errors, calculated over known less one."""

    values: Array

    @classmethod
    def of(cls, calculated: Sequence[float] | Array, known: Sequence[float] | Array) -> "Errors":
        """Errors of calculated against known values."""
        return cls(np.asarray(calculated, dtype=np.float64) / np.asarray(known, dtype=np.float64) - 1)

    def __post_init__(self) -> None:
        """Reject a comparison of nothing, or with nan in it, which would look like a good one."""
        if not self.values.size or not np.isfinite(self.values).all():
            raise ValueError("errors need finite values")

    @property
    def count(self) -> int:
        """How many."""
        return int(self.values.size)

    @property
    def bias(self) -> float:
        """Their mean."""
        return float(self.values.mean())

    @property
    def rms(self) -> float:
        """Root of the mean of their squares."""
        return float(np.sqrt((self.values**2).mean()))

    @property
    def worst(self) -> float:
        """The one farthest from zero, with its sign."""
        return float(self.values[np.abs(self.values).argmax()])

    def within(self, bound: float) -> int:
        """How many are no larger than a bound."""
        return int((np.abs(self.values) <= bound).sum())
