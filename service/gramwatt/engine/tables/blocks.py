"""Choose how many rows of a table to compute at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gramwatt.engine.column_types import Cells, NumericColumn
from gramwatt.engine.limits import MAX_STACKED_ROWS
from gramwatt.engine.tables.chunks import BLOCK_ROWS
from gramwatt.model import Calculator, Quantity

MIN_BLOCK_ROWS: Final = 256


def count_uncertain_defaults(calculator: Calculator[Any, Any], given: set[str]) -> int:
    """Count the inputs that are not given and whose default carries an uncertainty."""
    defaults = {
        name
        for name, kind in calculator.input_fields.items()
        if isinstance(kind, Quantity) and kind.has_uncertain_default
    }
    defaults |= {assumption.name for assumption in calculator.assumptions if assumption.is_uncertain}
    return len(defaults - given)


def get_block_rows(calculator: Calculator[Any, Any], cells: Mapping[str, Cells]) -> int:
    """Return how many rows of a table to compute at once so that the formula sees at most `MAX_STACKED_ROWS`.

    ``cells`` are the columns; plain numbers carry no uncertainty.
    """
    given = {name for name in cells if name in calculator.input_fields}
    plain = {name for name in given if isinstance(column := cells[name], NumericColumn) and not column.others}
    deviations = {name for name in cells if name not in given}
    uncertain = {name for name in given - plain if isinstance(calculator.input_fields[name], Quantity)}
    copies = 1 + 2 * (
        len(uncertain | {name.removesuffix("_u") for name in deviations}) + count_uncertain_defaults(calculator, given)
    )
    return min(BLOCK_ROWS, max(MIN_BLOCK_ROWS, MAX_STACKED_ROWS // copies))
