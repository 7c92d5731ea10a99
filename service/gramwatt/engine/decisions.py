"""What calculators decide once on the inputs as given, whatever the draws of these are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from gramwatt.arrays import ObjectArray
from gramwatt.blocks import use_limits
from gramwatt.engine import budget
from gramwatt.engine.uncertainty import set_values
from gramwatt.model import AnyCalculator


def decide(calculator: AnyCalculator, inputs: Any) -> Mapping[str, ObjectArray]:
    """Fill in what a calculator decides, each decision with those before it, and return all of them by name.

    ``inputs`` are complete otherwise, and the caller's own object. A request with a budget is checked between the
    blocks of a search. Raises TypeError if a decision has another type or shape than (N,) objects.
    """
    decided: dict[str, ObjectArray] = {}
    for name, kind in calculator.decided_fields.items():
        with use_limits(budget.check):
            values, empty = np.asarray(kind.value(inputs)), getattr(inputs, name)
        if values.dtype != empty.dtype or values.shape != empty.shape:
            raise TypeError(f"{calculator.name}: {name} is not an array of {len(empty)} objects")
        set_values(inputs, (name,), values)
        decided[name] = values
    return decided
