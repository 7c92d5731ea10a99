"""Output to a file or a pipe. A file is written beside its path and moved there when it is complete."""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Any

from gramwatt.files.formats import BINARY_FORMATS, require_columnar

if TYPE_CHECKING:
    import pyarrow as pa

    from gramwatt.engine.tables.plan import Plan
    from gramwatt.engine.tables.writers import Style, Writer


class Output:
    """A file, or standard output. `commit` moves the file to its path; without it no file is left."""

    closed = False

    def __init__(self, out: str | None) -> None:
        self.name = "standard output" if out in (None, "-") else str(out)
        self.is_terminal = out in (None, "-") and sys.stdout.isatty()
        self._path: Path | None = None
        self._temporary: str | None = None
        self._position = 0
        self._file: IO[bytes]
        if out in (None, "-"):
            self._file = sys.stdout.buffer
            return
        path = Path(str(out)).resolve()
        if path.exists() and not path.is_file():
            self._file = open(path, "wb")  # noqa: SIM115 - a device or a pipe: nothing can be moved onto it
            return
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_get_umask()
        try:
            handle, self._temporary = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        except OSError as error:
            raise OSError(error.errno, error.strerror, self.name) from None
        self._file, self._path = os.fdopen(handle, "wb"), path
        if hasattr(os, "fchmod"):
            os.fchmod(self._file.fileno(), mode)

    def write(self, data: Any) -> int:
        """Write all of the data. The Arrow library uses this class as a file."""
        rest = memoryview(data).cast("B")
        while rest:  # a standard output without a buffer may write less
            written = self._file.write(rest)
            self._position += written
            rest = rest[written:]
        return len(data)

    def tell(self) -> int:
        """Return how many bytes were written; a pipe does not know."""
        return self._position

    def flush(self) -> None:
        """Flush the buffer."""
        self._file.flush()

    def commit(self) -> None:
        """Move the complete file to its path."""
        self._file.flush()
        if self._temporary is not None and self._path is not None:
            os.fsync(self._file.fileno())  # else the name may survive a power failure, and the bytes not
            self._file.close()
            os.replace(self._temporary, self._path)
            self._temporary = None

    def __enter__(self) -> Output:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if self.name != "standard output":
                self._file.close()
        finally:
            self.discard()

    def discard(self) -> None:
        """Remove the file unless it was committed."""
        if self._temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(self._temporary)


def _get_umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def make_table_writer(plan: Plan, form: str, style: Style) -> Writer:
    """Return the writer of a table for `save_output`. Raises MissingExtra if ``form`` needs a missing library."""
    from gramwatt.engine.tables.batch import TableFormat, make_writer

    if form in BINARY_FORMATS:
        require_columnar()
    return make_writer(plan, TableFormat("arrow" if form in BINARY_FORMATS else form, style))


def save_output(
    chunks: Iterator[bytes], form: str, output: Output, on_batch: Callable[[pa.RecordBatch], None] | None = None
) -> None:
    """Write a table into a file of format ``form``.

    Parameters
    ----------
    chunks
        The bytes that the writer of `make_table_writer` or the service makes: an Arrow stream for binary formats.
    form
        The format of the file.
    output
        The file.
    on_batch
        Called with each record batch of a binary format.
    """
    if form not in BINARY_FORMATS or (form == "arrow" and on_batch is None):
        for chunk in chunks:
            output.write(chunk)
        return
    require_columnar()
    from gramwatt.files.columnar import save_stream

    save_stream(chunks, form, output, on_batch)
