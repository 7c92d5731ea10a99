"""What passes between the stages: a piece of a table as columns, and what broke a table off."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

from gramwatt.engine.column_types import ABSENT, Cells, ConstantColumn, DictionaryColumn, NumericColumn
from gramwatt.engine.limits import LONGEST_ROW
from gramwatt.engine.messages import InputError

Source: TypeAlias = Callable[[int], bytes]
"""Gives up to so many bytes of the table; none at its end."""

PIECE: Final = 256 * 1024
"""Bytes of text read at once."""
BLOCK: Final = 16_384
"""Rows answered at once: their columns stay in the processor's cache."""
MOST_ROWS: Final = 131_072
"""Rows answered before they are written: all of them may have faults."""
MOST_HELD: Final = LONGEST_ROW + 2 * 1024 * 1024
"""Bytes that are read on in search of the end of a row."""


PassthroughColumn: TypeAlias = Any
"""A column passed through: a list of JSON values, or an Arrow array."""


class MalformedTable(Exception):
    """The table cannot be read any further; the rows before it stand. ``kind`` is a type of problem."""

    def __init__(self, detail: str, kind: str = "malformed-request") -> None:
        super().__init__(detail)
        self.detail, self.kind = detail, kind


class Unreadable(ValueError):
    """No row of the table can be answered: its header or its columns are wrong; ``faults`` says everything."""

    def __init__(self, errors: Sequence[InputError]) -> None:
        super().__init__("; ".join(error.detail for error in errors))
        self.errors = tuple(errors)


@dataclass(slots=True)
class Chunk:
    """Consecutive rows. ``cells`` by name of an input, or ``<name>_u``; ``kept`` holds the columns passed through."""

    first: int
    """How many rows of the table came before."""
    rows: int
    cells: Mapping[str, Cells]
    text: bool
    """Whether cells are words (CSV) rather than JSON values; see `edge.cells`."""
    kept: Mapping[str, PassthroughColumn] = field(default_factory=dict)
    errors: Mapping[int, list[InputError]] = field(default_factory=dict)
    """What is wrong with a row as a whole, by row of this chunk."""
    headed: bool = True
    """Whether every row has these columns; else each row names its own, and those of the next chunk may be others."""

    def rows_from(self, start: int, stop: int) -> Chunk:
        """Some of the rows."""
        stop = min(stop, self.rows)
        return Chunk(
            self.first + start,
            stop - start,
            {name: part(cells, start, stop) for name, cells in self.cells.items()},
            self.text,
            {name: kept[start:stop] for name, kept in self.kept.items()},
            {row - start: found for row, found in self.errors.items() if start <= row < stop},
            self.headed,
        )

    def gives(self, name: str) -> bool:
        """Whether a column is there; where rows name their own, whether the first one does."""
        cells = self.cells[name]
        if self.headed:
            return True
        if isinstance(cells, NumericColumn):
            return bool(cells.present[0]) or 0 in cells.others
        if isinstance(cells, DictionaryColumn):
            return bool(cells.at[0] >= 0)
        return isinstance(cells, ConstantColumn) or cells[0] is not ABSENT


def part(cells: Cells, start: int, stop: int) -> Cells:
    """Some rows of a column."""
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
