"""Inputs that no user gives: the standard uncertainty of another field, the deviate of a law, and a decision."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from gramwatt.arrays import ObjectArray
from gramwatt.model.kinds._base import BaseKind, repeat

if TYPE_CHECKING:
    from gramwatt.model.kinds import Kind


@dataclass(frozen=True, slots=True)
class StandardUncertainty(BaseKind):
    """The standard uncertainty that came with a neighbouring quantity, in SI units; zero without one.

    No input that a user gives: for decisions that must weigh it (is it under the limit?). Propagation to the results
    needs no such field.
    """

    of: str
    _: KW_ONLY
    description: str = ""

    kind_name: ClassVar[str] = "spread"
    is_given: ClassVar[bool] = False
    is_result: ClassVar[bool] = False

    @property
    def is_required(self) -> bool:
        """Whether an input must be given; this one cannot be."""
        return False

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the name of the quantity."""
        if self.of not in siblings:
            yield f"standard uncertainty of {self.of}, which does not exist"


@dataclass(frozen=True, slots=True)
class Deviate(BaseKind):
    """How far the truth lies from a law, in units of the law's own scale, which the formula multiplies it by.

    No input that a user gives. It is 0 for the best estimate. Where uncertainty is propagated, it is drawn from the
    standard normal distribution, or evenly from -1/2 to 1/2 (a display read once).
    """

    description: str
    _: KW_ONLY
    even: bool = False

    kind_name: ClassVar[str] = "deviate"
    is_given: ClassVar[bool] = False
    in_rows: ClassVar[bool] = False
    is_result: ClassVar[bool] = False

    @property
    def is_required(self) -> bool:
        """Whether an input must be given; this one cannot be."""
        return False

    def make_empty(self, rows: int) -> Any:
        """Return zeros."""
        return repeat(np.float64(0.0), rows)


@dataclass(frozen=True, slots=True)
class Decided(BaseKind):
    """What a calculator decides on the inputs as given, such as what a search finds: one Python object a request.

    No input that a user gives. It is decided once a request: the draws of uncertain inputs do not change it.
    """

    description: str
    _: KW_ONLY
    value: Callable[[Any], ObjectArray]
    """From the complete inputs of N requests, shape (N,). It may take long: see `gramwatt.blocks`."""

    kind_name: ClassVar[str] = "decided"
    is_given: ClassVar[bool] = False
    in_rows: ClassVar[bool] = False
    is_result: ClassVar[bool] = False

    @property
    def is_required(self) -> bool:
        """Whether an input must be given; this one cannot be."""
        return False

    def make_empty(self, rows: int) -> Any:
        """Return None in each row."""
        return repeat(None, rows)

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the description and with the function."""
        if not self.description:
            yield "a decision needs a description"
        if not callable(self.value):
            yield "value is not a function of the inputs"
        yield from BaseKind.find_input_problems(self, siblings)
