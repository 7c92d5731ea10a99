"""One recorded flight of a comparison, as inputs."""

from typing import Annotated, TypeAlias

from gramwatt.calculators._shared import pack_fields
from gramwatt.model import (
    Array,
    StringArray,
    Text,
)

Name: TypeAlias = Annotated[StringArray, Text("Name of the flight.", default="flight")]
ChargePutBack: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "mAh",
        "Charge that the charger put back, to calibrate the current sensor.",
        at_most=1e6,
        synonyms=("recharged",),
    ),
]
