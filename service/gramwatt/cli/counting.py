"""How many rows of an answer that came from elsewhere have faults, told from its bytes as they pass."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

import orjson

from gramwatt.cli.options import RunSummary

if TYPE_CHECKING:
    import pyarrow as pa

_QUOTED: Final = re.compile(rb'"[^"]*"')
_BROKEN: Final = "#ERR "
"""What the error of a last row begins with where the table broke off; that of a row with faults names its row."""


def count_rows(
    pieces: Iterator[bytes], form: str, ending: RunSummary, *, separator: str, header: bool
) -> Iterator[bytes]:
    """The same pieces of text; the ending is told their rows."""
    count = _Objects(ending) if form in ("json", "ndjson") else _Lines(ending, separator, header)
    for piece in pieces:
        count.feed(piece)
        yield piece
    count.end()


class _Lines:
    """CSV: a row without a fault ends with the empty field ``error``."""

    def __init__(self, ending: RunSummary, separator: str, header: bool) -> None:
        self._ending, self._separator = ending, separator
        self._clean_end = separator.encode() + b"\r\n"
        self._header = header
        self._left = self._last = b""

    def feed(self, piece: bytes) -> None:
        data = self._left + piece
        end = data.rfind(b"\r\n") + 2
        while end > 1 and data.count(b'"', 0, end) % 2:
            end = data.rfind(b"\r\n", 0, end - 2) + 2
        whole, self._left = (data[:end], data[end:]) if end > 1 else (b"", data)
        if not whole:
            return
        self._last = whole
        plain = _QUOTED.sub(b"q", whole) if b'"' in whole else whole
        rows, clean = plain.count(b"\r\n"), plain.count(self._clean_end)
        if self._header:
            self._header = False
            rows -= 1
        self._ending.rows += rows
        self._ending.invalid += rows - clean

    def end(self) -> None:
        text = io.StringIO(self._last.decode("utf-8", "replace"), newline="")
        error = ""
        for row in csv.reader(text, delimiter=self._separator):
            error = row[-1] if row else ""
        if error.startswith(_BROKEN):
            _broken(self._ending, error)
            self._ending.rows -= 1
            self._ending.invalid -= 1


class _Objects:
    """An object a line, in an array or without one."""

    def __init__(self, ending: RunSummary) -> None:
        self._ending, self._left = ending, b""

    def feed(self, piece: bytes) -> None:
        data = self._left + piece
        end = data.rfind(b"\n") + 1
        whole, self._left = data[:end], data[end:]
        self._ending.rows += whole.count(b"\n{") + whole.startswith(b"{")
        if b'"error":{' not in whole:
            return
        for line in whole.split(b"\n"):
            error: Any = orjson.loads(line.rstrip(b",")).get("error") if b'"error":{' in line else None
            if error is not None and "type" in error:
                _broken(self._ending, error["detail"])
                self._ending.rows -= 1
            elif error is not None:
                self._ending.invalid += 1

    def end(self) -> None:
        self.feed(b"\n")


def count_batch_rows(ending: RunSummary, found: pa.RecordBatch) -> None:
    """The same for a record batch of an answer."""
    errors = found.column(found.num_columns - 1)
    if found.num_rows == 1 and (text := errors[0].as_py() or "").startswith(_BROKEN):
        _broken(ending, text)
        return
    ending.rows += found.num_rows
    ending.invalid += found.num_rows - errors.null_count


def _broken(ending: RunSummary, error: str) -> None:
    ending.failure = re.sub(r"^#ERR \S+ after row \d+: ", "", error)
