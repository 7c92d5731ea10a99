"""What pyarrow does for recordings: it reads those in Arrow, and CSV columns of nothing but numbers.

Not NDJSON: a line of brackets nested deeply enough ends the process in its reader.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyarrow as pa
from pyarrow import csv

from gramwatt.edge.columns import escape_name
from gramwatt.edge.recorded.columns import Malformed, Numbers, Texts, Unusable
from gramwatt.edge.tables.arrow_in import first_line, is_number, is_text
from gramwatt.edge.wording import Fault


class ArrowColumns:
    """An Arrow IPC stream, or a file of that kind."""

    skipped_lines = 0

    def __init__(self, raw: bytes) -> None:
        try:
            whole = raw.startswith(b"ARROW1")
            opened = (pa.ipc.open_file if whole else pa.ipc.open_stream)(pa.BufferReader(raw))
            batches = []
            for batch in map(opened.get_batch, range(opened.num_record_batches)) if whole else opened:
                batch.validate(full=True)  # places beyond a buffer would be read, and end the process
                batches.append(batch)
            self._table = pa.Table.from_batches(batches, opened.schema)
            self.names: list[str] = list(self._table.schema.names)
        except (pa.ArrowException, OSError, EOFError, UnicodeDecodeError) as error:
            raise Malformed(f"it is no Arrow IPC stream: {first_line(error)}") from None

    def take(self, positions: Sequence[int]) -> list[Numbers | Texts]:
        return [_of_arrow(self.names[at], self._table.column(at).combine_chunks()) for at in positions]


def csv_numbers(raw: bytes, separator: str, decimal: str, width: int, positions: Sequence[int]) -> list[Numbers] | None:
    """Return these columns of a CSV text of ``width`` columns, its header cut off; None where a cell is no number.

    None also where the rows are not of one length, which pyarrow refuses.
    """
    names = [str(at) for at in range(width)]
    wanted = [names[at] for at in positions]
    try:
        table = csv.read_csv(
            pa.BufferReader(raw),
            read_options=csv.ReadOptions(column_names=names, use_threads=False),
            parse_options=csv.ParseOptions(delimiter=separator, newlines_in_values=True, ignore_empty_lines=False),
            convert_options=csv.ConvertOptions(
                include_columns=wanted,
                column_types=dict.fromkeys(wanted, pa.float64()),
                null_values=[""],
                decimal_point="," if decimal == "," and separator != "," else ".",
                check_utf8=False,
            ),
        )
    except pa.ArrowException:
        return None
    return [_numbers(table.column(name)) for name in wanted]


def _numbers(column: Any) -> Numbers:
    return Numbers(column.to_numpy(), column.is_valid().to_numpy())


def _of_arrow(name: str, values: Any) -> Numbers | Texts:
    kind = values.type
    given = values.is_valid().to_numpy(zero_copy_only=False)
    if pa.types.is_timestamp(kind) or pa.types.is_duration(kind):
        per_second = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[kind.unit]
        return Numbers(values.cast(pa.int64()).to_numpy(zero_copy_only=False) / float(per_second), given)
    if is_number(kind) or pa.types.is_null(kind):
        return Numbers(values.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False), given)
    if is_text(kind):
        return list(values.cast(pa.string()).to_pylist())
    accepted = "numbers, times or texts"
    raise Unusable(Fault(f"/{escape_name(name)}", f"a column of type {kind}"[:200], None, accepted))
