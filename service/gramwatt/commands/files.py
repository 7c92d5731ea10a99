"""Tables in files and pipes: which format, read in pieces, written beside their place and moved there when whole."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from gramwatt.edge.tables import batch
from gramwatt.edge.tables.answering import Plan
from gramwatt.edge.tables.arrow_in import ROWS, read_batches
from gramwatt.edge.tables.chunk import Broken, Chunk
from gramwatt.edge.tables.heading import Keeping
from gramwatt.edge.tables.writing import Style

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
BINARY: Final = ("arrow", "arrow-file", "parquet")
PIECE: Final = 256 * 1024
ROW_GROUP: Final = 131_072
"""Rows of a Parquet file's groups."""
_MARKS: Final = {
    b"PAR1": "parquet",
    b"ARROW1": "arrow-file",
    b"\xff\xff\xff\xff": "arrow",
    b"[": "json",
    b"{": "ndjson",
}


def of_name(path: str | None) -> str | None:
    """The format that a file's extension says, if any."""
    return EXTENSIONS.get(Path(path).suffix.lower()) if path else None


def written_as(to: str | None, out: str | None, read: str) -> str:
    """The format to write: as told, by OUT's name, or like the table where that is text."""
    return to or of_name(out) or ("csv" if read in BINARY else read)


class Table:
    """A table to read. Raises OSError where it cannot be opened, Broken where it is not what it is called."""

    def __init__(self, path: str, form: str | None) -> None:
        self._advance: Callable[[int], None] = lambda steps: None
        self._open = contextlib.ExitStack()
        self.name = "standard input" if path == "-" else path
        raw: Any = sys.stdin.buffer if path == "-" else open(path, "rb")  # noqa: SIM115
        if path != "-":
            self._open.callback(raw.close)
        self._file = raw
        self._begun = b""
        self.form = form or of_name(path) or "unknown"
        if self.form in ("unknown", "arrow", "arrow-file"):
            self._begun = raw.read(6)
            found = next((form for mark, form in _MARKS.items() if self._begun.lstrip().startswith(mark)), "csv")
            self.form = found if self.form == "unknown" or found in BINARY else self.form
        self.total: int | None = None
        if self.form in ("arrow-file", "parquet"):
            self._schema, self._batches = self._by_batches(path)
        elif path != "-" and Path(path).is_file():
            self.total = os.fstat(raw.fileno()).st_size

    def watch(self, advance: Callable[[int], None]) -> None:
        """Tell how much is read: of `total`, which counts bytes, or rows of files that hold columns."""
        self._advance = advance

    def source(self, size: int) -> bytes:
        """Up to so many bytes, none at the end."""
        begun, self._begun = self._begun[:size], self._begun[size:]
        read: bytes = begun + self._file.read(size - len(begun))
        self._advance(len(read))
        return read

    def chunks(self, plan: Plan, style: Style, keeping: Keeping) -> Iterator[Chunk]:
        """The table's rows as the service reads them."""
        if self.form in ("arrow-file", "parquet"):
            constants = plan.constants
            return read_batches(plan.calculator, self._schema, self._batches, keeping=keeping, constants=constants)
        return batch.chunks(plan, batch.Form(self.form, style), self.source, keeping)

    @property
    def wire_form(self) -> str:
        """The format in which `wire` gives the table."""
        return "arrow" if self.form in BINARY else self.form

    def wire(self) -> Iterator[bytes]:
        """The table's bytes, in a format that the service takes."""
        if self.form not in ("arrow-file", "parquet"):
            while piece := self.source(PIECE):
                yield piece
            return
        yield from stream_of(self._schema, self._batches)

    def _by_batches(self, path: str) -> tuple[pa.Schema, Iterator[pa.RecordBatch]]:
        """The columns and the record batches of a file whose end must be read first."""
        if path == "-" or not Path(path).is_file():
            whole: Any = tempfile.TemporaryFile(prefix="gramwatt-")  # noqa: SIM115
            self._open.callback(whole.close)
            whole.write(self._begun)
            shutil.copyfileobj(self._file, whole, PIECE)
            self._file = whole
        self._file.seek(0)
        self._begun = b""
        try:
            if self.form == "parquet":
                parquet = pq.ParquetFile(self._file, pre_buffer=False, buffer_size=4 * 1024 * 1024)
                self.total = parquet.metadata.num_rows
                return parquet.schema_arrow, self._guarded(parquet.iter_batches(batch_size=ROWS))
            mapped = pa.PythonFile(self._file) if path == "-" else self._open.enter_context(pa.memory_map(path))
            reader = pa.ipc.open_file(mapped)
            each = (reader.get_batch(at) for at in range(reader.num_record_batches))
            return reader.schema, self._guarded(each)
        except (pa.ArrowException, OSError, EOFError) as error:
            kind = "Parquet" if self.form == "parquet" else "Arrow IPC"
            raise Broken(f"this is no {kind} file: {str(error).partition(chr(10))[0][:200]}") from None

    def _guarded(self, batches: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
        """The batches in slices that are answered at once; a fault of the file on the way breaks the table off."""
        rows = 0
        while True:
            try:
                found = next(batches, None)
            except (pa.ArrowException, OSError, EOFError) as error:
                detail = str(error).partition("\n")[0][:200]
                raise Broken(f"the file breaks off after row {rows}: {detail}") from None
            if found is None:
                return
            for start in range(0, found.num_rows, ROWS):
                piece = found.slice(start, ROWS)
                yield piece
                rows += piece.num_rows
                self._advance(piece.num_rows)

    def close(self) -> None:
        """Close what was opened."""
        self._open.close()


def stream_of(schema: pa.Schema, batches: Iterator[pa.RecordBatch]) -> Iterator[bytes]:
    """Record batches as the bytes of an Arrow IPC stream."""
    sink = _Taken()
    with pa.ipc.new_stream(sink, schema) as stream:
        yield sink.take()
        for each in batches:
            stream.write_batch(each)
            yield sink.take()
    yield sink.take()


class _Taken:
    """A file that keeps what is written until it is taken."""

    closed = False

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, data: Any) -> int:
        self._parts.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Nothing waits."""

    def take(self) -> bytes:
        parts, self._parts = self._parts, []
        return b"".join(parts)


class _Readable:
    """Pieces of bytes as the file that the Arrow library reads."""

    closed = False

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces, self._left = pieces, b""

    def read(self, size: int = -1) -> bytes:
        parts, missing = [self._left], size - len(self._left)
        while missing > 0 and (piece := next(self._pieces, None)) is not None:
            parts.append(piece)
            missing -= len(piece)
        whole = b"".join(parts)
        read, self._left = whole[:size], whole[size:]
        return read


class Output:
    """OUT, or standard output. A file is written beside its place and moved there by `keep`; else nothing is left."""

    def __init__(self, out: str | None) -> None:
        self.name = "standard output" if out in (None, "-") else str(out)
        self.on_terminal = out in (None, "-") and sys.stdout.isatty()
        self._path: Path | None = None
        self._beside: str | None = None
        self._at = 0
        self._file: IO[bytes]
        if out in (None, "-"):
            self._file = sys.stdout.buffer
            return
        path = Path(str(out)).resolve()
        if path.exists() and not path.is_file():
            self._file = open(path, "wb")  # noqa: SIM115 - a device or a pipe: nothing can be moved onto it
            return
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
        try:
            handle, self._beside = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        except OSError as error:
            raise OSError(error.errno, error.strerror, self.name) from None
        self._file, self._path = os.fdopen(handle, "wb"), path
        if hasattr(os, "fchmod"):
            os.fchmod(self._file.fileno(), mode)

    def write(self, data: Any) -> int:
        """Write; for the Arrow library, which looks like a file to it."""
        self._at += self._file.write(data)
        return len(data)

    def tell(self) -> int:
        """How much was written: a pipe cannot say so itself."""
        return self._at

    def flush(self) -> None:
        """Write out what waits."""
        self._file.flush()

    closed = False

    def keep(self) -> None:
        """The table is whole: move it to its place."""
        self._file.flush()
        if self._beside is not None and self._path is not None:
            self._file.close()
            os.replace(self._beside, self._path)
            self._beside = None

    def __enter__(self) -> Output:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.name != "standard output":
            self._file.close()
        if self._beside is not None:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(self._beside)


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def save(
    pieces: Iterator[bytes], form: str, output: Output, each: Callable[[pa.RecordBatch], None] | None = None
) -> None:
    """Write an answer, in the service's bytes of its format, into a file of ``form``. ``each`` sees every batch."""
    if form not in BINARY or (form == "arrow" and each is None):
        for piece in pieces:
            output.write(piece)
        return
    with contextlib.closing(pa.ipc.open_stream(pa.PythonFile(_Readable(pieces), mode="r"))) as reader:
        batches = _seen(reader, each)
        if form == "parquet":
            _save_parquet(reader.schema, batches, output)
            return
        make: Any = pa.ipc.new_stream if form == "arrow" else pa.ipc.new_file
        with make(output, reader.schema) as writer:
            for found in batches:
                writer.write_batch(found)


def _seen(reader: Any, each: Callable[[pa.RecordBatch], None] | None) -> Iterator[pa.RecordBatch]:
    for found in reader:
        if each is not None:
            each(found)
        yield found


def _save_parquet(schema: pa.Schema, batches: Iterator[pa.RecordBatch], output: Output) -> None:
    waiting: list[pa.RecordBatch] = []
    with pq.ParquetWriter(output, schema) as writer:
        for found in batches:
            waiting.append(found)
            if sum(each.num_rows for each in waiting) >= ROW_GROUP:
                writer.write_table(pa.Table.from_batches(waiting, schema))
                waiting.clear()
        if waiting:
            writer.write_table(pa.Table.from_batches(waiting, schema))
