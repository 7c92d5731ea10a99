"""The route of recordings: the recording is the body, and the other inputs are in the query."""

from __future__ import annotations

from typing import Any, Final

from flask import Blueprint, Response, request
from werkzeug.exceptions import RequestEntityTooLarge

from gramwatt.engine.formats import get_media_types
from gramwatt.engine.recordings.channels import channels_of, column_option
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import parse_recording, recording_kind
from gramwatt.model.messages import InputError, quote_input
from gramwatt.web.problems import Problem, invalid_input
from gramwatt.web.recording_options import BODY_FORMATS, get_log_options
from gramwatt.web.request_parsing import (
    MEDIA_TYPE_ALIASES,
    max_recording_bytes,
    negotiate_format,
    parse_content_type,
    read_body,
    read_query,
)
from gramwatt.web.responses import find_calculator
from gramwatt.web.routes.calculators import respond_with_results

_MEDIA_TYPE_ALIASES: Final = {**MEDIA_TYPE_ALIASES, "text/tab-separated-values": "csv", "text/plain": "csv"}

blueprint = Blueprint("logs", __name__, url_prefix="/v1")


@blueprint.post("/<calculator_name>/log")
def calculate_from_recording(calculator_name: str) -> Response:
    """Return the results for the recording in the body and the other inputs in the query."""
    calculator = find_calculator(calculator_name)
    name = calculator.recording
    if name is None:
        raise Problem("unknown-result", f"{calculator.name} does not use a recording.")
    query_inputs, options, errors = read_query(get_log_options(calculator))
    format_name = negotiate_format(get_media_types(calculator), options["format"] if not errors else None)
    if name in query_inputs:
        detail = f"{name} is the body of this request"
        errors.append(InputError(f"/{name}", detail, quote_input(query_inputs.pop(name)), "other inputs in the query"))
    recording_format = parse_content_type(BODY_FORMATS, "a recording", _MEDIA_TYPE_ALIASES)
    kind, body = recording_kind(calculator), _read_recording()
    column_options = {channel: column_option(channel) for channel in channels_of(kind)}
    columns = {channel: options[option] for channel, option in column_options.items() if options[option]}
    inputs: dict[str, Any] = dict(query_inputs)
    try:
        inputs[name] = parse_recording(kind, body, recording_format, columns, decimal=options["recording_decimal"])
    except MalformedRecording as error:
        media_type = BODY_FORMATS[recording_format]
        raise Problem("malformed-request", f"The body is not a recording as {media_type}: {error}.") from None
    except UnusableRecording as unusable:
        pointers = [f"/{option}" for option in column_options.values()]
        found = [error if error.pointer in pointers else error.under(name) for error in unusable.errors]
        missing = [error for error in found if error.pointer in pointers and error.given is not None]
        if missing and not errors:
            raise Problem("unknown-column", "; ".join(error.detail for error in missing), found) from None
        raise invalid_input([*errors, *found]) from None
    return respond_with_results(calculator, inputs, options, errors, format_name, text=True)


def _read_recording() -> bytes:
    """Return the body. Raises Problem (413) if it is larger than a recording may be."""
    limit = max_recording_bytes()
    detail = (
        f"A recording may have at most {limit} bytes. Send only the columns time, voltage and current, fewer samples "
        "per second, or one part of the flight at a time. Arrow is the smallest format."
    )
    request.max_content_length = limit
    if (request.content_length or 0) > limit:
        raise Problem("too-large", detail)
    try:
        return read_body()
    except RequestEntityTooLarge:
        raise Problem("too-large", detail) from None
