"""Which results may have no value, and which requests leave any other result without a finite one."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np

from gramwatt.engine.column_types import all_true
from gramwatt.model import AnyCalculator, Kind, NumberList, Table
from gramwatt.model.messages import InputError

LARGEST: Final = 1e280
"""Numbers from this on may not be finite in another unit."""
_ERROR: Final = InputError(
    "",
    "Some inputs are so great or so small that the results are beyond the range of numbers",
    None,
    "more usual values",
)


@functools.cache
def list_nullable(calculator: AnyCalculator) -> frozenset[str]:
    """Return the results that have no value for some valid inputs; a column of a table as ``by_setup.endurance``.

    A rule says why, or they need an optional input.
    """
    explained = {name for rule in calculator.rules for name in rule.results}
    return frozenset({*explained, *(name for name, kind in _list_values(calculator) if kind.needs or kind.optional)})


def _list_values(calculator: AnyCalculator) -> Iterator[tuple[str, Kind]]:
    """Yield the results that are no tables, and the columns of those that are."""
    for name, kind in calculator.result_fields.items():
        if isinstance(kind, Table):
            yield from ((f"{name}.{column}", inner) for column, inner in kind.columns.items())
        else:
            yield name, kind


@functools.cache
def _list_certain(calculator: AnyCalculator) -> tuple[tuple[str, ...], ...]:
    """Return the path to each numeric result that every valid request has."""
    nullable = list_nullable(calculator)
    numbers = [name for name, kind in _list_values(calculator) if kind.is_numeric or isinstance(kind, NumberList)]
    certain = [name for name in numbers if name not in nullable and name.partition(".")[0] not in nullable]
    return tuple(tuple(name.split(".")) for name in certain)


def find_unbounded(calculator: AnyCalculator, results: Any, rows: int) -> Mapping[int, Sequence[InputError]]:
    """Return an error for each of the requests without a finite value of a result that all should have."""
    finite = all_true(rows)
    for path in _list_certain(calculator):
        values = functools.reduce(getattr, path, results)
        within = np.abs(values) < LARGEST
        finite = finite & (within if within.ndim == 1 else within.reshape(rows, -1).all(axis=1))
    if finite.all():
        return {}
    return {row: [_ERROR] for row in np.flatnonzero(~finite).tolist()}
