"""The texts of cautions with their values, for one request or for several entries of a table."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Final

import numpy as np

from gramwatt.engine.evaluate import Outcome
from gramwatt.model import Quantity, units
from gramwatt.model.messages import NOTICE_PLACEHOLDER, add_unit, format_estimate, format_quantity, join_with_and

MAX_LISTED_ENTRIES: Final = 5
MAX_DIGITS: Final = 4
"""Of a result; one without an uncertainty has one digit less."""


def fill_text(text: str, outcome: Outcome, row: int, entries: Sequence[int | None]) -> str:
    """Return the text with values and units for ``{name}``, or for ``{table.column}`` of some entries of tables.

    ``{name:rough}`` has two digits. Values that differ between the entries are listed: ``4 cells and 6 cells: ... 112 %
    and 130 % of ...``.
    """

    def fill(match: re.Match[str]) -> str:
        digits = 2 if match[2] else MAX_DIGITS
        return join_entries([_format_rounded(outcome, row, match[1], at, digits) for at in entries])

    return NOTICE_PLACEHOLDER.sub(fill, text)


def join_entries(texts: Sequence[str]) -> str:
    """Return the texts of the entries of a table for a sentence: one if all are alike, of many only the first."""
    if len(set(texts)) == 1:
        return texts[0]
    more = len(texts) - MAX_LISTED_ENTRIES
    return join_with_and(texts if more <= 0 else [*texts[:MAX_LISTED_ENTRIES], f"{more} more"])


def _format_rounded(outcome: Outcome, row: int, name: str, at: int | None, digits: int) -> str:
    """Return an input, or a result rounded to the place of its uncertainty, with its unit."""
    owner, _, column = name.rpartition(".")
    kind = outcome.calculator.result_fields.get(owner or column)
    kind = kind.columns.get(column) if kind is not None and owner else kind
    if not isinstance(kind, Quantity) or (owner and at is None):
        return format_field(outcome, row, name, digits=5, at=at)
    values = getattr(getattr(outcome.results, owner) if owner else outcome.results, column)[row]
    standard = np.float64(np.nan)
    if outcome.uncertainty is not None and name in outcome.uncertainty.standard:
        standard = outcome.uncertainty.standard[name][row]
    value, uncertainty = (float(each[at] if owner else each) for each in (values, standard + np.zeros_like(values)))
    value = float(units.convert_from_si(np.array(value), kind.unit))
    if not math.isfinite(value):
        return format_quantity(value, kind.unit)
    uncertainty /= units.get_unit(kind.unit).scale
    without = None if kind.unit == "%" else digits
    estimate = format_estimate(value, kind.unit, uncertainty, digits=without, max_digits=digits)
    return add_unit(estimate.value, kind.unit)


def format_field(
    outcome: Outcome, row: int, name: str, digits: int, *, at: int | None = None, absolute: bool = False
) -> str:
    """Return an input or a result of a row with its unit; with ``absolute``, temperatures from zero kelvin."""
    table, _, column = name.rpartition(".")
    owner = table or column
    result_fields = outcome.calculator.result_fields
    kind = result_fields.get(owner) or outcome.calculator.input_fields[owner]
    values = getattr(outcome.results if owner in result_fields else outcome.inputs, owner)
    if kind.columns:
        kind, values = kind.columns[column], getattr(values, column)
    value = values[row] if at is None or not table else values[row][at]
    return kind.format_text(value, digits, absolute=absolute)
