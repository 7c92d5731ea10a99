"""Compute tables with the service's own functions, in this process, without HTTP."""

from __future__ import annotations

import io
from collections.abc import Callable


class NotAvailable(Exception):
    """The version of the service has no such functions."""


def batch() -> Callable[[bytes, str], bytes]:
    """Return a function of a body and its format that reads, computes and writes. Raises NotAvailable."""
    try:
        from gramwatt.engine.tables.batch import RowCounts, TableFormat, chunks, opened, writer, written
        from gramwatt.engine.tables.compute import Plan
        from gramwatt.engine.tables.header import Passthrough
    except ImportError as error:
        raise NotAvailable(str(error)) from None

    def respond(body: bytes, kind: str) -> bytes:
        form = TableFormat(kind.removesuffix("-units"))
        plan = Plan("pack-current")
        plan, pieces = opened(plan, chunks(plan, form, io.BytesIO(body).read, Passthrough(frozenset(), False)))
        tally = RowCounts()
        made = b"".join(written(plan, pieces, writer(plan, form), tally))
        if tally.broken or tally.faulty:
            raise ValueError(f"{tally.faulty} invalid rows; {tally.broken}")
        return made

    return respond
