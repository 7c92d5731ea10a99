"""Tables in files and pipes: in which format they are, and how they are read in pieces."""

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
from gramwatt.engine.tables.compute import Plan
from gramwatt.engine.tables.header import Passthrough
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
"""Seconds between two looks at a pipe from which nothing comes."""
_MARKS: Final = {
    b"PAR1": "parquet",
    b"ARROW1": "arrow-file",
    b"\xff\xff\xff\xff": "arrow",
    b"[": "json",
    b"{": "ndjson",
}


def format_of_name(path: str | None) -> str | None:
    """The format that a file's extension says, if any."""
    return EXTENSIONS.get(Path(path).suffix.lower()) if path else None


def choose_output_format(to: str | None, out: str | None, read: str) -> str:
    """The format to write: as told, by OUT's name, or like the table where that is text."""
    return to or format_of_name(out) or ("csv" if read in BINARY_FORMATS else read)


def require_columnar() -> None:
    """Raise MissingExtra where files that hold columns cannot be read or written."""
    require("pyarrow", extra="tables", purpose="Arrow and Parquet files")


class InputTable:
    """A table to read.

    Raises OSError where it cannot be opened, Broken where it is not what it is called, MissingExtra where its format
    needs a library that is not installed.
    """

    def __init__(self, path: str, form: str | None) -> None:
        self._advance: Callable[[int], None] = lambda steps: None
        self._open = contextlib.ExitStack()
        self.name = "standard input" if path == "-" else path
        self._file: Any = _standard_input() if path == "-" else open(path, "rb")  # noqa: SIM115
        self._open.callback(self._file.close)
        self._more: Callable[[int], bytes] = getattr(self._file, "read1", self._file.read)
        self._begun = b""
        self.form = form or format_of_name(path) or "unknown"
        if self.form in ("unknown", "arrow", "arrow-file"):
            self._begun = self.source(6)
            found = next((form for mark, form in _MARKS.items() if self._begun.lstrip().startswith(mark)), "csv")
            self.form = found if self.form == "unknown" or found in BINARY_FORMATS else self.form
        if self.form in BINARY_FORMATS:
            require_columnar()
        self.total: int | None = None
        if self.form in ("arrow-file", "parquet"):
            self._schema, self._batches = self._by_batches(path)
        elif path != "-" and Path(path).is_file():
            self.total = os.fstat(self._file.fileno()).st_size

    def watch(self, advance: Callable[[int], None]) -> None:
        """Tell how much is read: of `total`, which counts bytes, or rows of files that hold columns."""
        self._advance = advance

    def source(self, size: int) -> bytes:
        """Up to so many bytes, none at the end."""
        # Piece by piece: a longer reading of a pipe would not be stopped by a signal that comes between two of them.
        parts, self._begun = [self._begun[:size]], self._begun[size:]
        missing = size - len(parts[0])
        while missing > 0 and (piece := self._more(missing)):
            parts.append(piece)
            missing -= len(piece)
        self._advance(size - missing)
        return b"".join(parts)

    def chunks(self, plan: Plan, style: Style, passthrough: Passthrough) -> Iterator[Chunk]:
        """The table's rows as the service reads them."""
        if self.form in ("arrow-file", "parquet"):
            from gramwatt.engine.tables.arrow_reader import read_batches

            constants = plan.constants
            return read_batches(
                plan.calculator, self._schema, self._batches, passthrough=passthrough, constants=constants
            )
        return batch.read_chunks(plan, batch.TableFormat(self.form, style), self.source, passthrough)

    @property
    def wire_form(self) -> str:
        """The format in which `wire` gives the table."""
        return "arrow" if self.form in BINARY_FORMATS else self.form

    def wire(self) -> Iterator[bytes]:
        """The table's bytes, in a format that the service takes."""
        if self.form not in ("arrow-file", "parquet"):
            while piece := self.source(READ_SIZE):
                yield piece
            return
        from gramwatt.files.columnar import encode_stream

        yield from encode_stream(self._schema, self._batches)

    def _by_batches(self, path: str) -> tuple[pa.Schema, Iterator[pa.RecordBatch]]:
        """The columns and the record batches of a file whose end must be read first."""
        named = path != "-" and Path(path).is_file()
        if not named:
            whole: Any = tempfile.TemporaryFile(prefix="gramwatt-")  # noqa: SIM115
            self._open.callback(whole.close)
            while piece := self.source(READ_SIZE):
                whole.write(piece)
            self._file = whole  # which `source` is not asked for
        self._file.seek(0)
        self._begun = b""
        from gramwatt.files.columnar import open_columnar

        try:
            opened = open_columnar(self._file, path if named else None, self.form, self._open, self._read_rows)
        except MalformedTable:
            self.close()
            raise
        self.total = opened.rows
        return opened.schema, opened.batches

    def _read_rows(self, rows: int) -> None:
        self._advance(rows)  # as it is when the rows are read

    def close(self) -> None:
        """Close what was opened."""
        self._open.close()


def _standard_input() -> Any:
    """Standard input without a buffer: a thread that waits for it must hold no lock when the program ends."""
    try:
        return _Pipe(sys.stdin.fileno())
    except (OSError, ValueError):  # it is no file, as in a test
        return io.BytesIO(sys.stdin.buffer.read())


class _Pipe(io.FileIO):
    """A pipe that is looked at now and then while nothing comes: a signal may have come just before the waiting."""

    def __init__(self, number: int) -> None:
        super().__init__(number, "rb", closefd=False)

    def read(self, size: int | None = -1) -> bytes:
        """What is there, up to so many bytes."""
        while os.name == "posix" and not select.select([self], [], [], POLL_INTERVAL)[0]:
            pass
        return super().read(-1 if size is None else size) or b""
