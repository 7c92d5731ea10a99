"""From a request to a question: words of a query, or a strict JSON body; and the options beside the inputs."""

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
from gramwatt.engine.serializers import TextStyle
from gramwatt.engine.strict_json import InvalidJson, parse_strict_json
from gramwatt.model import Calculator, Choice, Count, Flag, Kind, Text
from gramwatt.model.messages import InputError, join_with_or, quote_input
from gramwatt.web.problems import Problem, invalid_input

DIGITS_OPTION: Final = Count("Significant digits of numbers as text.", at_least=1, at_most=15, default=12)
DECIMAL_OPTION: Final = Choice(
    (".", ","),
    "Decimal sign of numbers in the answer; with a comma, its lists and CSV are separated by semicolons.",
    default=".",
)
RESPONSE_OPTIONS: Final[Mapping[str, Kind]] = {
    "units": Text(
        "Units of results, as result:unit pairs separated by commas: usable_energy:kJ.", max_length=400, optional=True
    ),
    "working": Flag("Add the formula, the numbers put in and the sources of each result."),
    "format": Choice(tuple(BASE_MEDIA_TYPES), "The format, instead of an Accept header.", optional=True),
    "header": Choice(
        ("units", "names", "off"),
        "Of CSV: header line with units in brackets, with bare names, or none.",
        default="units",
    ),
    "digits": DIGITS_OPTION,
    "decimal": DECIMAL_OPTION,
}


@functools.cache
def get_response_options(calculator: Calculator[Any, Any]) -> Mapping[str, Kind]:
    """The options of a calculator's answer; its own forms are among the formats."""
    if not calculator.formats:
        return RESPONSE_OPTIONS
    told = "; ".join(f"{form.name}: {form.description}" for form in calculator.formats)
    chosen = Choice(
        tuple(get_media_types(calculator)), f"The format, instead of an Accept header. {told}", optional=True
    )
    return {**RESPONSE_OPTIONS, "format": chosen}


def make_output_options(options: Mapping[str, Any], form: str, errors: list[InputError]) -> OutputOptions:
    """How the answer is wanted, by the options; what is wrong with those of units is added to the faults."""
    style = TextStyle(options["header"], options["digits"], options["decimal"])
    return OutputOptions(form, parse_result_units(options["units"], errors), bool(options["working"]), style)


VALUE_OPTIONS: Final[Mapping[str, Kind]] = {
    "unit": Text("Unit of the value.", max_length=16, optional=True),
    "digits": DIGITS_OPTION,
    "decimal": DECIMAL_OPTION,
    "errors": Choice(
        ("status", "text"),
        "status: errors as problems with their status. text: errors as 200 with a text that begins with #ERR, since a "
        "spreadsheet's cell shows nothing of a failed request.",
        default="status",
    ),
}


def read_query(
    options: Mapping[str, Kind], *, repeated: Collection[str] = ()
) -> tuple[dict[str, str], dict[str, Any], list[InputError]]:
    """The query's inputs as words, its options as values, and what is wrong with either.

    Names in ``repeated`` may stand more than once and are left to the caller.
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
    words = {name: word for name, word in request.args.items() if name not in repeated}
    chosen: dict[str, Any] = {}
    for name, kind in options.items():
        chosen[name], wrong = _default(kind) if name not in words else _chosen(kind, words.pop(name))
        errors += [error.under(name) for error in wrong]
    return words, chosen, errors


def _chosen(kind: Kind, word: object) -> tuple[Any, Sequence[InputError]]:
    column = nested.read_column(kind, [word], text=True)
    value = columns.fill_default(kind, column, ~column.present).values[0]
    return _plain(kind, value), column.errors.get(0, ())


@functools.cache
def _default(kind: Kind) -> tuple[Any, Sequence[InputError]]:
    return _chosen(kind, ABSENT)


def _plain(kind: Kind, value: Any) -> Any:
    if isinstance(kind, Choice):
        return kind.options[value] if value >= 0 else kind.default
    if isinstance(kind, Count):
        return int(value) if value == value else kind.default
    return value.item() or None


def parse_result_units(text: str | None, errors: list[InputError]) -> dict[str, str]:
    """``usable_energy:kJ,current:mA`` as a mapping; what is no such pair is added to the faults."""
    pairs: dict[str, str] = {}
    for pair in text.split(",") if text else ():
        name, colon, spelling = pair.partition(":")
        if colon and name not in pairs:
            pairs[name] = spelling
        else:
            accepted = "result:unit pairs separated by commas, each result once"
            errors.append(
                InputError("/units", f"{pair!r} is not a result:unit pair of its own", quote_input(text), accepted)
            )
    return pairs


MAX_RECORDING_BYTES: Final = 64 * 1024 * 1024


def max_recording_bytes() -> int:
    """Bytes that a recording may have, alone or in a question; GRAMWATT_LARGEST_RECORDING says otherwise."""
    return int(os.environ.get("GRAMWATT_LARGEST_RECORDING") or MAX_RECORDING_BYTES)


MEDIA_TYPE_ALIASES: Final[Mapping[str, str]] = {
    "application/ndjson": "ndjson",
    "application/jsonl": "ndjson",
    "application/x-jsonlines": "ndjson",
    "application/csv": "csv",
}
"""Other media types that formats go by."""


def parse_content_type(formats: Mapping[str, str], what: str, more: Mapping[str, str] = MEDIA_TYPE_ALIASES) -> str:
    """Which of ``formats`` (format: media type) the body has. Raises Problem (415) where it is none of them."""
    media = request.mimetype
    by_media = {media: name for name, media in formats.items()} | dict(more)
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if media not in by_media or request.content_encoding or charset not in ("utf-8", "utf8", "us-ascii"):
        given = f"{media or 'no Content-Type'}{f', {request.content_encoding}' if request.content_encoding else ''}"
        raise Problem(
            "unsupported-media-type",
            f"Send {what} as {join_with_or(formats.values())}, in UTF-8 and uncompressed; this was {given}.",
        )
    return by_media[media]


def read_json_body(calculator: Calculator[Any, Any]) -> dict[str, object]:
    """The JSON object of a POST. Raises Problem: 415, 413, 400, or 422 where it is no object."""
    if calculator.takes_recordings:
        request.max_content_length = max_recording_bytes()
    media = request.mimetype
    if media != "application/json" or request.content_encoding:
        given = f"{media or 'no Content-Type'}{f', {request.content_encoding}' if request.content_encoding else ''}"
        raise Problem("unsupported-media-type", f"Send Content-Type: application/json, uncompressed; this was {given}.")
    try:
        value = parse_strict_json(read_body())
    except InvalidJson as error:
        raise Problem("malformed-request", f"The body is not JSON: {error}.") from None
    if not isinstance(value, dict):
        example = json.dumps(dict(calculator.examples[0].given))
        raise invalid_input(
            [InputError("", "the question must be a JSON object", quote_input(value), f"for instance {example}")]
        )
    return value


def read_body() -> bytes:
    """The whole body; in a loop, since a chunked one over the limit would else be cut in silence."""
    limit = request.max_content_length or current_app.config["MAX_CONTENT_LENGTH"]
    pieces, received = [], 0
    while piece := _read_chunk():
        pieces.append(piece)
        received += len(piece)
        if received > limit:
            raise RequestEntityTooLarge
    if received < (request.content_length or 0):
        raise Problem("malformed-request", "The body broke off: it is shorter than its Content-Length says.")
    return b"".join(pieces)


def _read_chunk() -> bytes:
    try:
        return request.stream.read(65536)
    except HTTPException:
        raise
    except (TimeoutError, BlockingIOError):
        raise Problem("malformed-request", "The rest of the body did not arrive in time.") from None
    except Exception as error:  # each server has errors of its own for a body that breaks off or is no chunked one
        raise Problem("malformed-request", f"The body could not be read: {type(error).__name__}.") from None


def parse_accept() -> MIMEAccept:
    """The media types that the client accepts. Spaces mean nothing there, and many of them take the parser long."""
    return parse_accept_header(" ".join(request.headers.get("Accept", "").split()), MIMEAccept)


def negotiate_format(offered: Mapping[str, str], wished: str | None = None) -> str:
    """The format to answer in, from ``format=`` or Accept. ``offered`` is format: media type, the default first.

    Raises Problem (406) where none is acceptable.
    """
    if wished is not None:
        return wished
    if not request.headers.get("Accept", "").strip():
        return next(iter(offered))
    best = parse_accept().best_match(list(offered.values()))
    if best is None:
        raise Problem("not-acceptable", f"This can be had as {join_with_or(offered.values())}.")
    return next(name for name, media in offered.items() if media == best)
