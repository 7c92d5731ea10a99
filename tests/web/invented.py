"""Two invented calculators of shapes that no shipped calculator has: a table among results, and any_of in a query."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gramwatt import calculators
from mutation.patching import clear_caches

TABLE_RESULT = '''
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import pack_fields
from gramwatt.calculators._shared import fields
from gramwatt.model import (
    Array, BarChart, Calculator, Caution, Example, IndexArray, Choice, Quantity, Reference, Table
)


@dataclass(frozen=True, slots=True)
class Inputs:
    """A pack and a charging rate."""

    cells: pack_fields.Cells
    charge: Annotated[Array, Quantity("mAh", "Charge to put in.", above=0, at_most=1e6)]


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage of the charge."""

    name: Annotated[IndexArray, Choice(("bulk", "taper"), "The stage.", method="in order")]
    energy: Annotated[Array, Quantity("Wh", "Energy of the stage.", method="charge times voltage")]


@dataclass(frozen=True, slots=True)
class Results:
    """The whole, and its stages."""

    energy: Annotated[Array, Quantity("Wh", "Energy of both stages.", method="sum of the stages")]
    stages: Annotated[Stage, Table(Stage, "The stages in order.", max_length=2, method="80 and 20 %")]


def NAME(given: Inputs) -> Results:
    """Energy of a charge in two stages. It ignores losses."""
    energy = given.cells * 3.7 * given.charge
    shares = np.array([0.8, 0.2])
    return Results(
        energy=energy,
        stages=Stage(name=np.tile(np.arange(2), (len(energy), 1)), energy=energy[:, None] * shares),
    )


CALCULATOR = Calculator(
    title="How much energy does a charge take?",
    summary="Energy of a charge in two stages.",
    inputs=Inputs,
    results=Results,
    formula=NAME,
    references=(Reference("Derived by hand."),),
    cautions=(Caution("losses-ignored", "Losses are ignored."),),
    charts=(BarChart(("energy",), table="stages", title="Energy by stage"),),
    examples=(
        Example("Two cells", given={"cells": 2, "charge": 1000}, expected={"energy": 7.4}, rtol=1e-12, source="hand"),
        Example("Six cells", given={"cells": 6, "charge": 1000}, expected={"energy": 22.2}, rtol=1e-12, source="hand"),
    ),
)
'''
ANY_OF = '''
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.model import Array, BarChart, Calculator, Caution, Example, Quantity, Reference


@dataclass(frozen=True, slots=True)
class Inputs:
    """One of two lengths."""

    radius: Annotated[Array, Quantity("mm", "Radius.", at_least=1, at_most=1000, optional=True)]
    diameter: Annotated[Array, Quantity("mm", "Diameter.", at_least=2, at_most=2000, optional=True)]


@dataclass(frozen=True, slots=True)
class Results:
    """The circle."""

    circumference: Annotated[Array, Quantity("mm", "Circumference.", method="pi times the diameter")]


def NAME(given: Inputs) -> Results:
    """Circumference of a circle."""
    return Results(circumference=np.pi * np.where(np.isfinite(given.diameter), given.diameter, 2 * given.radius))


CALCULATOR = Calculator(
    title="How far is it around?",
    summary="Circumference of a circle.",
    inputs=Inputs,
    results=Results,
    formula=NAME,
    references=(Reference("Derived by hand."),),
    cautions=(Caution("losses-ignored", "Losses are ignored."),),
    charts=(BarChart(("circumference",), title="Around a circle"),),
    any_of=(("radius", "diameter"),),
    examples=(
        Example("By radius", given={"radius": 10}, expected={"circumference": 62.83185307}, rtol=1e-9, source="hand"),
        Example("By width", given={"diameter": 10}, expected={"circumference": 31.41592654}, rtol=1e-9, source="hand"),
    ),
)
'''


def write_calculators(folder: Path) -> None:
    """Write the files of both, named ``invented_stages`` and ``invented_circle``."""
    for name, source in (("invented_stages", TABLE_RESULT), ("invented_circle", ANY_OF)):
        (folder / f"{name}.py").write_text(source.replace("NAME", name), encoding="utf-8")


@contextmanager
def add_calculators(folder: Path) -> Iterator[None]:
    """Add the calculators in a folder to the shipped ones; afterwards nothing that was computed from them is left."""
    shipped = list(calculators.__path__)
    calculators.__path__[:] = [*shipped, str(folder)]
    try:
        clear_caches("gramwatt.")
        yield
    finally:
        calculators.__path__[:] = shipped
        clear_caches("gramwatt.")
