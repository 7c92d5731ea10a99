"""The options of a request whose body is a recording."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gramwatt.engine.recordings.channels import channels_of, column_option
from gramwatt.engine.recordings.reader import recording_kind
from gramwatt.model import Calculator, Choice, Kind, Text
from gramwatt.web.request_parsing import (
    get_response_options,
)

DECIMAL_SENT: Final = Choice((".", ","), "Decimal sign of the numbers in a CSV recording.", default=".")


def get_log_options(calculator: Calculator[Any, Any]) -> Mapping[str, Kind]:
    """The options of a recording that is sent: those of its answer, and which column is which channel."""
    columns = {
        column_option(channel): Text(
            f"The column that is {channel}, where it has another name; its unit may follow: {channel}_column=name "
            f"[{kind.unit}].",
            max_length=200,
            optional=True,
        )
        for channel, kind in channels_of(recording_kind(calculator)).items()
    }
    return {**get_response_options(calculator), **columns, "decimal_sent": DECIMAL_SENT}
