"""Columns of a recording: their types, and the errors of reading them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from gramwatt.engine.limits import MAX_RECORDING_COLUMNS
from gramwatt.model import Array, BoolArray
from gramwatt.model.messages import InputError


class UnusableRecording(ValueError):
    """The bytes are not a recording. ``errors`` says why, by the name of the input or option."""

    def __init__(self, *errors: InputError) -> None:
        super().__init__("; ".join(error.detail for error in errors))
        self.errors = errors


class MalformedRecording(ValueError):
    """The bytes do not have their format."""


@dataclass(frozen=True, slots=True)
class NumberCells:
    """A column whose cells are numbers or empty."""

    values: Array
    """Shape (N,), nan where a cell is empty or not a number."""
    given: BoolArray
    """Shape (N,), whether a cell is not empty."""


TextCells: TypeAlias = list[str | None]
"""A column with cells that are not numbers; None where a cell is empty."""


class Columns(Protocol):
    """The columns of a recording: their names, and some of them on demand."""

    @property
    def names(self) -> Sequence[str]:
        """The names as sent, in order."""
        ...

    @property
    def skipped_lines(self) -> int:
        """The number of lines before the header."""
        ...

    def take(self, positions: Sequence[int]) -> list[NumberCells | TextCells]:
        """Return these columns in this order."""
        ...


def check_width(names: Collection[str]) -> None:
    """Raise UnusableRecording for too many columns."""
    if len(names) > MAX_RECORDING_COLUMNS:
        detail = f"{len(names)} columns or more; leave out those that are not needed"
        raise UnusableRecording(InputError("", detail, None, f"up to {MAX_RECORDING_COLUMNS} columns"))
