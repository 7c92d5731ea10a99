"""Fields of every kind, and functions that parse one cell for tests."""

from dataclasses import dataclass
from typing import Annotated, Final

from gramwatt.engine import nested
from gramwatt.engine.column_types import Column
from gramwatt.model import (
    Array,
    Choice,
    Count,
    Flag,
    Kind,
    NumberList,
    Quantity,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
)
from gramwatt.model.messages import InputError

CHARGE: Final = Quantity("mAh", "Charge.", above=0, at_most=1e6)
MASS: Final = Quantity("g", "Mass.", at_least=0, at_most=1e6)
VOLTAGE: Final = Quantity("V", "Voltage.", above=0, at_most=200)
SHARE: Final = Quantity("1", "A plain number.", at_least=0, at_most=2)
COUNT: Final = Count("How many.", at_least=1, at_most=24)
CHOICE: Final = Choice(("below", "at-most"), "Which.")
FLAG: Final = Flag("Whether.")
TEXT: Final = Text("Name.", max_length=10)
MASSES: Final = NumberList(MASS, "Masses.", min_length=1, max_length=3)


@dataclass(frozen=True, slots=True)
class Part:
    """A row."""

    name: Annotated[StringArray, Text("Name.", default="part")]
    mass: Annotated[Array, MASS]
    count: Annotated[Array, Count("How many.", at_least=1, at_most=9, default=1)]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]


@dataclass(frozen=True, slots=True)
class Probe:
    """A row with a temperature."""

    temperature: Annotated[Array, Quantity("degC", "Temperature.", at_least=-30, at_most=90)]


PARTS: Final = Table(Part, "Parts.", max_length=4)
PROBES: Final = Table(Probe, "Probes.")


def read_cell(kind: Kind, cell: object, *, text: bool = False) -> Column:
    """Parse one cell into a column."""
    return nested.read_column(kind, [cell], text=text)


def read_errors(kind: Kind, cell: object, *, text: bool = False) -> list[InputError]:
    """Return the errors of one cell."""
    return read_cell(kind, cell, text=text).errors.get(0, [])
