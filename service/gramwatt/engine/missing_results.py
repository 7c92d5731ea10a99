"""Which results may have no value, and which requests leave any other result without a finite one."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np

from gramwatt.model import AnyCalculator, Kind, NumberList, Table, get_label
from gramwatt.model.messages import InputError

LARGEST: Final = 1e280
"""Numbers from this on may not be finite in another unit."""


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
    """Return an error for each of the requests without a finite value of a result that all others have."""
    errors: dict[int, list[InputError]] = {}
    for path in _list_certain(calculator):
        within = np.abs(functools.reduce(getattr, path, results)) < LARGEST
        finite = within if within.ndim == 1 else within.reshape(rows, -1).all(axis=1)
        for row in () if finite.all() else np.flatnonzero(~finite).tolist():
            errors.setdefault(row, [_make_error(calculator, path)])
    return errors


@functools.cache
def _make_error(calculator: AnyCalculator, path: tuple[str, ...]) -> InputError:
    kind = calculator.result_fields[path[0]]
    label = get_label(path[-1], kind.columns[path[-1]] if len(path) > 1 else kind)
    return InputError("", f"{label} has no finite value for these inputs", None, "other inputs")
