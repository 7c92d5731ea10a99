"""Compute how large Arrow columns become once dictionaries, views and runs are expanded, without expanding them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from gramwatt.engine.arrow_messages import inner_types


def is_unsupported(kind: pa.DataType) -> bool:
    """Whether a type may repeat whole lists, at any depth: list views, unions, dictionaries and runs of lists."""
    folded = pa.types.is_dictionary(kind) or pa.types.is_run_end_encoded(kind)
    return bool(
        pa.types.is_list_view(kind)
        or pa.types.is_large_list_view(kind)
        or pa.types.is_union(kind)
        or (folded and any(_is_composed(each) for each in inner_types(kind)))
        or any(is_unsupported(each) for each in inner_types(kind))
    )


def _is_composed(kind: pa.DataType) -> bool:
    return bool(inner_types(kind)) or isinstance(kind, pa.BaseExtensionType)


def may_expand(kind: pa.DataType) -> bool:
    """Whether values of a type may be larger than what was sent for them."""
    return bool(
        pa.types.is_dictionary(kind)
        or pa.types.is_run_end_encoded(kind)
        or is_view(kind)
        or any(may_expand(each) for each in inner_types(kind))
    )


def is_view(kind: pa.DataType) -> bool:
    """Whether a type refers to texts or bytes that stand elsewhere."""
    return bool(pa.types.is_string_view(kind) or pa.types.is_binary_view(kind))


def get_expanded_size(values: pa.Array) -> int:
    """Return the bytes of texts and bytes in a column when each stands for itself, those of numbers left out."""
    kind: Any = values.type
    if isinstance(kind, pa.BaseExtensionType):
        return get_expanded_size(values.storage)
    if pa.types.is_dictionary(kind):
        return _sum(_lengths(values.dictionary).take(values.indices))
    if pa.types.is_run_end_encoded(kind):
        start, runs = values.find_physical_offset(), values.find_physical_length()
        ends = np.asarray(values.run_ends.slice(start, runs)).astype(np.int64) - values.offset
        counts = np.diff(np.clip(ends, 0, len(values)), prepend=0)
        return int((np.asarray(_lengths(values.values.slice(start, runs)).fill_null(0)) * counts).sum())
    if pa.types.is_struct(kind):
        return sum(get_expanded_size(values.field(at)) for at in range(kind.num_fields))
    if pa.types.is_fixed_size_list(kind):
        return get_expanded_size(values.values.slice(values.offset * kind.list_size, len(values) * kind.list_size))
    if pa.types.is_list(kind) or pa.types.is_large_list(kind) or pa.types.is_map(kind):
        offsets = values.offsets
        start, stop = (offsets[0].as_py(), offsets[-1].as_py()) if len(offsets) else (0, 0)
        parts = (values.keys, values.items) if pa.types.is_map(kind) else (values.values,)
        return sum(get_expanded_size(each.slice(start, stop - start)) for each in parts)
    return _sum(_lengths(values))


def _lengths(values: pa.Array) -> pa.Array:
    """Return the bytes of each text; of what is no text, none."""
    kind = values.type
    if is_view(kind):
        if not len(values):
            return pa.array([], pa.int64())
        views = np.frombuffer(values.buffers()[1], np.int32)[::4][values.offset : values.offset + len(values)]
        return pa.array(views.astype(np.int64), mask=~np.asarray(values.is_valid()))
    texts = (pa.types.is_string, pa.types.is_large_string, pa.types.is_binary, pa.types.is_large_binary)
    if any(is_text(kind) for is_text in texts):
        return pc.call_function("binary_length", [values]).cast(pa.int64())
    return pa.nulls(len(values), pa.int64())


def _sum(lengths: pa.Array) -> int:
    return int(lengths.sum().as_py() or 0)
