"""What a response holds while its client does not read, and what equal errors of many rows cost."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import EnvironBuilder

from gramwatt.engine.column_types import Cells
from gramwatt.engine.tables.chunks import Chunk
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.row_errors import MAX_DETAILED_ROWS, RowErrorReporter
from gramwatt.model.messages import InputError
from gramwatt.web import create_app
from gramwatt.web.middleware.work_limits import CANCELLED_KEY, WorkLimits
from gramwatt.web.table_responses import TEXT_ROWS

PACK = "pack-energy"
GRID = "/v1/endurance/sweep?cells=6&vary=mean_power&from=10&to=400&count=40&vary=capacity&from=900&to=1500&count=500"


def ask_for_table(client: FlaskClient, form: str) -> Iterator[bytes]:
    body = b"cells,capacity\n" + b"6,1300\n" * 40_000
    answer = client.post(f"/v1/{PACK}/batch?format={form}", data=body, content_type="text/csv", buffered=False)
    assert answer.status_code == 200
    return iter(answer.iter_encoded())


def ask_for_grid(client: FlaskClient, form: str) -> Iterator[bytes]:
    answer = client.get(f"{GRID}&format={form}", buffered=False)
    assert answer.status_code == 200
    return iter(answer.iter_encoded())


@pytest.mark.parametrize("ask", [ask_for_table, ask_for_grid])
@pytest.mark.parametrize("form", ["csv", "json", "ndjson"])
def test_text_is_written_in_small_chunks(client: FlaskClient, ask: Any, form: str) -> None:
    """A client that does not read has one chunk held for it, of a bounded number of rows."""
    chunks = list(ask(client, form))
    lines = [chunk.count(b"\n") for chunk in chunks]
    assert max(lines) <= TEXT_ROWS + 1  # the header of CSV, the bracket of JSON
    assert sum(lines) >= 20_000


def test_the_first_chunk_is_not_held_until_the_end() -> None:
    environ = EnvironBuilder(GRID + "&format=csv").get_environ()
    chunks = iter(create_app().wsgi_app(environ, lambda *_: lambda _: None))
    first = next(chunks)
    next(chunks)
    other = first[1:]
    assert sys.getrefcount(first) == sys.getrefcount(other)


def test_rows_with_the_same_error_share_it() -> None:
    """A table in which every cell has an uncertainty that was not requested makes one error, not one for each row."""
    cells: dict[str, Cells] = {"cells": ["6"] * 5000, "capacity": ["1300 ± 20"] * 5000}
    (piece,) = compute_batch(Plan(PACK), Chunk(0, 5000, cells, text=True))
    assert len(piece.errors) == 5000
    assert len({id(error) for errors in piece.errors.values() for error in errors}) == 1


def test_short_errors_are_those_of_their_rows() -> None:
    """Rows alternate between more places of errors than are remembered."""
    reporter = RowErrorReporter(invalid_rows=MAX_DETAILED_ROWS)
    for row in range(1000):
        name = f"input{row % 300}"
        errors = [InputError(f"/{name}/0", "wrong", None, ""), InputError("", "wrong", None, "")][: 1 + row % 2]
        expected = f"2 errors in {name}, the row" if row % 2 else f"1 error in {name}"
        assert reporter.format_text(row, errors).startswith(f"row {row}: {expected}; the ")
    many = [InputError(f"/input{at}", "wrong", None, "") for at in range(7)]
    assert reporter.to_object(1, many)["detail"].startswith("7 errors in input0, input1, input2, input3, input4; the ")


def count_running(
    environ: dict[str, Any], application: Any = lambda environ, start: [b"1", b"2"]
) -> tuple[list[int], Iterable[bytes] | None]:
    """Begin a request; return the changes in the number of those that run, and the response if there is one."""
    changes: list[int] = []
    work = WorkLimits(application, 30, lambda state, change: changes.append(change))
    try:
        return changes, work({"wsgi.input": io.BytesIO(), **environ}, lambda *_: None)
    except ZeroDivisionError:
        return changes, None


def test_long_requests_are_counted_on_a_wsgi_server() -> None:
    """Freed memory goes back to the system there too: once, however a response ends."""
    changes, response = count_running({"PATH_INFO": f"/v1/{PACK}/batch"})
    assert changes == [1]
    assert list(response or ()) == [b"1", b"2"]
    assert changes == [1]
    for _ in range(2):
        response.close()  # type: ignore[union-attr]
        assert changes == [1, -1]


def test_a_long_request_that_fails_runs_no_longer() -> None:
    changes, response = count_running({"PATH_INFO": f"/v1/{PACK}/batch"}, lambda environ, start: 1 / 0)
    assert (changes, response) == ([1, -1], None)


@pytest.mark.parametrize(
    "environ",
    [
        pytest.param({"PATH_INFO": f"/v1/{PACK}", "QUERY_STRING": "cells=6"}, id="short"),
        pytest.param({"PATH_INFO": f"/v1/{PACK}/batch", CANCELLED_KEY: lambda: False}, id="counted by the adapter"),
    ],
)
def test_other_requests_are_not_counted(environ: dict[str, Any]) -> None:
    changes, response = count_running(environ)
    response.close()  # type: ignore[union-attr]
    assert changes == []
