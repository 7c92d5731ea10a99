"""Select the best rows of a table that does not fit into memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from gramwatt.engine.tables.chunks import BatchResult
from gramwatt.model import Calculator, Count, Quantity
from gramwatt.model.messages import InputError, close_matches, join_with_or, quote_input


@dataclass(frozen=True, slots=True)
class Ranking:
    """How many rows to select, by which result, and in which order."""

    count: int
    by: str
    smallest_first: bool = False


def check_ranking(calculator: Calculator[Any, Any], by: str) -> list[InputError]:
    """Return the errors of ranking rows by a result."""
    ranked = [name for name, kind in calculator.result_fields.items() if isinstance(kind, Quantity | Count)]
    if by in ranked:
        return []
    matches = close_matches(by, ranked)
    hint = f"; did you mean {join_with_or(matches)}?" if matches else ""
    return [
        InputError(
            "/by",
            f"{quote_input(by)} is not a result that rows can be ranked by{hint}",
            quote_input(by),
            join_with_or(ranked),
        )
    ]


@dataclass(slots=True)
class BestRows:
    """The best rows so far: their numbers in the table, and their columns."""

    rows: Any
    columns: dict[str, Any]
    cautions: list[tuple[str, ...]]


def select_best(ranking: Ranking, results: Iterator[BatchResult]) -> BestRows:
    """Return the best rows, the best first. Among equals the earlier row comes first.

    Invalid rows, and rows without the result, are left out.
    """
    best = BestRows(np.zeros(0, dtype=np.int64), {}, [])
    for result in results:
        best = merge_best(ranking, best, _select_from_result(ranking, result))
    return best


def _select_from_result(ranking: Ranking, result: BatchResult) -> BestRows:
    columns = {name: _to_array(values) for name, values in result.columns.items()}
    order = _find_best(ranking, columns[ranking.by])
    cautions = [result.cautions[index] for index in np.asarray(result.caution_index)[order].tolist()]
    return BestRows(result.first + order, {name: values[order] for name, values in columns.items()}, cautions)


def _to_array(values: Any) -> Any:
    if isinstance(values, np.ndarray):
        return values
    if all(value is None or isinstance(value, float | int) for value in values):
        return np.array([np.nan if value is None else float(value) for value in values])
    array = np.empty(len(values), dtype=object)
    for index, value in enumerate(values):
        array[index] = value  # one by one, since lists of equal length would become a two-dimensional array
    return array


def _find_best(ranking: Ranking, values: Any) -> Any:
    key = values if ranking.smallest_first else -values
    finite = np.flatnonzero(np.isfinite(values))
    if len(finite) > 4 * ranking.count:
        threshold = np.partition(key[finite], ranking.count - 1)[ranking.count - 1]
        finite = finite[key[finite] <= threshold]
    return finite[np.argsort(key[finite], kind="stable")][: ranking.count]


def merge_best(ranking: Ranking, one: BestRows, other: BestRows) -> BestRows:
    """Merge two sorted selections. Among equals the earlier row comes first."""
    if not len(one.rows):
        return other
    rows = np.concatenate([one.rows, other.rows])
    columns = {name: np.concatenate([values, other.columns[name]]) for name, values in one.columns.items()}
    key = columns[ranking.by] if ranking.smallest_first else -columns[ranking.by]
    order = np.lexsort((rows, key))[: ranking.count]
    cautions = [*one.cautions, *other.cautions]
    return BestRows(
        rows[order], {name: values[order] for name, values in columns.items()}, [cautions[at] for at in order.tolist()]
    )


def to_batch_result(best: BestRows) -> BatchResult:
    """Return the best rows as a result to write, the best first."""
    columns = {name: values.tolist() if values.dtype == object else values for name, values in best.columns.items()}
    return BatchResult(0, len(best.rows), {}, columns, np.arange(len(best.rows)), best.cautions or [()], {})
