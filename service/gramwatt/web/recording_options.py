"""The options of a request whose body is a recording."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gramwatt.engine.recordings.channels import channels_of, column_option
from gramwatt.engine.recordings.reader import FORMATS, recording_kind
from gramwatt.model import Calculator, Choice, Kind, Text
from gramwatt.web.request_parsing import get_response_options

BODY_FORMATS: Final[Mapping[str, str]] = {name: each for name, each in FORMATS.items() if name != "json"}
"""The formats of a recording that is a body by itself. In JSON it is an input in the body of a request."""
RECORDING_DECIMAL: Final = Choice(
    (".", ","), "Decimal sign of the numbers in the recording, where they are text.", default="."
)


def get_log_options(calculator: Calculator[Any, Any]) -> Mapping[str, Kind]:
    """Return the options of the response, and those that assign columns of the recording to channels."""
    columns = {
        column_option(channel): Text(
            f"The column with the {channel}, if it has another name; a unit may follow: {channel}_column=name "
            f"[{kind.unit}].",
            max_length=200,
            optional=True,
        )
        for channel, kind in channels_of(recording_kind(calculator)).items()
    }
    return {**get_response_options(calculator), **columns, "recording_decimal": RECORDING_DECIMAL}
