"""Compute tables with the service's own functions, in this process, without HTTP."""

from __future__ import annotations

import io
from collections.abc import Callable


class NotAvailable(Exception):
    """The version of the service has no such functions."""


def batch() -> Callable[[bytes, str], bytes]:
    """Return a function of a body and its format that reads, computes and writes. Raises NotAvailable."""
    try:
        from gramwatt.engine.tables.batch import (
            RowCounts,
            TableFormat,
            make_writer,
            read_chunks,
            read_first_chunk,
            write_table,
        )
        from gramwatt.engine.tables.header import Passthrough
        from gramwatt.engine.tables.plan import Plan
    except ImportError as error:
        raise NotAvailable(str(error)) from None

    def respond(body: bytes, kind: str) -> bytes:
        form = TableFormat(kind.removesuffix("-units"))
        plan = Plan("pack-current")
        plan, pieces = read_first_chunk(
            plan, read_chunks(plan, form, io.BytesIO(body).read, Passthrough(frozenset(), False))
        )
        counts = RowCounts()
        made = b"".join(write_table(plan, pieces, make_writer(plan, form), counts))
        if counts.failure or counts.invalid:
            raise ValueError(f"{counts.invalid} invalid rows; {counts.failure}")
        return made

    return respond
