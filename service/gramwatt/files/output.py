"""An answer written to a file or a pipe: beside its place, and moved there when whole."""

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

    from gramwatt.engine.tables.compute import Plan
    from gramwatt.engine.tables.writers import Style, Writer


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
        left = memoryview(data).cast("B")
        while left:  # a standard output without a buffer takes what it can
            written = self._file.write(left)
            self._at += written
            left = left[written:]
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
            os.fsync(self._file.fileno())  # else the new name may outlast a power failure, and the bytes not
            self._file.close()
            os.replace(self._beside, self._path)
            self._beside = None

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
        """Take away what is not complete."""
        if self._beside is not None:
            with contextlib.suppress(OSError):
                os.unlink(self._beside)


def _umask() -> int:
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
    pieces: Iterator[bytes], form: str, output: Output, each: Callable[[pa.RecordBatch], None] | None = None
) -> None:
    """Write an answer, in the service's bytes of its format, into a file of ``form``. ``each`` sees every batch."""
    if form not in BINARY_FORMATS or (form == "arrow" and each is None):
        for piece in pieces:
            output.write(piece)
        return
    require_columnar()
    from gramwatt.files.columnar import save_stream

    save_stream(pieces, form, output, each)
