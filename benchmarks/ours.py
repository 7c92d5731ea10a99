"""The one place that knows how to call the service's tables in this process, without HTTP."""

from __future__ import annotations

import io
from collections.abc import Callable


class NotAvailable(Exception):
    """This checkout has no such function."""


def batch() -> Callable[[bytes, str], bytes]:
    """A function of a body and its format that reads, calculates and writes. Raises NotAvailable."""
    try:
        from gramwatt.edge.tables.answering import Plan
        from gramwatt.edge.tables.batch import Form, Tally, chunks, opened, writer, written
        from gramwatt.edge.tables.heading import Keeping
    except ImportError as error:
        raise NotAvailable(str(error)) from None

    def answered(body: bytes, kind: str) -> bytes:
        form = Form(kind.removesuffix("-units"))
        plan = Plan("pack-current")
        plan, pieces = opened(plan, chunks(plan, form, io.BytesIO(body).read, Keeping(frozenset(), False)))
        tally = Tally()
        made = b"".join(written(plan, pieces, writer(plan, form), tally))
        if tally.broken or tally.faulty:
            raise ValueError(f"{tally.faulty} rows without an answer; {tally.broken}")
        return made

    return answered
