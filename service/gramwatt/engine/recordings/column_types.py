"""Columns of a recording: their types, and the errors of reading them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from gramwatt.engine.limits import MAX_RECORDING_COLUMNS
from gramwatt.model import Array, BoolArray
from gramwatt.model.messages import InputError


class UnusableRecording(ValueError):
    """The bytes are no recording; ``faults`` says why, by the name of the input or the option."""

    def __init__(self, *errors: InputError) -> None:
        super().__init__("; ".join(error.detail for error in errors))
        self.errors = errors


class MalformedRecording(ValueError):
    """The bytes are not of their format at all."""


@dataclass(frozen=True, slots=True)
class NumberCells:
    """A column whose cells are numbers or empty."""

    values: Array
    """Shape (N,), nan where a cell is empty or not a number."""
    given: BoolArray
    """Shape (N,), whether a cell is not empty."""


TextCells: TypeAlias = list[str | None]
"""A column of which some cells are no numbers; None where a cell is empty."""


class Columns(Protocol):
    """What a format gives: the columns' names, and on demand some of them."""

    @property
    def names(self) -> Sequence[str]:
        """As they were sent, in order."""
        ...

    @property
    def skipped_lines(self) -> int:
        """Lines before the header."""
        ...

    def take(self, positions: Sequence[int]) -> list[NumberCells | TextCells]:
        """Return these columns, in this order."""
        ...


def check_width(names: Collection[str]) -> None:
    """Raise Unusable where a recording has more columns than one may have."""
    if len(names) > MAX_RECORDING_COLUMNS:
        detail = f"{len(names)} columns or more; leave out those that are not needed"
        raise UnusableRecording(InputError("", detail, None, f"up to {MAX_RECORDING_COLUMNS} columns"))
