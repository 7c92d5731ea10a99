"""The route of recordings: a calculator that asks for one takes it as it is, in the body, and the rest in the query."""

from __future__ import annotations

from typing import Any, Final

from flask import Blueprint, Response, request
from werkzeug.exceptions import RequestEntityTooLarge

from gramwatt.engine.formats import get_media_types
from gramwatt.engine.recordings.channels import channels_of, column_option
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import FORMATS, parse_recording, recording_kind
from gramwatt.model.messages import InputError, quote_input
from gramwatt.web.problems import Problem, invalid_input
from gramwatt.web.recording_options import get_log_options
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

_MORE_NAMES: Final = {**MEDIA_TYPE_ALIASES, "text/tab-separated-values": "csv", "text/plain": "csv"}

blueprint = Blueprint("logs", __name__, url_prefix="/v1")


@blueprint.post("/<calculator_name>/log")
def calculate_from_recording(calculator_name: str) -> Response:
    """Answer the question whose recording is the body, and whose other inputs stand in the query."""
    calculator = find_calculator(calculator_name)
    name = calculator.recording
    if name is None:
        raise Problem("unknown-result", f"{calculator.name} asks for no recording.")
    words, options, errors = read_query(get_log_options(calculator))
    chosen = negotiate_format(get_media_types(calculator), options["format"] if not errors else None)
    if name in words:
        detail = f"{name} is the body of this request"
        errors.append(InputError(f"/{name}", detail, quote_input(words.pop(name)), "the other inputs in the query"))
    form, kind = parse_content_type(FORMATS, "a recording", _MORE_NAMES), recording_kind(calculator)
    raw = _body()
    wanted = {
        channel: options[column_option(channel)] for channel in channels_of(kind) if options[column_option(channel)]
    }
    question: dict[str, Any] = dict(words)
    try:
        question[name] = parse_recording(kind, raw, form, wanted, decimal=options["decimal_sent"])
    except MalformedRecording as error:
        raise Problem("malformed-request", f"This is no recording as {FORMATS[form]}: {error}.") from None
    except UnusableRecording as unusable:
        wished = tuple(f"/{column_option(channel)}" for channel in channels_of(kind))
        found = [each if each.pointer in wished else each.under(name) for each in unusable.errors]
        lacking = [each for each in found if each.pointer in wished and each.given is not None]
        if lacking and not errors:
            raise Problem(
                "unknown-column", "; ".join(f"{each.detail}: {each.accepted}" for each in lacking), found
            ) from None
        raise invalid_input([*errors, *found]) from None
    return respond_with_results(calculator, question, options, errors, chosen, text=True)


def _body() -> bytes:
    """The recording, up to as many bytes as it may have."""
    limit = max_recording_bytes()
    detail = (
        f"A recording may have at most {limit} bytes. Keep its columns time, voltage and current and fewer "
        "samples a second, or send a part of the flight at a time; as Arrow it is smallest."
    )
    request.max_content_length = limit
    if (request.content_length or 0) > limit:
        raise Problem("too-large", detail)
    try:
        return read_body()
    except RequestEntityTooLarge:
        raise Problem("too-large", detail) from None
