"""Tables in files and pipes: find their format, and read them in chunks."""

from __future__ import annotations

import contextlib
import io
import os
import select
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gramwatt.engine.tables import batch
from gramwatt.engine.tables.chunks import Chunk, MalformedTable
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.writers import Style
from gramwatt.extras import require

if TYPE_CHECKING:
    import pyarrow as pa

EXTENSIONS: Final = {
    ".csv": "csv",
    ".tsv": "tsv",
    ".tab": "tsv",
    ".ndjson": "ndjson",
    ".jsonl": "ndjson",
    ".json": "json",
    ".arrow": "arrow-file",
    ".feather": "arrow-file",
    ".ipc": "arrow-file",
    ".arrows": "arrow",
    ".parquet": "parquet",
    ".pq": "parquet",
}
BINARY_FORMATS: Final = ("arrow", "arrow-file", "parquet")
READ_SIZE: Final = 256 * 1024
POLL_INTERVAL: Final = 0.25
"""Seconds between two checks of a pipe that sends nothing."""
_MAGIC_BYTES: Final = {
    b"PAR1": "parquet",
    b"ARROW1": "arrow-file",
    b"\xff\xff\xff\xff": "arrow",
    b"[": "json",
    b"{": "ndjson",
}
_MAGIC_LENGTH: Final = 6


def format_of_name(path: str | None) -> str | None:
    """Return the format that a file's extension stands for, if any."""
    return EXTENSIONS.get(Path(path).suffix.lower()) if path else None


def choose_output_format(to: str | None, out: str | None, input_format: str) -> str:
    """Return the format to write: ``to``, or by the extension of ``out``, or as the input if that is text."""
    return to or format_of_name(out) or ("csv" if input_format in BINARY_FORMATS else input_format)


def require_columnar() -> None:
    """Raise MissingExtra if Arrow and Parquet files cannot be read or written."""
    require("pyarrow", extra="tables", purpose="Arrow and Parquet files")


class InputTable:
    """A table to read, from a file or standard input (``-``).

    Raises
    ------
    OSError
        The file cannot be opened.
    MalformedTable
        The content does not fit its format.
    MissingExtra
        The format needs a library that is not installed.
    """

    def __init__(self, path: str, form: str | None) -> None:
        self._advance: Callable[[int], None] = lambda steps: None
        self._stack = contextlib.ExitStack()
        self.name = "standard input" if path == "-" else path
        self._file: Any = _open_standard_input() if path == "-" else open(path, "rb")  # noqa: SIM115
        self._stack.callback(self._file.close)
        self._read_some: Callable[[int], bytes] = getattr(self._file, "read1", self._file.read)
        self._peeked = b""
        self.form = self._find_format(form or format_of_name(path))
        if self.form in BINARY_FORMATS:
            require_columnar()
        self.total: int | None = None
        if self.form in ("arrow-file", "parquet"):
            self._schema, self._batches = self._open_columnar(path)
        elif path != "-" and Path(path).is_file():
            self.total = os.fstat(self._file.fileno()).st_size

    def _find_format(self, named: str | None) -> str:
        """Return the named format; read the first bytes if there is none, or if it may be either kind of Arrow."""
        if named not in (None, "arrow", "arrow-file"):
            return named
        self._peeked = self.read(_MAGIC_LENGTH)
        start = self._peeked.lstrip()
        detected = next((form for magic, form in _MAGIC_BYTES.items() if start.startswith(magic)), "csv")
        return detected if named is None or detected in BINARY_FORMATS else named

    def on_progress(self, advance: Callable[[int], None]) -> None:
        """Call a function with what is read: a part of `total`, in bytes, or in rows of a columnar file."""
        self._advance = advance

    def read(self, size: int) -> bytes:
        """Read up to ``size`` bytes; none at the end."""
        # In small reads: a longer read of a pipe is not stopped by a signal that arrives between two of them.
        parts, self._peeked = [self._peeked[:size]], self._peeked[size:]
        missing = size - len(parts[0])
        while missing > 0 and (data := self._read_some(missing)):
            parts.append(data)
            missing -= len(data)
        self._advance(size - missing)
        return b"".join(parts)

    def read_chunks(self, plan: Plan, style: Style, passthrough: Passthrough) -> Iterator[Chunk]:
        """Read the rows of the table as the service reads them."""
        if self.form in ("arrow-file", "parquet"):
            from gramwatt.engine.tables.arrow_reader import read_batches

            return read_batches(
                plan.calculator, self._schema, self._batches, passthrough=passthrough, constants=plan.constants
            )
        return batch.read_chunks(plan, batch.TableFormat(self.form, style), self.read, passthrough)

    @property
    def upload_format(self) -> str:
        """The format of `read_upload`."""
        return "arrow" if self.form in BINARY_FORMATS else self.form

    def read_upload(self) -> Iterator[bytes]:
        """Yield the bytes of the table in a format that the service accepts."""
        if self.form not in ("arrow-file", "parquet"):
            while data := self.read(READ_SIZE):
                yield data
            return
        from gramwatt.files.columnar import encode_stream

        yield from encode_stream(self._schema, self._batches)

    def _open_columnar(self, path: str) -> tuple[pa.Schema, Iterator[pa.RecordBatch]]:
        """Return the schema and the record batches of a file whose end must be read first."""
        is_file = path != "-" and Path(path).is_file()
        if not is_file:
            copy: Any = tempfile.TemporaryFile(prefix="gramwatt-")  # noqa: SIM115
            self._stack.callback(copy.close)
            while data := self.read(READ_SIZE):
                copy.write(data)
            self._file = copy
        self._file.seek(0)
        self._peeked = b""
        from gramwatt.files.columnar import open_columnar

        try:
            table = open_columnar(self._file, path if is_file else None, self.form, self._stack, self._report_rows)
        except MalformedTable:
            self.close()
            raise
        self.total = table.rows
        return table.schema, table.batches

    def _report_rows(self, rows: int) -> None:
        self._advance(rows)  # the function that is set when the rows are read

    def close(self) -> None:
        """Close the file."""
        self._stack.close()


def _open_standard_input() -> Any:
    """Open standard input without a buffer: a thread that waits for it must hold no lock when the program ends."""
    try:
        return _Pipe(sys.stdin.fileno())
    except (OSError, ValueError):  # not a file, as in a test
        return io.BytesIO(sys.stdin.buffer.read())


class _Pipe(io.FileIO):
    """A pipe that is polled while nothing arrives, since a signal may have arrived just before the wait."""

    def __init__(self, number: int) -> None:
        super().__init__(number, "rb", closefd=False)

    def read(self, size: int | None = -1) -> bytes:
        """Read what is there, up to ``size`` bytes."""
        while os.name == "posix" and not select.select([self], [], [], POLL_INTERVAL)[0]:
            pass
        return super().read(-1 if size is None else size) or b""
