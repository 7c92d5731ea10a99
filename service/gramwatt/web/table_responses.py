"""Responses with a table: streamed while it is computed, or whole if it is short."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from typing import Final

from flask import Response, g

from gramwatt.engine import budget
from gramwatt.engine.limits import MAX_JOINED_RESPONSE_BYTES
from gramwatt.engine.tables import batch
from gramwatt.engine.tables.chunks import Chunk, MalformedTable
from gramwatt.engine.tables.plan import Plan, standing_codes
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.web.middleware import failures

TEXT_ROWS: Final = 4096
"""Rows written as text at once: about a megabyte, which is held for each client that does not read."""


def stream_table(
    plan: Plan,
    table_format: batch.TableFormat,
    chunks: Iterator[Chunk],
    finish: Callable[[], None],
    *,
    whole: bool = False,
) -> Response:
    """Return the response with the computed rows of ``chunks``; call ``finish`` at its end.

    A ``whole`` response is computed before it is sent, which is cheaper for short tables.
    """
    writer, counts, request_id = batch.make_writer(plan, table_format), batch.RowCounts(), g.request_id
    max_rows = None if table_format.name == "arrow" else TEXT_ROWS
    written = batch.write_table(plan, chunks, writer, counts, max_rows=max_rows)
    try:
        first = [next(written)]  # an error before anything is sent still becomes a status
    except BaseException:
        finish()
        raise

    def stream() -> Iterator[bytes]:
        try:
            yield first.pop()  # not held until the end
            yield from written
        except budget.Cancelled:
            return
        except failures.CONTROL_EXCEPTIONS:
            raise
        except BaseException as error:
            failures.log_failure(request_id, error)
            failure = MalformedTable("the service failed on these rows; it was logged", "internal-error")
            yield writer.write_failure(failure, counts.rows) + writer.end()
        finally:
            finish()

    return make_table_response(plan, table_format, _join(stream()) if whole else stream())


def _join(chunks: Iterator[bytes]) -> bytes | Iterator[bytes]:
    """Join the chunks of a response, unless they are too large to be held in memory."""
    first, size = [], 0
    for chunk in chunks:
        first.append(chunk)
        size += len(chunk)
        if size > MAX_JOINED_RESPONSE_BYTES:
            return itertools.chain(first, chunks)
    return b"".join(first)


def make_table_response(plan: Plan, table_format: batch.TableFormat, body: Iterator[bytes] | bytes) -> Response:
    """Return the response with the written table ``body``."""
    content_type = FORMATS[table_format.name]
    if table_format.name in ("csv", "tsv"):
        content_type += "; charset=utf-8; header=" + ("absent" if table_format.style.header == "off" else "present")
    response = Response(body, content_type=content_type)
    codes = standing_codes(plan.calculator)
    if codes:
        response.headers["Standing-Cautions"] = ", ".join(codes)
    return response
