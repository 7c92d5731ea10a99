"""Count the rows and invalid rows of a table that a service sends, from the bytes as they pass."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

import orjson

from gramwatt.cli.progress import RunSummary

if TYPE_CHECKING:
    import pyarrow as pa

_QUOTED: Final = re.compile(rb'"[^"]*"')
_FAILURE: Final = "#ERR "
"""Begins the error of a last row if the table ended early. The error of an invalid row begins with its number."""


def count_rows(
    chunks: Iterator[bytes], table_format: str, summary: RunSummary, *, separator: str, header: bool
) -> Iterator[bytes]:
    """Yield the chunks of a text table unchanged, and count their rows in the summary."""
    counter = _ObjectCounter(summary) if table_format in ("json", "ndjson") else _CsvCounter(summary, separator, header)
    for chunk in chunks:
        counter.feed(chunk)
        yield chunk
    counter.end()


class _CsvCounter:
    """Counts rows of CSV. A valid row ends with an empty field ``error``."""

    def __init__(self, summary: RunSummary, separator: str, header: bool) -> None:
        self._summary, self._separator = summary, separator
        self._valid_end = separator.encode() + b"\r\n"
        self._header = header
        self._rest = self._last_rows = b""

    def feed(self, chunk: bytes) -> None:
        data = self._rest + chunk
        end = data.rfind(b"\r\n") + 2
        while end > 1 and data.count(b'"', 0, end) % 2:
            end = data.rfind(b"\r\n", 0, end - 2) + 2
        complete, self._rest = (data[:end], data[end:]) if end > 1 else (b"", data)
        if not complete:
            return
        self._last_rows = complete
        unquoted = _QUOTED.sub(b"q", complete) if b'"' in complete else complete
        rows, valid = unquoted.count(b"\r\n"), unquoted.count(self._valid_end)
        if self._header:
            self._header = False
            rows -= 1
        self._summary.rows += rows
        self._summary.invalid += rows - valid

    def end(self) -> None:
        text = io.StringIO(self._last_rows.decode("utf-8", "replace"), newline="")
        error = ""
        for row in csv.reader(text, delimiter=self._separator):
            error = row[-1] if row else ""
        if error.startswith(_FAILURE):
            _set_failure(self._summary, error)
            self._summary.rows -= 1
            self._summary.invalid -= 1


class _ObjectCounter:
    """Counts JSON objects, one on a line, in an array or as NDJSON."""

    def __init__(self, summary: RunSummary) -> None:
        self._summary, self._rest = summary, b""

    def feed(self, chunk: bytes) -> None:
        data = self._rest + chunk
        end = data.rfind(b"\n") + 1
        complete, self._rest = data[:end], data[end:]
        self._summary.rows += complete.count(b"\n{") + complete.startswith(b"{")
        if b'"error":{' not in complete:
            return
        for line in complete.split(b"\n"):
            error: Any = orjson.loads(line.rstrip(b",")).get("error") if b'"error":{' in line else None
            if error is not None and "type" in error:
                _set_failure(self._summary, error["detail"])
                self._summary.rows -= 1
            elif error is not None:
                self._summary.invalid += 1

    def end(self) -> None:
        self.feed(b"\n")


def count_batch_rows(summary: RunSummary, batch: pa.RecordBatch) -> None:
    """Count the rows of a record batch in the summary."""
    errors = batch.column(batch.num_columns - 1)
    if batch.num_rows == 1 and (text := errors[0].as_py() or "").startswith(_FAILURE):
        _set_failure(summary, text)
        return
    summary.rows += batch.num_rows
    summary.invalid += batch.num_rows - errors.null_count


def _set_failure(summary: RunSummary, error: str) -> None:
    summary.failure = re.sub(r"^#ERR \S+ after row \d+: ", "", error)
