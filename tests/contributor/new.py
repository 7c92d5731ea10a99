"""Write the two files of a new calculator: ``make new NAME=cable-drop``.

They are a small calculator that works, with the parts in the order that every calculator has them. Replace its inputs,
results, formula, texts and examples by yours, and run ``make check NAME=cable-drop`` as you go.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
NAME: Final = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")

CALCULATOR: Final = '''\
"""TODO: what it computes, in one line."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.model import Array, BarChart, Calculator, Caution, Example, Group, Quantity, Reference, Sentence


@dataclass(frozen=True, slots=True)
class Inputs:
    """TODO. Inputs that several calculators share come from `_shared.fields` and `_shared.pack_fields`."""

    resistance: Annotated[Array, Quantity("mohm", "Resistance of the wire.", group=Group.PACK, above=0, at_most=10_000)]
    wire_current: Annotated[
        Array, Quantity("A", "Current through the wire.", group=Group.PACK, above=0, at_most=1000, default=20)
    ]


@dataclass(frozen=True, slots=True)
class Results:
    """TODO. The first result is the headline."""

    drop: Annotated[Array, Quantity("V", "Voltage lost in the wire.", formula="resistance * wire_current")]


def @function@(given: Inputs) -> Results:
    """TODO: what the formula computes, and when it does not hold. All arrays are in SI units, shape (N,)."""
    return Results(drop=given.resistance * given.wire_current)


CALCULATOR = Calculator(
    title="TODO: what does @name@ compute?",
    summary="TODO: one sentence on what goes in and what comes out.",
    inputs=Inputs,
    results=Results,
    formula=@function@,
    category="choose",
    sentences=(Sentence("TODO: loses {drop:range} in the wire"),),
    references=(Reference("TODO: the published source of the formula, with edition and section"),),
    cautions=(Caution("@name@-todo", "TODO: what a user must know before acting on the results."),),
    examples=(
        Example(
            "TODO: the usual case",
            given={"resistance": 5},
            expected={"drop": 0.1},
            rtol=1e-12,
            source="by hand: 0.005 ohm x 20 A",
        ),
        Example(
            "TODO: a case with other inputs",
            given={"resistance": 10, "wire_current": 30},
            expected={"drop": 0.3},
            rtol=1e-12,
            source="by hand: 0.01 ohm x 30 A",
        ),
    ),
    charts=(BarChart(("drop",), title="TODO: voltage lost"),),
)
'''

TEST: Final = '''\
"""@name@: TODO, against a source outside the project."""

import pytest

from gramwatt import calculate


def test_a_published_value() -> None:
    """TODO: name the source, its table and row. By hand: 0.005 ohm x 20 A = 0.1 V."""
    results = calculate("@name@", resistance=5, wire_current=20)["results"]
    assert results["drop"] == pytest.approx(0.1, rel=1e-12)


def test_twice_the_current_loses_twice_the_voltage() -> None:
    one, two = (calculate("@name@", resistance=5, wire_current=current)["results"]["drop"] for current in (10, 20))
    assert two == pytest.approx(2 * one, rel=1e-12)
'''


def create(name: str, root: Path = ROOT) -> tuple[Path, Path]:
    """Write the files of a calculator and return their paths.

    Raises
    ------
    ValueError
        If the name is not in kebab-case, or if one of the files exists.
    """
    if not NAME.fullmatch(name):
        raise ValueError(f"NAME={name}: use lower-case words joined by hyphens, such as cable-drop")
    function = name.replace("-", "_")
    files = {
        root / "service" / "gramwatt" / "calculators" / f"{function}.py": CALCULATOR,
        root / "tests" / "calculators" / f"test_{function}.py": TEST,
    }
    for path in files:
        if path.exists():
            raise ValueError(f"{path.relative_to(root)} exists already")
    for path, text in files.items():
        path.write_text(text.replace("@name@", name).replace("@function@", function), encoding="utf-8")
    calculator, test = files
    return calculator, test


def main(arguments: list[str]) -> int:
    """Write the files and print what to do next."""
    if len(arguments) != 1:
        print("Give the name of the calculator: make new NAME=cable-drop", file=sys.stderr)
        return 2
    try:
        calculator, test = create(arguments[0])
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    print(f"Wrote {calculator.relative_to(ROOT)}\n      {test.relative_to(ROOT)}")
    print("Next: replace every TODO, then run")
    print(f"  make check NAME={arguments[0]}   everything that a calculator inherits")
    print("  make contract            the OpenAPI contract, the table in README.md, a line in CHANGELOG.md")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
