"""From the uncertainty of inputs to that of results, for any formula, in the one call of it that gives the results.

JCGM 100:2008 (GUM), 5.1.2 with the sensitivities of 5.1.3 note 2: the contribution of an input x with standard
uncertainty u is half the difference of the results at x + u and x - u. Inputs are taken as uncorrelated. A step that
would leave the input's bounds is shortened and the difference scaled.

Three steps that know nothing of each other: `repeat_rows` builds the rows, the formula is called once on all of them,
`combine` reduces the stacked results.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.model import AnyCalculator, BoolArray, Quantity, get_fields, units

Path: TypeAlias = tuple[str, ...]
Uncertainties: TypeAlias = dict[Path, NDArray[np.float64]]
"""Standard uncertainties, SI, by the path of the input: ("mass",) (N,), or in a list or a table (N, M)."""

ROUNDING_TOLERANCE: Final = 1e-12
"""Relative differences below this are rounding, not sensitivity."""
MAX_STACKED_NUMBERS: Final = 65_536
"""Numbers that are reduced together; more are reduced result by result, as they would not stay in the cache."""


@dataclass(frozen=True, slots=True)
class PropagatedUncertainty:
    """By result: combined standard uncertainty, SI, in the result's shape; each source's share of its square."""

    rows: BoolArray
    """Which requests have any uncertain input."""
    standard: Mapping[str, NDArray[np.float64]]
    sources: tuple[str, ...]
    """The uncertain inputs, L of them; an entry of a list or a table is ``parts/3/mass``."""
    shares: Mapping[str, NDArray[np.float64]]
    """By result that is one number: (L, N)."""


@dataclass(frozen=True, slots=True)
class RepeatedRows:
    """N rows of inputs, followed by 2 N for each source: moved up, moved down."""

    inputs: Any
    rows: int
    copies: int
    sources: tuple[str, ...]
    scales: NDArray[np.float64]
    """(L, N): standard uncertainty over the step that was taken; 0 where there was none."""
    uncertain: BoolArray
    """Rows with any uncertain input."""


def propagate(
    formula: Callable[[Any, int], Any],
    calculator: AnyCalculator,
    fields: Mapping[str, Any],
    uncertainties: Uncertainties,
) -> tuple[Any, PropagatedUncertainty]:
    """Evaluate a formula on N rows of inputs, and what the uncertainty of those does to its results.

    ``formula`` takes inputs and the number of their rows. ``fields`` holds the columns of the calculator's inputs,
    ``spreads`` at least one standard uncertainty. Returns the formula's results, N rows, and their uncertainty. Call it
    with numpy's floating-point warnings off.
    """
    repeated = repeat_rows(calculator, fields, uncertainties)
    results = formula(repeated.inputs, repeated.rows * repeated.copies)
    numeric = [
        (name, getattr(results, column) if table is None else getattr(getattr(results, table), column))
        for name, table, column in _numeric(calculator)
    ]
    standard: dict[str, NDArray[np.float64]] = {}
    shares: dict[str, NDArray[np.float64]] = {}
    together = sum(values.size for _, values in numeric) <= MAX_STACKED_NUMBERS
    for group in [numeric] if together else [[each] for each in numeric]:
        stacked = _stack([values for _, values in group], repeated)
        widths, parts = combine(stacked, repeated.scales)
        start = 0
        for name, values in group:
            if values.ndim == 1:
                standard[name], shares[name] = widths[start], parts[start]
                start += 1
            else:
                stop = start + values.shape[1]
                standard[name] = widths[start:stop].T
                start = stop
    return _head(results, repeated.rows), PropagatedUncertainty(repeated.uncertain, standard, repeated.sources, shares)


def combine(
    results: NDArray[np.float64], scales: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Reduce the results of repeated rows to standard uncertainties (K, N) and the shares of their squares (K, L, N).

    ``results`` has shape (K, 1 + 2 L, N), in the order of `RepeatedRows`, ``scales`` (L, N).
    """
    up = results[:, 1::2]
    differences = up - results[:, 2::2]
    is_significant = (np.abs(differences) > ROUNDING_TOLERANCE * np.abs(up)) & (scales != 0)
    squares = np.where(is_significant, differences * scales, 0.0)
    squares *= squares
    variance = squares.sum(axis=1)
    shares = np.where(variance[:, None] > 0, squares / variance[:, None], 0.0)
    return np.sqrt(variance), shares


def repeat_rows(calculator: AnyCalculator, fields: Mapping[str, Any], uncertainties: Uncertainties) -> RepeatedRows:
    """Build the rows on which a formula is evaluated: as given, then each uncertain input moved up and down."""
    sources = tuple((path, at) for path, uncertainty in uncertainties.items() for at in _positions(uncertainty))
    steps = _steps(calculator, sources)
    rows = next(iter(uncertainties.values())).shape[0]
    copies = 1 + 2 * len(sources)
    repeated = _repeat(fields, rows, copies)
    columns = [_column(repeated, path, at) for path, at in sources]
    values = np.array([column[:rows] for column in columns])
    widths = np.array([uncertainties[path] if at is None else uncertainties[path][:, at] for path, at in sources])
    moved = steps.move(values, widths)
    for index, column in enumerate(columns):
        start = (1 + 2 * index) * rows
        column[start : start + rows], column[start + rows : start + 2 * rows] = moved[0, index], moved[1, index]
    step = moved[0] - moved[1]
    scales = np.where(np.isfinite(step) & (step != 0), widths / step, 0.0)
    inputs = calculator.inputs(**repeated)
    return RepeatedRows(inputs, rows, copies, steps.sources, scales, np.asarray(widths.any(axis=0)))


@dataclass(frozen=True, slots=True)
class _Steps:
    """How some sources are moved: their names and bounds, SI, shape (L, 1); None where none has such a bound."""

    sources: tuple[str, ...]
    at_least: NDArray[np.float64] | None
    above: NDArray[np.float64] | None
    at_most: NDArray[np.float64] | None
    below: NDArray[np.float64] | None

    def move(self, values: NDArray[np.float64], widths: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values (L, N) moved up and down, (2, L, N): within closed bounds and at most half way to open ones."""
        moved = np.array((values + widths, values - widths))
        if self.at_least is not None:
            np.maximum(moved, self.at_least, out=moved)
        if self.above is not None:
            np.maximum(moved, (values + self.above) / 2, out=moved)
        if self.at_most is not None:
            np.minimum(moved, self.at_most, out=moved)
        if self.below is not None:
            np.minimum(moved, (values + self.below) / 2, out=moved)
        return moved


@functools.lru_cache(maxsize=1024)
def _steps(calculator: AnyCalculator, sources: tuple[tuple[Path, int | None], ...]) -> _Steps:
    kinds = [_kind(calculator, path) for path, _ in sources]
    names = tuple("/".join((path[0], *([] if at is None else [str(at)]), *path[1:])) for path, at in sources)

    def edges(bound: str, nothing: float) -> NDArray[np.float64] | None:
        results = [(getattr(kind, bound), units.get_unit(kind.unit)) for kind in kinds]
        edge = np.array([[nothing if value is None else unit.to_si(value)] for value, unit in results])
        return edge if np.isfinite(edge).any() else None

    return _Steps(
        names,
        edges("at_least", -math.inf),
        edges("above", -math.inf),
        edges("at_most", math.inf),
        edges("below", math.inf),
    )


@functools.cache
def _numeric(calculator: AnyCalculator) -> tuple[tuple[str, str | None, str], ...]:
    """Return the numeric results: name, which of a table is ``packs.endurance``, table if any, and field."""
    fields: list[tuple[str, str | None, str]] = []
    for name, kind in calculator.result_fields.items():
        if kind.has_numbers:
            fields.append((name, None, name))
        fields += [(f"{name}.{inner}", name, inner) for inner, column in kind.columns.items() if column.has_numbers]
    return tuple(fields)


def _stack(values: list[NDArray[np.float64]], repeated: RepeatedRows) -> NDArray[np.float64]:
    """Numeric results (n,) and (n, M) of repeated rows as one array (K, copies, rows)."""
    flat = np.concatenate([each if each.ndim == 1 else each.T.reshape(-1) for each in values])
    return flat.reshape((-1, repeated.copies, repeated.rows))


def _positions(uncertainty: NDArray[np.float64]) -> list[int | None]:
    """Return the uncertain entries of a list; a plain input counts as one entry, None."""
    return [None] if uncertainty.ndim == 1 else [int(at) for at in np.flatnonzero((uncertainty > 0).any(axis=0))]


def _repeat(fields: Mapping[str, Any], rows: int, copies: int) -> dict[str, Any]:
    """Columns of inputs repeated along their first axis, as copies that may be written to."""
    repeated: dict[str, Any] = {}
    for name, value in fields.items():
        if not isinstance(value, np.ndarray):
            inner = {each: getattr(value, each) for each in get_fields(type(value))}
            repeated[name] = type(value)(**_repeat(inner, rows, copies))
        elif rows > 1:
            repeated[name] = np.concatenate([value] * copies)
        else:
            repeated[name] = value.repeat(copies) if value.ndim == 1 else value.repeat(copies, axis=0)
    return repeated


def _column(fields: Mapping[str, Any], path: Path, at: int | None) -> NDArray[np.float64]:
    """Return the numbers of one source in columns of inputs, as a view (n,)."""
    values = functools.reduce(getattr, path[1:], fields[path[0]])
    view: NDArray[np.float64] = values if at is None else values[:, at]
    return view


def _head(results: Any, rows: int) -> Any:
    """Return the first rows of results."""
    if isinstance(results, np.ndarray):
        return results[:rows]
    heads = [_head(getattr(results, name), rows) for name in get_fields(type(results))]
    return type(results)(*heads)


def _kind(calculator: AnyCalculator, path: Path) -> Quantity:
    kind = calculator.input_fields[path[0]]
    quantity = (kind.columns[path[1]] if kind.columns else kind).quantity
    if quantity is None:
        raise TypeError(f"{path} is not a quantity")
    return quantity
