"""The routes of tables: many questions at once, and an input varied. Nothing here knows any calculator by name."""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from flask import Blueprint, Response, g, request
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from gramwatt.engine import budget
from gramwatt.engine.columns import escape_name
from gramwatt.engine.limits import MAX_JOINED_RESPONSE_BYTES
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.tables import batch, ranking, sweep
from gramwatt.engine.tables.chunks import BLOCK_ROWS, Chunk, InvalidTable, MalformedTable, Source
from gramwatt.engine.tables.compute import Plan, check_constants, compute_batch, standing_codes
from gramwatt.engine.tables.grid_cost import check_grid
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError, join_with_or, quote_input
from gramwatt.web.headers import make_cacheable, make_not_modified, make_request_etag
from gramwatt.web.middleware import failures
from gramwatt.web.middleware.memory import keep_freed_memory
from gramwatt.web.problems import Problem, invalid_input
from gramwatt.web.request_body import MAX_DRAINED_BYTES, RequestBodyReader, wait_until
from gramwatt.web.request_parsing import read_json_body, read_query
from gramwatt.web.responses import find_calculator, make_post_only_problem
from gramwatt.web.table_options import (
    BATCH_OPTIONS,
    MAX_AXES,
    MAX_TABLE_BYTES,
    SWEEP_OPTIONS,
    get_max_points,
    make_table_plan,
    negotiate_table_format,
    parse_passthrough,
    parse_table_format,
)

SMALL_BODY_BYTES: Final = 256 * 1024
TEXT_ROWS: Final = 4096
"""Rows written as text at once: about a megabyte, which is held for each client that does not read."""
AXIS_NAMES: Final = ("vary", "from", "to", "count")

blueprint = Blueprint("tables", __name__, url_prefix="/v1")


@blueprint.post("/<calculator_name>/batch")
def batch_from_body(calculator_name: str) -> Response:
    """Answer a table of questions, row by row in order, as it arrives."""
    calculator = find_calculator(calculator_name)
    words, options, errors = read_query(BATCH_OPTIONS)
    sent = parse_table_format(options)
    wanted = negotiate_table_format(options, sent.name, faulty=bool(errors))
    plan = make_table_plan(calculator, words, options, errors)
    if errors:
        raise invalid_input(errors)
    if "arrow" in (sent.name, wanted.name):
        batch.require_arrow()
    source, finish = _source()
    try:
        plan, pieces = batch.read_first_chunk(plan, batch.read_chunks(plan, sent, source, parse_passthrough(options)))
    except (MalformedTable, InvalidTable) as error:
        finish()
        raise _problem(error) from None
    except BaseException:
        finish()
        raise
    small = request.content_length is not None and request.content_length <= SMALL_BODY_BYTES
    response = _streamed(plan, wanted, pieces, finish, whole=small)
    response.headers["Cache-Control"] = "no-store"
    return response


def _problem(error: MalformedTable | InvalidTable) -> Problem:
    if isinstance(error, InvalidTable):
        return invalid_input(error.errors)
    return Problem(error.kind, f"{error.detail[:1].upper()}{error.detail[1:]}.")


def _source() -> tuple[Source, Any]:
    """The body as a source, and what to call when done with it."""
    limit = int(os.environ.get("GRAMWATT_LARGEST_TABLE") or MAX_TABLE_BYTES)
    request.max_content_length = (
        limit + MAX_DRAINED_BYTES
    )  # the intake holds to the limit, and takes some more to drop it
    declared = request.content_length
    if declared is not None and declared > limit:
        raise Problem("too-large", f"A table may have at most {limit} bytes.")
    stream, received, granted = request.stream, 0, budget.get_current()

    def read(size: int) -> bytes:
        nonlocal received
        try:
            piece = stream.read(size)
        except RequestEntityTooLarge:
            raise MalformedTable(f"the table is larger than {limit} bytes", "too-large") from None
        except HTTPException:
            raise MalformedTable("the body breaks off") from None
        except (TimeoutError, BlockingIOError):
            raise MalformedTable("the rest of the body did not arrive in time") from None
        except Exception as error:  # each server has errors of its own for a body that breaks off
            raise MalformedTable(f"the body could not be read: {type(error).__name__}") from None
        received += len(piece)
        if granted is not None:
            granted.receive(len(piece))
        if not piece and declared is not None and received < declared:  # some servers end it as if it were whole
            raise MalformedTable("the body breaks off")
        return piece

    if declared is not None and declared <= SMALL_BODY_BYTES:
        return read, lambda: None
    keep_freed_memory()
    intake = RequestBodyReader(read, limit, request.environ.get("gramwatt.wait_until", wait_until))
    return intake.read, intake.finish


def _streamed(
    plan: Plan, wanted: batch.TableFormat, pieces: Iterator[Chunk], finish: Any, *, whole: bool = False
) -> Response:
    """The answer as it is made, or made ``whole`` before it is sent, which costs less where it is short."""
    into, tally, request_id = batch.make_writer(plan, wanted), batch.RowCounts(), g.request_id
    most_rows = None if wanted.name == "arrow" else TEXT_ROWS
    answering = batch.write_table(plan, pieces, into, tally, max_rows=most_rows)
    try:
        begun = [next(answering)]  # what fails before anything was sent can still be told by a status
    except BaseException:
        finish()
        raise

    def stream() -> Iterator[bytes]:
        try:
            yield begun.pop()  # not held until the end
            yield from answering
        except budget.Cancelled:
            return
        except failures.CONTROL_EXCEPTIONS:
            raise
        except BaseException as error:
            failures.log_failure(request_id, error)
            broken = MalformedTable("the service failed on these rows; it was logged", "internal-error")
            yield into.write_failure(broken, tally.rows) + into.end()
        finally:
            finish()

    return _table(plan, wanted, _join(stream()) if whole else stream())


def _join(chunks: Iterator[bytes]) -> bytes | Iterator[bytes]:
    """Join the chunks of an answer, or the first ones where it is longer than it should be in memory."""
    gathered, size = [], 0
    for chunk in chunks:
        gathered.append(chunk)
        size += len(chunk)
        if size > MAX_JOINED_RESPONSE_BYTES:
            return itertools.chain(gathered, chunks)
    return b"".join(gathered)


def _table(plan: Plan, wanted: batch.TableFormat, stream: Iterator[bytes] | bytes) -> Response:
    media = FORMATS[wanted.name]
    if wanted.name in ("csv", "tsv"):
        media += "; charset=utf-8; header=" + ("absent" if wanted.style.header == "off" else "present")
    response = Response(stream, content_type=media)
    codes = standing_codes(plan.calculator)
    if codes:
        response.headers["Standing-Cautions"] = ", ".join(codes)
    return response


@blueprint.get("/<calculator_name>/sweep")
def sweep_from_query(calculator_name: str) -> Response:
    """Answer the question in the query at points of one input, or of a grid of two."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    words, options, errors = read_query(SWEEP_OPTIONS, repeated=AXIS_NAMES)
    wanted = negotiate_table_format(options, "json", faulty=bool(errors))
    tag = make_request_etag(wanted.name)
    kept = make_not_modified(tag)
    if kept is not None:
        return kept
    axes = parse_query_axes(calculator, words, errors)
    return make_cacheable(_sweep(calculator, words, options, axes, errors, wanted, words_given=True), tag)


@blueprint.post("/<calculator_name>/sweep")
def sweep_from_body(calculator_name: str) -> Response:
    """The same with ``given`` and ``vary`` in a JSON body."""
    calculator = find_calculator(calculator_name)
    words, options, errors = read_query(SWEEP_OPTIONS)
    wanted = negotiate_table_format(options, "json", faulty=bool(errors))
    errors += [
        InputError(
            f"/{escape_name(name)}",
            "inputs stand in the body of a POST",
            quote_input(word),
            join_with_or(SWEEP_OPTIONS),
        )
        for name, word in words.items()
    ]
    given, axes = parse_sweep_body(calculator, read_json_body(calculator), errors)
    response = _sweep(calculator, given, options, axes, errors, wanted, words_given=False)
    response.headers["Cache-Control"] = "no-store"
    return response


def parse_sweep_body(
    calculator: Calculator[Any, Any], body: dict[str, Any], errors: list[InputError]
) -> tuple[dict[str, Any], list[sweep.Axis]]:
    """What stands fast and what varies, of a body with ``given`` and ``vary``; what is wrong is added to the faults."""
    given, vary = body.pop("given", {}), body.pop("vary", {})
    errors += [
        InputError(f"/{escape_name(name)}", "no such member", quote_input(value), "given and vary")
        for name, value in body.items()
    ]
    for name, value in (("given", given), ("vary", vary)):
        if not isinstance(value, dict):
            errors.append(InputError(f"/{name}", "not an object", quote_input(value), "an object by names of inputs"))
    varying = vary if isinstance(vary, dict) else {}
    given = given if isinstance(given, dict) else {}
    unused = check_constants(calculator, {n: v for n, v in given.items() if n in varying}, text=False)
    errors += [error.under("given") for error in unused]
    fast = {name: value for name, value in given.items() if name not in varying}
    return fast, _axes_of_body(calculator, varying, errors)


def parse_query_axes(
    calculator: Calculator[Any, Any], words: dict[str, str], errors: list[InputError]
) -> list[sweep.Axis]:
    """``vary`` with its own list of values, else with the next of ``from``, ``to`` and ``count``; its own single value
    is then not used."""
    ranges = {name: request.args.getlist(name) for name in AXIS_NAMES}
    axes: list[sweep.Axis | None] = []
    for name in dict.fromkeys(ranges["vary"]):
        own = words.pop(name, None)
        if own is not None and ("," in own or not ranges["from"]):
            axis, found = sweep.make_list_axis(calculator, name, own.split(","))
        else:
            ends = {end: ranges[end].pop(0) if ranges[end] else None for end in ("from", "to", "count")}
            axis, found = _even(calculator, name, ends, text=True)
            found += check_constants(calculator, {} if own is None else {name: own}, text=True)
        axes.append(axis)
        errors += found
    for end in ("from", "to", "count"):
        if ranges[end]:
            errors.append(
                InputError(f"/{end}", f"{end} without an input to vary", quote_input(ranges[end][0]), "vary=name")
            )
    return _checked(calculator, axes, len(set(ranges["vary"])), errors)


def _axes_of_body(
    calculator: Calculator[Any, Any], vary: Mapping[str, object], errors: list[InputError]
) -> list[sweep.Axis]:
    axes: list[sweep.Axis | None] = []
    for name, points in vary.items():
        if isinstance(points, list):
            axis, found = sweep.make_list_axis(calculator, name, points)
        elif isinstance(points, dict) and set(points) == {"from", "to", "count"}:
            axis, found = _even(calculator, name, points, text=False)
        else:
            accepted = "a list of values, or an object with from, to and count"
            axis, found = None, [InputError("", "neither a list nor a range", quote_input(points), accepted)]
        axes.append(axis)
        own = f"/{escape_name(name)}"
        errors += [(error if error.pointer == own else error.under(name)).under("vary") for error in found]
    return _checked(calculator, axes, len(vary), errors, under="vary")


def _even(
    calculator: Calculator[Any, Any], name: str, ends: Mapping[str, object], *, text: bool
) -> tuple[sweep.Axis | None, list[InputError]]:
    most = get_max_points(calculator)
    told = ends["count"]
    count = (
        int(told) if text and isinstance(told, str) and told.isascii() and told.isdigit() and len(told) < 9 else told
    )
    if isinstance(count, float) and count.is_integer():
        count = int(count)
    errors = []
    if isinstance(count, bool) or not isinstance(count, int) or not 2 <= count <= most:
        errors.append(InputError("/count", f"{name}: not a number of points", quote_input(told), f"2 to {most}"))
        count = 2
    missing = [end for end in ("from", "to") if ends[end] is None]
    if missing:
        errors += [
            InputError(f"/{end}", f"{name} is varied, {end} is missing", None, "an end of the range") for end in missing
        ]
        return None, errors
    axis, found = sweep.make_even_axis(calculator, name, ends["from"], ends["to"], count, text=text)
    return axis, errors + found


def _checked(
    calculator: Calculator[Any, Any],
    axes: Sequence[sweep.Axis | None],
    named: int,
    errors: list[InputError],
    *,
    under: str | None = None,
) -> list[sweep.Axis]:
    if not 1 <= named <= MAX_AXES:
        what = "no input is varied" if named == 0 else f"{named} inputs are varied"
        errors.append(
            InputError("/vary", what, None, f"one or two of {join_with_or(sweep.variable_inputs(calculator))}")
        )
    known = [axis for axis in axes if axis is not None]
    for axis in known:
        if axis.count > get_max_points(calculator):
            error = InputError(
                f"/{axis.name}", f"{axis.count} points", None, f"up to {get_max_points(calculator)} points"
            )
            errors.append(error if under is None else error.under(under))
    return known


def _sweep(
    calculator: Calculator[Any, Any],
    given: Mapping[str, object],
    options: Mapping[str, Any],
    axes: list[sweep.Axis],
    errors: list[InputError],
    wanted: batch.TableFormat,
    *,
    words_given: bool,
) -> Response:
    plan = make_table_plan(
        calculator, given, options, errors, words=words_given, under=None if words_given else "given"
    )
    by = options["by"] or calculator.headline
    if options["best"]:
        errors += ranking.check_ranking(calculator, by)
    if errors:
        raise invalid_input(errors)
    check_grid(plan, axes)
    plan = sweep.show_axes(plan, axes)
    small = wanted.name != "arrow" and not options["best"]
    pieces = sweep.read_grid(axes, text=words_given, rows=TEXT_ROWS if small else sweep.CHUNK_POINTS)
    if not options["best"]:
        return _streamed(plan, wanted, pieces, lambda: None, whole=sweep.count_points(axes) <= BLOCK_ROWS)
    wish = ranking.Ranking(options["best"], by, bool(options["least"]))
    found = ranking.to_batch_result(
        ranking.select_best(wish, (piece for chunk in pieces for piece in compute_batch(plan, chunk)))
    )
    into = batch.make_writer(plan, wanted)
    return _table(plan, wanted, iter([into.begin(found) + (into.write_rows(found) if found.rows else b""), into.end()]))
