"""The best rows of a table too long to hold: after each piece only those are kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from gramwatt.engine.tables.compute import BatchResult
from gramwatt.model import Calculator, Count, Quantity
from gramwatt.model.messages import InputError, close_matches, join_with_or, quote_input


@dataclass(frozen=True, slots=True)
class Ranking:
    """How many rows, by which result, and whether the smallest_first of it is best."""

    count: int
    by: str
    smallest_first: bool = False


def check_ranking(calculator: Calculator[Any, Any], by: str) -> list[InputError]:
    """Whether rows can be ranked by a result."""
    ranked = [name for name, kind in calculator.result_fields.items() if isinstance(kind, Quantity | Count)]
    if by in ranked:
        return []
    meant = close_matches(by, ranked)
    hint = f"; did you mean {join_with_or(meant)}?" if meant else ""
    return [
        InputError(
            "/by",
            f"{quote_input(by)} is no result that rows can be ranked by{hint}",
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


def select_best(wish: Ranking, pieces: Iterator[BatchResult]) -> BestRows:
    """The best rows of pieces, best first; rows without an answer, or with a fault, are never among them. Of equals
    the earlier comes first."""
    found = BestRows(np.zeros(0, dtype=np.int64), {}, [])
    for piece in pieces:
        found = merge_best(wish, found, _of_piece(wish, piece))
    return found


def _of_piece(wish: Ranking, piece: BatchResult) -> BestRows:
    columns = {name: _array(values) for name, values in piece.columns.items()}
    order = _order(wish, columns[wish.by])
    told = [piece.cautions[at] for at in np.asarray(piece.caution_index)[order].tolist()]
    return BestRows(piece.first + order, {name: values[order] for name, values in columns.items()}, told)


def _array(values: Any) -> Any:
    if isinstance(values, np.ndarray):
        return values
    if all(value is None or isinstance(value, float | int) for value in values):
        return np.array([np.nan if value is None else float(value) for value in values])
    made = np.empty(len(values), dtype=object)
    for at, value in enumerate(values):
        made[at] = value  # one by one, or lists of one length would become columns of an array
    return made


def _order(wish: Ranking, values: Any) -> Any:
    key = values if wish.smallest_first else -values
    finite = np.flatnonzero(np.isfinite(values))
    if len(finite) > 4 * wish.count:
        edge = np.partition(key[finite], wish.count - 1)[wish.count - 1]
        finite = finite[key[finite] <= edge]
    return finite[np.argsort(key[finite], kind="stable")][: wish.count]


def merge_best(wish: Ranking, one: BestRows, other: BestRows) -> BestRows:
    """The best of both, each sorted; ties by their row."""
    if not len(one.rows):
        return other
    rows = np.concatenate([one.rows, other.rows])
    columns = {name: np.concatenate([values, other.columns[name]]) for name, values in one.columns.items()}
    key = columns[wish.by] if wish.smallest_first else -columns[wish.by]
    order = np.lexsort((rows, key))[: wish.count]
    cautions = [*one.cautions, *other.cautions]
    return BestRows(
        rows[order], {name: values[order] for name, values in columns.items()}, [cautions[at] for at in order.tolist()]
    )


def to_batch_result(best: BestRows) -> BatchResult:
    """The best rows as a piece to write, best first."""
    columns = {name: values.tolist() if values.dtype == object else values for name, values in best.columns.items()}
    return BatchResult(0, len(best.rows), {}, columns, np.arange(len(best.rows)), best.cautions or [()], {})
