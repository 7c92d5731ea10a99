"""Routes of tables: many sets of inputs at once (batch), and inputs varied over a range or grid (sweep)."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import Any, Final

from flask import Blueprint, Response, request
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from gramwatt.engine import budget
from gramwatt.engine.limits import MAX_TABLE_BYTES
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.tables import batch, ranking, sweep
from gramwatt.engine.tables.chunks import BLOCK_ROWS, InvalidTable, MalformedTable, Source
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.grid_cost import check_grid
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError
from gramwatt.web.headers import make_cacheable, make_not_modified, make_request_etag
from gramwatt.web.middleware.memory import keep_freed_memory
from gramwatt.web.problems import Problem, invalid_input
from gramwatt.web.request_body import MAX_DRAINED_BYTES, RequestBodyReader, wait_until
from gramwatt.web.request_parsing import check_no_query_inputs, read_json_body, read_query
from gramwatt.web.responses import find_calculator, make_post_only_problem
from gramwatt.web.sweep_axes import AXIS_NAMES, parse_query_axes, parse_sweep_body
from gramwatt.web.table_options import (
    BATCH_OPTIONS,
    SWEEP_OPTIONS,
    check_ranking_options,
    check_table_options,
    make_table_plan,
    negotiate_table_format,
    parse_passthrough,
    parse_table_format,
)
from gramwatt.web.table_responses import TEXT_ROWS, make_table_response, stream_table

SMALL_BODY_BYTES: Final = 256 * 1024

blueprint = Blueprint("tables", __name__, url_prefix="/v1")


@blueprint.post("/<calculator_name>/batch")
def batch_from_body(calculator_name: str) -> Response:
    """Compute a table row by row, in order, as it arrives."""
    calculator = find_calculator(calculator_name)
    constants, options, errors = read_query(BATCH_OPTIONS)
    request_format = parse_table_format(options)
    response_format = negotiate_table_format(options, request_format.name, has_errors=bool(errors))
    if not errors:  # else the format may be another than was requested
        errors += check_table_options(options, response_format, request_format)
    plan = make_table_plan(calculator, constants, options, errors)
    if errors:
        raise invalid_input(errors)
    if "arrow" in (request_format.name, response_format.name):
        batch.require_arrow()
    source, finish = _open_body()
    try:
        chunks = batch.read_chunks(plan, request_format, source, parse_passthrough(options))
        plan, chunks = batch.read_first_chunk(plan, chunks)
    except (MalformedTable, InvalidTable) as error:
        finish()
        raise _convert_table_error(error) from None
    except BaseException:
        finish()
        raise
    small = request.content_length is not None and request.content_length <= SMALL_BODY_BYTES
    response = stream_table(plan, response_format, chunks, finish, whole=small)
    response.headers["Cache-Control"] = "no-store"
    return response


def _convert_table_error(error: MalformedTable | InvalidTable) -> Problem:
    if isinstance(error, InvalidTable):
        return invalid_input(error.errors)
    return Problem(error.kind, f"{error.detail[:1].upper()}{error.detail[1:]}.")


def _open_body() -> tuple[Source, Callable[[], None]]:
    """Return a function that reads the body, and one to call at the end of the response."""
    limit = int(os.environ.get("GRAMWATT_LARGEST_TABLE") or MAX_TABLE_BYTES)
    # The reader enforces the limit, and drains some bytes beyond it so that the client sees the response.
    request.max_content_length = limit + MAX_DRAINED_BYTES
    declared = request.content_length
    if declared is not None and declared > limit:
        raise Problem("too-large", f"A table may have at most {limit} bytes.")
    stream, received, request_budget = request.stream, 0, budget.get_current()

    def read(size: int) -> bytes:
        nonlocal received
        try:
            chunk = stream.read(size)
        except RequestEntityTooLarge:
            raise MalformedTable(f"the table is larger than {limit} bytes", "too-large") from None
        except HTTPException:
            raise MalformedTable("the body ended early") from None
        except (TimeoutError, BlockingIOError):
            raise MalformedTable("the rest of the body did not arrive in time") from None
        except Exception as error:  # each server has its own exceptions for a body that ends early
            raise MalformedTable(f"the body could not be read: {type(error).__name__}") from None
        received += len(chunk)
        if request_budget is not None:
            request_budget.receive(len(chunk))
        if not chunk and declared is not None and received < declared:  # some servers report no error
            raise MalformedTable("the body ended early")
        return chunk

    if declared is not None and declared <= SMALL_BODY_BYTES:
        return read, lambda: None
    keep_freed_memory()
    reader = RequestBodyReader(read, limit, request.environ.get("gramwatt.wait_until", wait_until))
    return reader.read, reader.finish


@blueprint.get("/<calculator_name>/sweep")
def sweep_from_query(calculator_name: str) -> Response:
    """Return the results at the points of one varied input, or of a grid of two."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    inputs, options, errors = read_query(SWEEP_OPTIONS, repeated=AXIS_NAMES)
    response_format = negotiate_table_format(options, "json", has_errors=bool(errors))
    tag = make_request_etag(response_format.name)
    not_modified = make_not_modified(tag)
    if not_modified is not None:
        return not_modified
    axes = parse_query_axes(calculator, inputs, errors)
    return make_cacheable(_compute_sweep(calculator, inputs, options, axes, errors, response_format, text=True), tag)


@blueprint.post("/<calculator_name>/sweep")
def sweep_from_body(calculator_name: str) -> Response:
    """Return the same for ``given`` and ``vary`` in a JSON body."""
    calculator = find_calculator(calculator_name)
    query_inputs, options, errors = read_query(SWEEP_OPTIONS)
    response_format = negotiate_table_format(options, "json", has_errors=bool(errors))
    errors += check_no_query_inputs(query_inputs, SWEEP_OPTIONS)
    inputs, axes = parse_sweep_body(calculator, read_json_body(calculator), errors)
    response = _compute_sweep(calculator, inputs, options, axes, errors, response_format, text=False)
    response.headers["Cache-Control"] = "no-store"
    return response


def _compute_sweep(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, object],
    options: Mapping[str, Any],
    axes: list[sweep.Axis],
    errors: list[InputError],
    response_format: batch.TableFormat,
    *,
    text: bool,
) -> Response:
    under, own = None if text else "given", [axis.name for axis in axes]
    plan = make_table_plan(calculator, inputs, options, errors, text=text, under=under, own=own)
    if not errors:  # else the format may be another than was requested
        errors += check_table_options(options, response_format)
    errors += check_ranking_options(options)
    by = options["by"] or calculator.headline
    if options["best"]:
        errors += ranking.check_ranking(calculator, by)
    if errors:
        raise invalid_input(errors)
    check_grid(plan, axes)
    plan = sweep.show_axes(plan, axes)
    streamed_as_text = response_format.name != "arrow" and not options["best"]
    chunks = sweep.read_grid(axes, text=text, rows=TEXT_ROWS if streamed_as_text else sweep.CHUNK_POINTS)
    if not options["best"]:
        return stream_table(plan, response_format, chunks, lambda: None, whole=sweep.count_points(axes) <= BLOCK_ROWS)
    order = ranking.Ranking(options["best"], by, bool(options["ascending"]))
    results = (result for chunk in chunks for result in compute_batch(plan, chunk))
    best = ranking.to_batch_result(ranking.select_best(order, results))
    writer = batch.make_writer(plan, response_format)
    body = writer.begin(best) + (writer.write_rows(best) if best.rows else b"")
    return make_table_response(plan, response_format, iter([body, writer.end()]))
