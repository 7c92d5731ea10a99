"""From the distributions of inputs to those of results, for any formula.

JCGM 101:2008, propagation of distributions: every uncertain input is drawn n times, the formula is evaluated once on
all draws as rows, and the results are reduced to standard deviations and percentiles. Inputs are independent. The draws
are fixed (`draws`), so the same request gives the same response.

- A value given as x ± u is normal, cut at the bounds of its input (JCGM 101, 6.4.7; the cut is the knowledge that the
  bounds hold).
- A positive value known to a factor is log-normal.
- A reading of a display is even over one step (JCGM 101, 6.4.2).
- An assumed value is computed from the draws of the inputs that it follows, then varied by its own distribution.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.draws import get_entry_strata, get_strata, make_quantiles
from gramwatt.engine.reduction import attribute_variance, reduce_draws
from gramwatt.model import AnyCalculator, Array, BoolArray, Deviate, Kind, get_fields, units
from gramwatt.physics.statistics import normal_cumulative, normal_quantile

Path: TypeAlias = tuple[str, ...]
Uncertainties: TypeAlias = dict[Path, NDArray[np.float64]]
"""Standard uncertainties, SI, by the path of the input: ("mass",) (N,), or in a list or a table (N, M)."""

MIN_EXPLAINED: Final = 0.01
"""Share of draws without a result above which a response says so."""
_NEAR: Final = 6.0
"""Standard uncertainties from a bound within which a normal distribution is cut."""

Shape: TypeAlias = Literal["normal", "log-normal", "even"]


@dataclass(frozen=True, slots=True)
class Source:
    """One uncertain input, or a column of entries that are uncertain independently of each other."""

    path: Path
    label: str
    """Its name among the shares; ``*`` stands for the number of an entry: ``/parts/*/mass``."""
    draw: str
    """The name of its draws: inputs of the same name have the same ones."""
    shape: Shape
    width: NDArray[np.float64]
    """Standard uncertainty, that of the logarithm, or the whole width of an even distribution: (N,) or (N, M)."""


@dataclass(frozen=True, slots=True)
class PropagatedUncertainty:
    """By result, in its shape: N requests, or N of M entries. nan where no draw has a result."""

    rows: BoolArray
    """Which requests have any uncertain input."""
    standard: Mapping[str, NDArray[np.float64]]
    """Standard deviation, SI."""
    low: Mapping[str, NDArray[np.float64]]
    high: Mapping[str, NDArray[np.float64]]
    """The ends of the range, SI; see `reduction.COVERAGE`."""
    no_result: Mapping[str, NDArray[np.float64]]
    """The share of draws that have no result; only of results where there are any."""
    sources: tuple[str, ...]
    """Labels of the uncertain inputs, L of them."""
    shares: Mapping[str, NDArray[np.float64]]
    """By result that is one number: (L, N). What each source explains of the variance, in proportion."""
    rules: Mapping[str, NDArray[np.float64]]
    """The share of draws in which a rule holds, by its code: (N,) or (N, M); only where draws have no result."""


class Draws:
    """n draws of N rows of inputs: row ``i N + r`` is draw i of request r."""

    def __init__(self, calculator: AnyCalculator, fields: Mapping[str, Any], rows: int, count: int) -> None:
        self.calculator, self.rows, self.count = calculator, rows, count
        self.inputs = calculator.inputs(**_repeat(fields, rows, count))
        self.is_uncertain = np.zeros(rows, dtype=np.bool_)
        self._scores: dict[tuple[str, str], NDArray[np.float64]] = {}
        """The draws of each source as normal deviates, (n,) or of many entries (M, n), by its label and its draw."""

    def apply(self, source: Source) -> None:
        """Vary an input by a source of uncertainty, each entry of a list or a table by draws of its own."""
        values = get_values(self.inputs, source.path)
        values = values.reshape(self.count, self.rows, *values.shape[1:])
        entries = values.shape[2] if values.ndim > 2 else None
        strata = (
            get_strata(source.draw, self.count)
            if entries is None
            else get_entry_strata(source.draw, entries, self.count)
        )
        self._note(source, strata)
        strata = strata[:, None] if entries is None else strata.T[:, None, :]
        width = source.width[None]
        if source.shape == "even":
            middles, _ = make_quantiles(self.count)
            varied = self._clip(values + width * (middles[strata] - 0.5), values, source.path)
        else:
            varied = self._draw(values[:1], width, strata, source)
        values[...] = np.where(width > 0, varied, values)
        self.is_uncertain |= (source.width > 0).reshape(self.rows, -1).any(axis=1)

    def apply_assumed(self, source: Source, varies: BoolArray) -> None:
        """Vary an assumed value, where ``varies`` holds in the rows of draws; ``width`` has their shape, or is one."""
        values = get_values(self.inputs, source.path)
        strata = get_strata(source.draw, self.count)
        self._note(source, strata)
        by_draw = np.repeat(strata, self.rows).reshape(-1, *[1] * (values.ndim - 1))
        width = np.broadcast_to(source.width, values.shape)
        varied = self._draw(values, width, by_draw, source)
        set_values(self.inputs, source.path, np.where(varies, varied, values))
        self.is_uncertain |= varies.reshape(self.count, self.rows, -1).any(axis=(0, 2))

    def apply_deviate(self, name: str, kind: Deviate) -> None:
        """Draw a deviate that the formula scales."""
        strata = get_strata(name, self.count)
        middles, normal = make_quantiles(self.count)
        self._scores[(name, name)] = normal[strata]
        values = middles[strata] - 0.5 if kind.even else normal[strata]
        set_values(self.inputs, (name,), np.repeat(values, self.rows))
        self.is_uncertain[:] = True

    def _draw(self, values: Array, width: Array, strata: NDArray[np.intp], source: Source) -> NDArray[np.float64]:
        """Return draws of a normal or a log-normal distribution; all shapes broadcast."""
        middles, normal = make_quantiles(self.count)
        if source.shape == "log-normal":
            return self._clip(values * np.exp(width * normal[strata]), values, source.path)
        low, high = _get_bounds(self.calculator, source.path)
        below, above = (low - values) / width, (high - values) / width
        is_cut = (below > -_NEAR) | (above < _NEAR)
        drawn: NDArray[np.float64] = values + width * normal[strata]
        if is_cut.any():
            start, stop = normal_cumulative(below), normal_cumulative(above)
            cut = values + width * normal_quantile(start + (stop - start) * middles[strata])
            drawn = np.where(is_cut, np.minimum(np.maximum(cut, low), high), drawn)
        return drawn

    def _note(self, source: Source, strata: NDArray[np.intp]) -> None:
        """Note the normal deviates of a source for the shares."""
        self._scores[(source.label, source.draw)] = make_quantiles(self.count)[1][strata]

    def _clip(self, drawn: NDArray[np.float64], values: Array, path: Path) -> NDArray[np.float64]:
        """Keep draws within the bounds of their input, or within its own ``values``, which may be assumed beyond."""
        low, high = _get_bounds(self.calculator, path)
        return np.minimum(np.maximum(drawn, np.minimum(low, values)), np.maximum(high, values))

    def reduce(self, given: Any, results: Any) -> PropagatedUncertainty:
        """Reduce the results of all draws; ``given`` are those of the inputs as given.

        Call it with numpy's floating-point warnings off.
        """
        labels, scores, label_of = self._list_scores()
        reduced: dict[str, tuple[NDArray[np.float64], ...]] = {}
        shares: dict[str, NDArray[np.float64]] = {}
        names = _list_single(self.calculator, given)
        if names:
            drawn = np.array([getattr(results, name) for name in names]).reshape(-1, self.count, self.rows)
            *parts, weights = reduce_draws(np.array([getattr(given, name) for name in names]), drawn, scores)
            each_share = attribute_variance(weights, label_of, len(labels), self.count)
            for index, name in enumerate(names):
                reduced[name] = tuple(part[index] for part in parts)
                shares[name] = each_share[index]
        for name, one, values in _list_several(self.calculator, given, results):
            *parts, _ = reduce_draws(one.reshape(1, -1), values.reshape(1, self.count, -1), scores)
            reduced[name] = tuple(part[0].reshape(one.shape) for part in parts)
        standard, low, high, no_result = ({n: each[k] for n, each in reduced.items()} for k in range(4))
        no_result = {name: share for name, share in no_result.items() if share.any()}
        return PropagatedUncertainty(
            self.is_uncertain,
            standard,
            low,
            high,
            no_result,
            labels,
            shares,
            self._find_rules(results) if no_result else {},
        )

    def _list_scores(self) -> tuple[tuple[str, ...], NDArray[np.float64], NDArray[np.intp]]:
        """Return the labels (L), all deviates (S, n), and the label of each (S,)."""
        label_of: list[str] = []
        for (label, _), scores in self._scores.items():
            label_of += [label.replace("*", str(at)) for at in range(len(np.atleast_2d(scores)))]
        labels = {label: position for position, label in enumerate(dict.fromkeys(label_of))}
        rows = [np.atleast_2d(scores) for scores in self._scores.values()]
        all_scores = np.concatenate(rows) if rows else np.zeros((0, self.count))
        return tuple(labels), all_scores, np.array([labels[label] for label in label_of], np.intp)

    def _find_rules(self, results: Any) -> dict[str, NDArray[np.float64]]:
        shares: dict[str, NDArray[np.float64]] = {}
        for rule in self.calculator.rules:
            holds = np.asarray(rule.when(self.inputs, results), dtype=np.float64)
            shares[rule.code] = holds.reshape(self.count, self.rows, *holds.shape[1:]).mean(axis=0)
        return shares


@functools.cache
def _list_numeric(calculator: AnyCalculator) -> tuple[tuple[str, str | None, str], ...]:
    """Return the numeric results: name, which of a table is ``packs.endurance``, table if any, and field."""
    fields: list[tuple[str, str | None, str]] = []
    for name, kind in calculator.result_fields.items():
        if may_be_uncertain(kind):
            fields.append((name, None, name))
        columns = kind.columns.items()
        fields += [(f"{name}.{inner}", name, inner) for inner, column in columns if may_be_uncertain(column)]
    return tuple(fields)


def may_be_uncertain(kind: Kind) -> bool:
    """Return whether a result may have an uncertainty."""
    return kind.has_numbers and not (kind.quantity is not None and kind.quantity.exact)


def _list_single(calculator: AnyCalculator, results: Any) -> list[str]:
    """Return the names of the results that are one number, and that any request has."""
    return [
        name
        for name, table, _ in _list_numeric(calculator)
        if table is None and (values := getattr(results, name)).ndim == 1 and not np.isnan(values).all()
    ]


def _list_several(
    calculator: AnyCalculator, given: Any, results: Any
) -> Iterator[tuple[str, NDArray[np.float64], NDArray[np.float64]]]:
    """Yield the results of several numbers: as given (N, M), and of the draws (n N, M)."""
    for name, table, column in _list_numeric(calculator):
        one, values = (getattr(each if table is None else getattr(each, table), column) for each in (given, results))
        if one.ndim > 1 and values.shape[1:] == one.shape[1:]:
            yield name, one, values


def _repeat(fields: Mapping[str, Any], rows: int, copies: int) -> dict[str, Any]:
    """Columns of inputs repeated along their first axis, as copies that may be written to."""
    repeated: dict[str, Any] = {}
    for name, value in fields.items():
        if not isinstance(value, np.ndarray):
            inner = {each: getattr(value, each) for each in get_fields(type(value))}
            repeated[name] = type(value)(**_repeat(inner, rows, copies))
        elif value.dtype.kind in "UT" and rows == 1:
            repeated[name] = np.broadcast_to(
                value, (copies, *value.shape[1:])
            )  # texts are long, and none is written to
        elif rows > 1:
            repeated[name] = np.concatenate([value] * copies)
        else:
            repeated[name] = value.repeat(copies) if value.ndim == 1 else value.repeat(copies, axis=0)
    return repeated


def get_values(inputs: Any, path: Path) -> Any:
    """Return a field of inputs, or a column of a table of theirs."""
    return functools.reduce(getattr, path, inputs)


def set_values(inputs: Any, path: Path, values: Any) -> None:
    """Set a field of inputs that belong to the caller, or a column of a table of theirs."""
    name, *column = path
    if column:
        values = dataclasses.replace(getattr(inputs, name), **{column[0]: values})
    # Setting a field of a frozen dataclass: a replaced copy of some thirty fields would cost ten times as much.
    object.__setattr__(inputs, name, values)


@functools.lru_cache(maxsize=4096)
def _get_bounds(calculator: AnyCalculator, path: Path) -> tuple[float, float]:
    """Return the lowest and the highest value of an input, SI; next to an open bound the next double."""
    kind = calculator.input_fields[path[0]]
    quantity = (kind.columns[path[1]] if kind.columns else kind).quantity
    if quantity is None:
        raise TypeError(f"{path} is not a quantity")
    unit = units.get_unit(quantity.unit)
    low, high = -np.inf, np.inf
    if quantity.at_least is not None:
        low = float(unit.to_si(quantity.at_least))
    elif quantity.above is not None:
        low = float(np.nextafter(unit.to_si(quantity.above), np.inf))
    if quantity.at_most is not None:
        high = float(unit.to_si(quantity.at_most))
    elif quantity.below is not None:
        high = float(np.nextafter(unit.to_si(quantity.below), -np.inf))
    return low, high
