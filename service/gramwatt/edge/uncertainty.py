"""From the uncertainty of inputs to that of results, for any formula, in one more call of it.

JCGM 100:2008 (GUM), 5.1.2 with the sensitivities of 5.1.3 note 2: the contribution of an input x with standard
uncertainty u is half the difference of the results at x + u and x - u. Inputs are taken as uncorrelated. A step that
would leave the input's bounds is shortened and the difference scaled.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gramwatt.declare import Calculator, Count, Kind, Quantity, Series, Table, Truths, fields_of
from gramwatt.edge import units

Path = tuple[str, ...]

LAST_BITS: Final = 1e-12
"""Relative differences below this are rounding, not sensitivity."""


@dataclass(frozen=True, slots=True)
class Propagated:
    """By numeric result: combined standard uncertainty, SI, in the result's shape; each input's share of its square.

    A share's key is the input's name, or for an entry of a list or table ``parts/3/mass``.
    """

    rows: Truths
    """Which questions have any uncertain input."""
    standard: Mapping[str, NDArray[np.float64]]
    shares: Mapping[str, Mapping[str, NDArray[np.float64]]]


def propagate(
    formula: Callable[[Any], Any],
    calculator: Calculator[Any, Any],
    given: Any,
    spreads: Mapping[Path, NDArray[np.float64]],
) -> Propagated | None:
    """Propagate standard uncertainties ``spreads`` (SI, by path of the input) through the formula; None without any."""
    levers = [(path, at) for path, spread in spreads.items() for at in _positions(spread)]
    if not levers:
        return None
    rows = next(iter(spreads.values())).shape[0]
    repeated = _tile(given, 2 * len(levers))
    scales = []
    for index, (path, at) in enumerate(levers):
        kind = _kind(calculator, path)
        values, spread = _get(repeated, path), spreads[path] if at is None else spreads[path][:, at]
        here = values if at is None else values[:, at]
        up, down = (slice((2 * index + side) * rows, (2 * index + side + 1) * rows) for side in (0, 1))
        here[up], here[down] = _step(kind, here[up], spread), _step(kind, here[down], -spread)
        step = here[up] - here[down]
        with np.errstate(all="ignore"):
            scales.append(np.where(np.isfinite(step) & (step != 0), spread / step, 0.0))
    moved = formula(repeated)
    names = ["/".join((path[0], *([] if at is None else [str(at)]), *path[1:])) for path, at in levers]
    standard: dict[str, NDArray[np.float64]] = {}
    shares: dict[str, dict[str, NDArray[np.float64]]] = {}
    for name, values in _numeric(moved, calculator.answered):
        parts = values.reshape((len(levers), 2, rows, *values.shape[1:]))
        scale = np.stack(scales).reshape((len(levers), rows) + (1,) * (values.ndim - 1))
        with np.errstate(all="ignore"):
            moves = parts[:, 0] - parts[:, 1]
            moves = np.where(np.abs(moves) > LAST_BITS * np.abs(parts[:, 0]), moves, 0.0)
            contributions = np.where(scale != 0, moves * scale, 0.0)
            variance = (contributions**2).sum(axis=0)
            standard[name] = np.sqrt(variance)
        if values.ndim == 1:
            with np.errstate(all="ignore"):
                each = np.where(variance > 0, contributions**2 / variance, 0.0)
            shares[name] = {lever: each[index] for index, lever in enumerate(names)}
    uncertain = np.logical_or.reduce([spread.reshape(rows, -1).any(axis=1) for spread in spreads.values()])
    return Propagated(uncertain, standard, shares)


def _numeric(results: Any, fields: Mapping[str, Kind], prefix: str = "") -> Iterator[tuple[str, NDArray[np.float64]]]:
    """The numeric results by name; those of a table as ``packs.endurance``."""
    for name, kind in fields.items():
        if isinstance(kind, Table):
            yield from _numeric(getattr(results, name), fields_of(kind.row), f"{name}.")
        elif isinstance(kind, Quantity | Count | Series):
            yield prefix + name, getattr(results, name)


def _positions(spread: NDArray[np.float64]) -> list[int | None]:
    """One lever for a plain input; one for each uncertain entry of a list."""
    return [None] if spread.ndim == 1 else [int(at) for at in np.flatnonzero((spread > 0).any(axis=0))]


def _tile(value: Any, times: int) -> Any:
    """The inputs repeated along their first axis, as copies that may be written to."""
    if not isinstance(value, np.ndarray):
        fields = {field.name: _tile(getattr(value, field.name), times) for field in dataclasses.fields(value)}
        return type(value)(**fields)
    return np.concatenate([value] * times, axis=0)


def _get(inputs: Any, path: Path) -> Any:
    for name in path:
        inputs = getattr(inputs, name)
    return inputs


def _kind(calculator: Calculator[Any, Any], path: Path) -> Quantity:
    kind: Kind = calculator.asked[path[0]]
    if isinstance(kind, Table):
        kind = fields_of(kind.row)[path[1]]
    if isinstance(kind, Series):
        kind = kind.item
    if not isinstance(kind, Quantity):
        raise TypeError(f"{path} is not a quantity")
    return kind


def _step(kind: Quantity, values: NDArray[np.float64], by: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values moved by a step, kept within closed bounds and at most half way to open ones."""
    unit = units.unit(kind.unit)
    moved = values + by
    for bound, closed, keep in (
        (kind.at_least, True, np.maximum),
        (kind.above, False, np.maximum),
        (kind.at_most, True, np.minimum),
        (kind.below, False, np.minimum),
    ):
        if bound is not None:
            edge = unit.to_si(bound)
            moved = keep(moved, edge if closed else (values + edge) / 2)
    return moved
