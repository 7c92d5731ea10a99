"""The kinds of field with several values: lists, tables, recordings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass
from typing import TYPE_CHECKING, Any, ClassVar, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array
from gramwatt.model.kinds._base import BaseKind, find_row_problems, get_fields
from gramwatt.model.kinds.quantity import Quantity

if TYPE_CHECKING:
    from gramwatt.model.kinds import Kind

RecordingArray: TypeAlias = NDArray[np.object_]
"""Of a `TimeSeries`, shape (N,): a `Recording` each, None where none was given."""


@dataclass(frozen=True, slots=True)
class NumberList(BaseKind):
    """A list of quantities of one kind. The formula gets shape (N, M); M = 0 where none was given."""

    item: Quantity
    description: str
    _: KW_ONLY
    min_length: int = 1
    max_length: int = 1000

    kind_name: ClassVar[str] = "series"
    is_nested: ClassVar[bool] = True

    @property
    def quantity(self) -> Quantity:
        """The quantity of each entry."""
        return self.item

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        return f"a list of {self.min_length} to {self.max_length} values, each {self.item.describe_accepted()}"

    def make_empty(self, rows: int) -> Any:
        """Return lists without entries."""
        return np.zeros((rows, 0))

    def get_units(self, name: str) -> dict[str, str]:
        """Return the declared unit of the entries, by name."""
        return {name: self.item.unit}

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the entries."""
        yield from self.item.find_input_problems(siblings)
        yield from BaseKind.find_input_problems(self, siblings)

    def find_result_problems(self, inputs: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the bounds of the entries and with the texts."""
        yield from self.item.find_bound_problems()
        yield from BaseKind.find_result_problems(self, inputs)


@dataclass(frozen=True, slots=True)
class RowCount:
    """How many rows a table of results will have, known before they are made, so that a service can reject too many."""

    rows: Callable[[Any], Array]
    """From N complete inputs, shape (N,); must cost little."""
    how_to_reduce: str
    """How to ask for fewer, as an imperative."""


@dataclass(frozen=True, slots=True)
class ChosenBy:
    """How a request chooses a row of a table in a craft document: by its ``name``, without a choice the first.

    The columns of the chosen row stand for the inputs of the same name.
    """

    member: str
    """The member of the request that holds the name: ``pack``."""
    stands_for: tuple[tuple[str, str], ...] = ()
    """Columns that stand for an input of another name, each with that one; "" for none."""
    needs: str = ""
    """An input. A calculator that has it takes the columns by their own names, any other only those of `stands_for`."""
    names_rows_of: tuple[str, ...] = ()
    """Tables whose rows a row may name, each by the member that chooses it; the row takes what it lacks from there."""


@dataclass(frozen=True, slots=True)
class Table(BaseKind):
    """Rows of named fields, of inputs or of results. The formula gets one dataclass whose arrays have shape (N, M)."""

    row: type[Any]
    description: str
    _: KW_ONLY
    min_length: int = 1
    max_length: int = 1000
    any_of: tuple[tuple[str, ...], ...] = ()
    """Of inputs: groups of optional fields of which each row must give at least one."""
    standalone: bool = False
    """Of results: in CSV its rows hold nothing but their own columns, under their own names, as there are so many."""
    length: RowCount | None = None
    """Of results, if their number does not follow from that of the entries among the inputs."""
    chosen_by: ChosenBy | None = None
    """Of inputs: how a request chooses one row of this table in a craft document."""
    row_label: str = "row"
    """Of inputs: what people call one row, such as ``pack``."""

    kind_name: ClassVar[str] = "table"
    is_nested: ClassVar[bool] = True
    fits_query: ClassVar[bool] = False

    @property
    def columns(self) -> Mapping[str, Kind]:
        """The fields of a row."""
        return get_fields(self.row)

    @property
    def input_columns(self) -> Mapping[str, Kind]:
        """The fields of a row that a request may give, without the standard uncertainties that come with them."""
        return {name: kind for name, kind in self.columns.items() if kind.is_given}

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        return f"a list of {self.min_length} to {self.max_length} objects"

    def make_empty(self, rows: int) -> Any:
        """Return tables without rows."""
        return self.row(
            **{name: np.zeros((rows, 0), dtype=kind.make_empty(1).dtype) for name, kind in self.columns.items()}
        )

    def get_units(self, name: str) -> dict[str, str]:
        """Return the declared units of the columns, by name."""
        return {
            f"{name}.{inner}": unit
            for column, kind in self.columns.items()
            for inner, unit in kind.get_units(column).items()
        }

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the fields of a row."""
        columns = self.columns
        yield from find_row_problems(columns)
        yield from (f"any_of names {n}, which does not exist" for g in self.any_of for n in g if n not in columns)
        yield from BaseKind.find_input_problems(self, siblings)

    def find_result_problems(self, inputs: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the columns; a text needs no method, as it comes from the inputs."""
        for name, kind in self.columns.items():
            if kind.dtype_kinds != "UT":
                yield from (f"{name}: {problem}" for problem in kind.find_result_problems(inputs))
        if self.length is not None and not any(kind.is_nested for kind in inputs.values()):
            yield "a length of its own needs inputs that are read one request at a time"


@dataclass(frozen=True, slots=True)
class TimeSeries(BaseKind):
    """A recording: columns of numbers over time, as a flight leaves them. The formula gets a `RecordingArray`.

    ``row`` declares its channels as quantities, the time first; optional ones may be missing. Cells that cannot be
    read, or are out of bounds, are no errors: they are left out and counted, since every recording has holes.
    """

    row: type[Any]
    description: str
    _: KW_ONLY
    max_length: int = 5_000_000

    kind_name: ClassVar[str] = "samples"
    is_nested: ClassVar[bool] = True
    fits_query: ClassVar[bool] = False
    is_result: ClassVar[bool] = False
    dtype_kinds: ClassVar[str] = "O"

    @property
    def columns(self) -> Mapping[str, Kind]:
        """The channels."""
        return get_fields(self.row)

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        return f"an object of lists of numbers: {', '.join(self.columns)}"

    def make_empty(self, rows: int) -> Any:
        """Return None in each row."""
        values = np.full(rows, None, dtype=np.object_)
        values.flags.writeable = False
        return values

    def to_json(self, value: Any) -> dict[str, Any] | None:
        """Return a summary of one recording."""
        return None if value is None else {"samples": value.rows, "columns": list(value.columns)}

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the channels."""
        channels = self.columns
        if not channels or not all(isinstance(channel, Quantity) for channel in channels.values()):
            yield "the channels of a recording are quantities, the time first"
        yield from find_row_problems(channels)
        yield from BaseKind.find_input_problems(self, siblings)


@dataclass(frozen=True, slots=True)
class UnreadableCells:
    """Cells of a column that were left out for one reason: how many, and the first of them, by row from 1."""

    column: str
    reason: str
    """``no-number`` or ``out-of-bounds``; an empty cell is neither, only nan."""
    count: int
    first_row: int
    first_text: str


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Recording:
    """A recording as it was read. Two are equal only if they are identical, so that a formula may work once on each."""

    samples: Any
    """The declared row: each channel (S,) in SI units, nan where nothing was read."""
    rows: int
    columns: tuple[str, ...]
    """The channels that it has."""
    unread: tuple[UnreadableCells, ...] = ()
    unused: tuple[str, ...] = ()
    """Columns that no channel is read from."""
    skipped_lines: int = 0
    """Lines before the header."""
