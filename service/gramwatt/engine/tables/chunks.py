"""Chunks of a table as columns, and the errors of a table as a whole."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

from gramwatt.engine.column_types import ABSENT, Cells, ConstantColumn, DictionaryColumn, NumericColumn
from gramwatt.engine.limits import MAX_ROW_BYTES
from gramwatt.model.messages import InputError

Source: TypeAlias = Callable[[int], bytes]
"""Reads up to so many bytes of a table; none at its end."""

READ_SIZE: Final = 256 * 1024
"""Bytes of text to read at once."""
BLOCK_ROWS: Final = 16_384
"""Rows to compute at once: their columns stay in the cache of the processor."""
MAX_CHUNK_ROWS: Final = 131_072
"""Rows to compute before they are written: all of them may be invalid."""
MAX_BUFFER: Final = MAX_ROW_BYTES + 2 * 1024 * 1024
"""Bytes to buffer in search of the end of a row."""


PassthroughValues: TypeAlias = Any
"""A column that passes through: a list of JSON values, or an Arrow array."""


class MalformedTable(Exception):
    """The rest of the table cannot be read; the rows before it are valid. ``kind`` is a problem type."""

    def __init__(self, detail: str, kind: str = "malformed-request") -> None:
        super().__init__(detail)
        self.detail, self.kind = detail, kind


class InvalidTable(ValueError):
    """No row of the table can be computed, since its header or columns are invalid. ``errors`` has all errors."""

    def __init__(self, errors: Sequence[InputError]) -> None:
        super().__init__("; ".join(error.detail for error in errors))
        self.errors = tuple(errors)


@dataclass(slots=True)
class Chunk:
    """Consecutive rows of a table. ``cells`` holds columns by the name of an input, or ``<name>_u``."""

    first: int
    """The number of rows before the chunk."""
    rows: int
    cells: Mapping[str, Cells]
    text: bool
    """Whether cells are text (CSV) rather than JSON values; see `engine.cells`."""
    passthrough_columns: Mapping[str, PassthroughValues] = field(default_factory=dict)
    errors: Mapping[int, list[InputError]] = field(default_factory=dict)
    """Errors of whole rows, by row of this chunk."""
    has_header: bool = True
    """Whether every row has these columns; else each row names its own, and the next chunk may have others."""

    def slice(self, start: int, stop: int) -> Chunk:
        """Return the rows from ``start`` to ``stop``."""
        stop = min(stop, self.rows)
        return Chunk(
            self.first + start,
            stop - start,
            {name: slice_cells(cells, start, stop) for name, cells in self.cells.items()},
            self.text,
            {name: passthrough_columns[start:stop] for name, passthrough_columns in self.passthrough_columns.items()},
            {row - start: row_errors for row, row_errors in self.errors.items() if start <= row < stop},
            self.has_header,
        )

    def has_column(self, name: str) -> bool:
        """Return whether the table has a column; if rows name their own, whether the first row does."""
        cells = self.cells[name]
        if self.has_header:
            return True
        if isinstance(cells, NumericColumn):
            return bool(cells.present[0]) or 0 in cells.others
        if isinstance(cells, DictionaryColumn):
            return bool(cells.at[0] >= 0)
        return isinstance(cells, ConstantColumn) or cells[0] is not ABSENT


@dataclass(slots=True)
class BatchResult:
    """Results of consecutive rows.

    ``columns`` has arrays of doubles (nan without a result), indices of choices, or lists of plain values, by name.
    """

    first: int
    rows: int
    passthrough_columns: Mapping[str, PassthroughValues]
    columns: Mapping[str, Any]
    caution_index: Any
    """The index in ``cautions`` of each row."""
    cautions: Sequence[tuple[str, ...]]
    errors: Mapping[int, Sequence[InputError]]


def slice_cells(cells: Cells, start: int, stop: int) -> Cells:
    """Return the rows of a column from ``start`` to ``stop``."""
    if isinstance(cells, NumericColumn):
        others = {row - start: cell for row, cell in cells.others.items() if start <= row < stop}
        unit_at = None if cells.unit_at is None else cells.unit_at[start:stop]
        return NumericColumn(
            cells.numbers[start:stop], cells.present[start:stop], cells.in_units, unit_at, others, cells.bare
        )
    if isinstance(cells, DictionaryColumn):
        return DictionaryColumn(cells.distinct, cells.at[start:stop], cells.bare)
    if isinstance(cells, ConstantColumn):
        return ConstantColumn(cells.cell, stop - start, cells.text)
    return cells[start:stop]
