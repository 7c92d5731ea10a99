"""Parse requests: inputs and options of a query, a strict JSON body, and the formats of body and response."""

from __future__ import annotations

import functools
import json
import os
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from flask import current_app, request
from werkzeug.datastructures import MIMEAccept
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge
from werkzeug.http import parse_accept_header

from gramwatt.engine import columns, nested
from gramwatt.engine.column_types import ABSENT
from gramwatt.engine.columns import escape_name
from gramwatt.engine.formats import BASE_MEDIA_TYPES, OutputOptions, get_media_types
from gramwatt.engine.limits import MAX_RECORDING_BYTES
from gramwatt.engine.serializers import MAX_DIGITS, TextStyle
from gramwatt.engine.strict_json import InvalidJson, parse_strict_json
from gramwatt.model import Calculator, Choice, Count, Flag, Kind, Text
from gramwatt.model.messages import InputError, join_with_or, quote_input, suggest
from gramwatt.web.problems import Problem, invalid_input

DIGITS_OPTION: Final = Count(
    "Significant digits of the results in JSON, CSV, Arrow and text. All have twelve.",
    at_least=1,
    at_most=MAX_DIGITS,
    default=MAX_DIGITS,
)
DECIMAL_OPTION: Final = Choice(
    (".", ","),
    "Decimal sign of numbers in CSV and in a bare value; with a comma, lists and CSV are separated by semicolons.",
    default=".",
)
RESPONSE_OPTIONS: Final[Mapping[str, Kind]] = {
    "units": Text(
        "Units of results, as result:unit pairs separated by commas: usable_energy:kJ.", max_length=400, optional=True
    ),
    "working": Flag("For JSON: add how each result was computed, step by step, and the sources."),
    "format": Choice(
        tuple(BASE_MEDIA_TYPES), "The format of the response, instead of an Accept header.", optional=True
    ),
    "header": Choice(
        ("units", "names", "off"),
        "For CSV: a header line with units in brackets, with bare names, or no header line.",
        default="units",
    ),
    "digits": DIGITS_OPTION,
    "decimal": DECIMAL_OPTION,
}


FORMATS_OF_OPTIONS: Final[Mapping[str, Collection[str]]] = {
    "units": ("json", "csv"),
    "working": ("json",),
    "header": ("csv",),
    "digits": ("json", "csv"),
    "decimal": ("csv",),
}
"""The formats of a response that each option changes. In others it is an error unless it has its default value."""


@functools.cache
def get_response_options(calculator: Calculator[Any, Any]) -> Mapping[str, Kind]:
    """Return the options of a calculator's response; the calculator's own formats are among them."""
    if not calculator.formats:
        return RESPONSE_OPTIONS
    formats = "; ".join(f"{each.name}: {each.description}" for each in calculator.formats)
    option = Choice(
        tuple(get_media_types(calculator)),
        f"The format of the response, instead of an Accept header. {formats}",
        optional=True,
    )
    return {**RESPONSE_OPTIONS, "format": option}


def make_output_options(options: Mapping[str, Any], format_name: str, errors: list[InputError]) -> OutputOptions:
    """Return the engine's output options; append the errors of options that do not fit to ``errors``."""
    if not errors:  # else the format may be another than was requested
        errors += check_formats_of_options(RESPONSE_OPTIONS, options, FORMATS_OF_OPTIONS, format_name)
    style = TextStyle(options["header"], options["digits"], options["decimal"])
    return OutputOptions(format_name, parse_result_units(options["units"], errors), bool(options["working"]), style)


def check_formats_of_options(
    kinds: Mapping[str, Kind],
    values: Mapping[str, Any],
    formats: Mapping[str, Collection[str]],
    format_name: str,
) -> list[InputError]:
    """Return an error for each option that the format of the response would ignore."""
    return [
        InputError(
            f"/{name}",
            f"{name} does not apply to a response in the format {format_name}",
            quote_input(values[name]),
            f"no {name}, or format={join_with_or(fitting)}",
        )
        for name, fitting in formats.items()
        if format_name not in fitting and values[name] != _get_default(kinds[name])[0]
    ]


VALUE_OPTIONS: Final[Mapping[str, Kind]] = {
    "unit": Text("Unit of the value.", max_length=16, optional=True),
    "digits": DIGITS_OPTION,
    "decimal": DECIMAL_OPTION,
    "errors": Choice(
        ("status", "text"),
        "status: errors as problems with their status. text: errors with status 200, as a text that begins with #ERR, "
        "since a spreadsheet cell shows nothing of a failed request.",
        default="status",
    ),
}


def read_query(
    options: Mapping[str, Kind], *, repeated: Collection[str] = ()
) -> tuple[dict[str, str], dict[str, Any], list[InputError]]:
    """Read the query of the current request.

    Names in ``repeated`` may occur more than once and are left to the caller.

    Returns
    -------
    inputs
        Texts by the name of the input.
    values
        Values of all options, by name.
    errors
        Errors of either.
    """
    errors = [
        InputError(
            f"/{escape_name(name)}",
            f"{quote_input(name)} is given {len(values)} times",
            quote_input(", ".join(values)),
            "each name once",
        )
        for name, values in request.args.lists()
        if len(values) > 1 and name not in repeated
    ]
    inputs = {name: text for name, text in request.args.items() if name not in repeated}
    option_values: dict[str, Any] = {}
    for name, kind in options.items():
        value, option_errors = _parse_option(kind, inputs.pop(name)) if name in inputs else _get_default(kind)
        option_values[name] = value
        errors += [error.under(name) for error in option_errors]
    return inputs, option_values, errors


def _parse_option(kind: Kind, text: object) -> tuple[Any, Sequence[InputError]]:
    column = nested.read_column(kind, [text], text=True)
    value = columns.fill_default(kind, column, ~column.present).values[0]
    return _to_python(kind, value), column.errors.get(0, ())


@functools.cache
def _get_default(kind: Kind) -> tuple[Any, Sequence[InputError]]:
    return _parse_option(kind, ABSENT)


def _to_python(kind: Kind, value: Any) -> Any:
    if isinstance(kind, Choice):
        return kind.options[value] if value >= 0 else kind.default
    if isinstance(kind, Count):
        return int(value) if value == value else kind.default
    return value.item() or None


def check_no_query_inputs(inputs: Mapping[str, str], options: Collection[str]) -> list[InputError]:
    """Return an error for each input in the query of a POST, where only options are allowed."""
    return [
        InputError(
            f"/{escape_name(name)}",
            f"{quote_input(name)} is in the query of a POST{suggest(name, options)}",
            quote_input(text),
            f"inputs in the JSON body; in the query only {join_with_or(options)}",
        )
        for name, text in inputs.items()
    ]


def parse_result_units(text: str | None, errors: list[InputError]) -> dict[str, str]:
    """Parse ``usable_energy:kJ,current:mA`` to a mapping; append an error for each invalid pair to ``errors``."""
    pairs: dict[str, str] = {}
    for pair in text.split(",") if text else ():
        name, colon, spelling = pair.partition(":")
        if colon and name not in pairs:
            pairs[name] = spelling
        else:
            accepted = "result:unit pairs separated by commas, each result once"
            errors.append(InputError("/units", f"{pair!r} is not a new result:unit pair", quote_input(text), accepted))
    return pairs


def max_recording_bytes() -> int:
    """Return the maximum size of a recording [bytes], which GRAMWATT_LARGEST_RECORDING overrides."""
    return int(os.environ.get("GRAMWATT_LARGEST_RECORDING") or MAX_RECORDING_BYTES)


MEDIA_TYPE_ALIASES: Final[Mapping[str, str]] = {
    "application/ndjson": "ndjson",
    "application/jsonl": "ndjson",
    "application/x-jsonlines": "ndjson",
    "application/csv": "csv",
}
"""Other media types for the same formats."""


def parse_content_type(formats: Mapping[str, str], what: str, aliases: Mapping[str, str] = MEDIA_TYPE_ALIASES) -> str:
    """Return the format of the body, one of ``formats`` (media type by format). Raises Problem (415)."""
    by_media_type = {media_type: name for name, media_type in formats.items()} | dict(aliases)
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if charset not in ("utf-8", "utf8", "us-ascii") or request.mimetype not in by_media_type:
        accepted = f"{what} as {join_with_or(formats.values())}, in UTF-8 and uncompressed"
        raise _make_media_type_problem(accepted)
    return by_media_type[request.mimetype]


def _make_media_type_problem(accepted: str) -> Problem:
    sent = request.mimetype or "no Content-Type"
    return Problem("unsupported-media-type", f"Send {accepted}; this request has {sent}.")


def check_content_coding() -> None:
    """Raise Problem (415) for a compressed body, which might be far larger than what was sent."""
    if request.method == "POST" and request.content_encoding and request.routing_exception is None:
        coding = quote_input(request.content_encoding)
        detail = f"Send the body uncompressed; this request has Content-Encoding: {coding}."
        raise Problem("unsupported-media-type", detail, headers={"Accept-Encoding": "identity"})


def read_json_body(calculator: Calculator[Any, Any]) -> dict[str, object]:
    """Return the JSON object of a POST. Raises Problem: 415, 413, 400, or 422 if it is not an object."""
    if calculator.takes_recordings:
        request.max_content_length = max_recording_bytes()
    if request.mimetype != "application/json":
        raise _make_media_type_problem("Content-Type: application/json, uncompressed")
    try:
        value = parse_strict_json(read_body())
    except InvalidJson as error:
        raise Problem("malformed-request", f"The body is not valid JSON: {error}.") from None
    if not isinstance(value, dict):
        example = json.dumps(dict(calculator.examples[0].given))
        raise invalid_input(
            [InputError("", "the inputs must be a JSON object", quote_input(value), f"for instance {example}")]
        )
    return value


def read_body() -> bytes:
    """Return the whole body, read in chunks: a chunked body over the limit would else be cut without an error."""
    limit = request.max_content_length or current_app.config["MAX_CONTENT_LENGTH"]
    chunks, received = [], 0
    while chunk := _read_chunk():
        chunks.append(chunk)
        received += len(chunk)
        if received > limit:
            raise RequestEntityTooLarge
    if received < (request.content_length or 0):
        raise Problem("malformed-request", "The body ended early: it is shorter than its Content-Length.")
    return b"".join(chunks)


def _read_chunk() -> bytes:
    try:
        return request.stream.read(65536)
    except HTTPException:
        raise
    except (TimeoutError, BlockingIOError):
        raise Problem("malformed-request", "The rest of the body did not arrive in time.") from None
    except Exception as error:  # each server has its own exceptions for a body that ends early or is badly chunked
        raise Problem("malformed-request", f"The body could not be read: {type(error).__name__}.") from None


def parse_accept() -> MIMEAccept:
    """Return the media types that the client accepts, without spaces: many of them make the parser slow."""
    return parse_accept_header(" ".join(request.headers.get("Accept", "").split()), MIMEAccept)


def negotiate_format(offered: Mapping[str, str], requested: str | None = None) -> str:
    """Return the format of the response: ``requested`` (the option ``format``), else by the Accept header.

    ``offered`` has media types by format, the default first. Raises Problem (406) if none is acceptable.
    """
    if requested is not None:
        return requested
    if not request.headers.get("Accept", "").strip():
        return next(iter(offered))
    best = parse_accept().best_match(list(offered.values()))
    if best is None:
        raise Problem("not-acceptable", f"The available formats are {join_with_or(offered.values())}.")
    return next(name for name, media_type in offered.items() if media_type == best)
