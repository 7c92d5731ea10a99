"""An answered piece as a data frame: numbers rounded for text, words for codes, nulls where there is no answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import orjson
import polars as pl
import pyarrow as pa

from gramwatt.declare import NESTED, Choice, Count, Flag, Quantity
from gramwatt.edge.rounding import rounded
from gramwatt.edge.tables.answering import Answered, OutputColumn
from gramwatt.edge.tables.chunk import Kept


def result_series(column: OutputColumn, values: Any, digits: int | None) -> pl.Series:
    """One column; ``digits`` rounds numbers, None leaves them as computed. Lists and tables stand as JSON texts."""
    kind, name = column.kind, column.name
    if isinstance(kind, NESTED):
        lists = values if isinstance(values, list) else as_lists(values, digits)
        texts = [None if value is None else orjson.dumps(value).decode() for value in lists]
        return pl.Series(name, texts, dtype=pl.String)
    if isinstance(values, list):
        types = {Quantity: pl.Float64, Count: pl.Int64, Flag: pl.Boolean}
        return pl.Series(name, values, dtype=types.get(type(kind), pl.String), strict=False)
    if isinstance(kind, Choice):
        return chosen(name, [*kind.options, None], np.where(values < 0, len(kind.options), values))
    if isinstance(kind, Flag):
        truths = pl.Series(name, values == 1)
        return truths if values.dtype.kind == "b" else _where(truths, np.isfinite(values))
    if isinstance(kind, Count):
        return pl.Series(name, np.where(np.isfinite(values), values, np.nan), nan_to_null=True).cast(pl.Int64)
    if digits is not None:
        values = rounded(np.ascontiguousarray(values), digits)
    elif not np.isfinite(values).all():
        values = np.where(np.isfinite(values), values, np.nan)
    return pl.Series(name, np.ascontiguousarray(values), nan_to_null=True)


def as_lists(values: Any, digits: int | None) -> list[Any]:
    """A list of numbers for each row of an array (N, M), None where any of them has no answer."""
    if values.ndim < 2:  # an array of nan, where no row has an answer
        return [None] * len(values)
    flat = rounded(np.ascontiguousarray(values).reshape(-1), digits or 12).reshape(values.shape)
    good: list[bool] = np.asarray(np.isfinite(flat).all(axis=1)).tolist()
    return [row if whole else None for row, whole in zip(flat.tolist(), good, strict=True)]


def chosen(name: str, words: Sequence[str | None], at: Any) -> pl.Series:
    """One of a few words in each row, by its position; by Arrow, which has no plan to make for that."""
    return pl.Series(name, spelled(words, at))


def spelled(words: Sequence[str | None], at: Any) -> pa.Array:
    """The same as an Arrow array."""
    if len(words) == 1:
        return pa.repeat(pa.scalar(words[0], pa.string()), len(at))
    return pa.array(words, pa.string()).take(pa.array(at))


def _where(series: pl.Series, rows: Any) -> pl.Series:
    return pl.select(pl.when(pl.Series(rows)).then(series).alias(series.name)).to_series()


def kept_series(name: str, kept: Kept | None, rows: int) -> pl.Series:
    """A column passed through as texts and numbers; a JSON value that is neither as its JSON text."""
    if kept is None:
        return pl.Series(name, [None] * rows, dtype=pl.String)
    if isinstance(kept, list):
        texts = [_json_text(value) for value in kept]
        return pl.Series(name, texts, dtype=pl.String)
    if isinstance(kept, pa.Array):
        kind = kept.type
        if pa.types.is_nested(kind):
            return pl.Series(name, [_json_text(value) for value in kept.to_pylist()], dtype=pl.String)
        kept = pl.Series(name, kept.storage if isinstance(kind, pa.BaseExtensionType) else kept)
    return _in_words(kept).alias(name)


def _in_words(kept: pl.Series) -> pl.Series:
    """What no text has a form of its own for, as a text; dictionaries as their words."""
    if kept.dtype == pl.Binary:
        return kept.bin.encode("base64")
    if kept.dtype.is_temporal():
        return kept.dt.to_string("iso:strict")
    return kept.cast(pl.String) if kept.dtype.is_decimal() or kept.dtype in (pl.Categorical, pl.Enum) else kept


def _json_text(value: object) -> str | None:
    if value is None or isinstance(value, str):
        return value
    return orjson.dumps(value, default=str).decode()


def caution_series(answered: Answered) -> pl.Series:
    """The codes of each row's cautions, with spaces between."""
    return chosen("cautions", [" ".join(codes) or None for codes in answered.cautions], answered.caution_at)


def caution_lists(answered: Answered) -> pl.Series:
    """The same as a list of codes in each row."""
    lists = pa.array([list(codes) for codes in answered.cautions], pa.large_list(pa.large_string()))
    return pl.Series("cautions", lists.take(pa.array(answered.caution_at)))


def results(columns: tuple[OutputColumn, ...], values: Mapping[str, Any], digits: int | None) -> list[pl.Series]:
    """The columns of the answer."""
    return [result_series(column, values[column.name], digits) for column in columns]
