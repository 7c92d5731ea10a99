"""Choose how many rows of a table to compute at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gramwatt.engine.column_types import Cells, NumericColumn
from gramwatt.engine.limits import MAX_STACKED_ROWS
from gramwatt.engine.sources import may_vary
from gramwatt.engine.tables.chunks import BLOCK_ROWS
from gramwatt.model import Calculator, Quantity

MIN_BLOCK_ROWS: Final = 16


def get_block_rows(calculator: Calculator[Any, Any], cells: Mapping[str, Cells], draws: int) -> int:
    """Return how many rows of a table to compute at once so that the formula sees at most `MAX_STACKED_ROWS`.

    ``cells`` are the columns; plain numbers carry no uncertainty.
    """
    given = {name for name in cells if name in calculator.input_fields}
    plain = {name for name in given if isinstance(column := cells[name], NumericColumn) and not column.others}
    uncertain = any(isinstance(calculator.input_fields[name], Quantity) for name in given - plain)
    if not uncertain and len(given) == len(cells) and not may_vary(calculator, given):
        return BLOCK_ROWS
    return min(BLOCK_ROWS, max(MIN_BLOCK_ROWS, MAX_STACKED_ROWS // draws))
