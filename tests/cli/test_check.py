"""`gramwatt check`: the mistakes of a contributor, each reported with its file's name."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner, Result

from gramwatt import calculators
from gramwatt.__main__ import main
from gramwatt.engine import registry, unit_expressions
from gramwatt.model import DeclarationError
from gramwatt.web import create_app

FILE: Final = '''\
"""The voltage lost in a wire."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.model import Array, BarChart, Calculator, Caution, Example, Quantity, Reference


@dataclass(frozen=True, slots=True)
class Inputs:
    """The wire."""

    resistance: Annotated[Array, Quantity("mohm", "Resistance of the wire.", above=0, at_most=1000)]
    current: Annotated[Array, Quantity("A", "Current.", above=0, at_most=1000)]


@dataclass(frozen=True, slots=True)
class Results:
    """What is lost."""

    drop: Annotated[Array, Quantity("V", "Voltage lost.", formula="resistance * current")]


def cable_drop(given: Inputs) -> Results:
    """Ohm's law."""
    return Results(drop=given.resistance * given.current)


CALCULATOR = Calculator(
    title="How much?",
    summary="The voltage lost.",
    inputs=Inputs,
    results=Results,
    formula=cable_drop,
    references=(Reference("By hand"),),
    cautions=(Caution("care", "Take care."),),
    examples=(
        Example("One", given={"resistance": 10, "current": 20}, expected={"drop": 0.2}, rtol=1e-12, source="by hand"),
        Example("Two", given={"resistance": 5, "current": 10}, expected={"drop": 0.05}, rtol=1e-12, source="by hand"),
    ),
    charts=(BarChart(("drop",), title="Voltage lost"),),
)
'''
Write = Callable[[str], None]


def forget() -> None:
    """Have the registry look for the files again."""
    for cached in (registry.list_names, registry.get, registry.load):
        cached.cache_clear()


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Write]:
    """Write calculators/cable_drop.py, in a second folder of the package."""

    def write(source: str) -> None:
        (tmp_path / "cable_drop.py").write_text(source, encoding="utf-8")
        forget()

    monkeypatch.setattr(calculators, "__path__", [*calculators.__path__, str(tmp_path)])
    monkeypatch.delitem(sys.modules, "gramwatt.calculators.cable_drop", raising=False)
    yield write
    monkeypatch.undo()
    sys.modules.pop("gramwatt.calculators.cable_drop", None)
    forget()


def check(*names: str) -> Result:
    return CliRunner().invoke(main, ["check", *names])


def test_the_shipped_calculators_and_units_have_no_problems() -> None:
    ended = check()
    assert ended.exit_code == 0, ended.output
    assert ended.output == f"{len(registry.list_names())} calculators and the units: no problems\n"


def test_the_right_file_has_no_problems(write: Write) -> None:
    write(FILE)
    ended = check("cable-drop")
    assert (ended.exit_code, ended.output) == (0, "cable-drop: no problems\n")


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        pytest.param(
            '"V", "Voltage lost."', '"kV", "Voltage lost."', "drop: unit 'kV' is not in the table of units", id="unit"
        ),
        pytest.param(
            "{" + '"drop": 0.2}', '{"drop": 0.3}', "example 'One': drop is 0.2, expected 0.3", id="example-with-a-typo"
        ),
        pytest.param(
            "drop=given.resistance *",
            "drop=given.resistence *",
            "example 'One' fails: AttributeError: 'Inputs' object has no attribute 'resistence'",
            id="formula-that-raises",
        ),
        pytest.param(
            '"current": 20}',
            '"current": 2000}',
            "example 'One' fails: current: ",
            id="example-out-of-bounds",
        ),
        pytest.param(
            'references=(Reference("By hand"),)',
            "references=()",
            "cable-drop: references missing",
            id="declaration",
        ),
        pytest.param("CALCULATOR =", "CALCULATER =", "no CALCULATOR = Calculator(...)", id="no-calculator"),
        pytest.param("cable_drop", "wire_dorp", "its formula is named wire_dorp", id="formula-of-another-name"),
        pytest.param("import dataclass", "import dataclasss", "ImportError: cannot import name", id="import"),
        pytest.param("class Inputs:", "class Inputs", "SyntaxError: ", id="syntax"),
    ],
)
def test_a_mistake_is_reported_with_its_file(write: Write, old: str, new: str, line: str) -> None:
    assert old in FILE
    write(FILE.replace(old, new))
    ended = check()
    assert ended.exit_code == 1
    assert ended.output.startswith(f"calculators/cable_drop.py: {line}")
    assert ended.output.count("\n") == (2 if "fails: AttributeError" in line else 1), "and nothing else is wrong"


def test_an_unknown_unit_in_a_table_is_reported(write: Write) -> None:
    wire = FILE[FILE.index("@dataclass") : FILE.index("    resistance:")].replace("Inputs", "Wire")
    wire += '    span: Annotated[Array, Quantity("yd", "Its length.", above=0, at_most=100)]\n\n\n'
    source = FILE.replace("@dataclass", f"{wire}@dataclass", 1).replace("Reference\n", "Reference, Table\n", 1)
    field = '    wires: Annotated[Wire, Table(Wire, "Other wires.", optional=True)]\n'
    write(source.replace("    current:", f"{field}    current:"))
    ended = check("cable-drop")
    assert ended.output.startswith("calculators/cable_drop.py: wires.span: unit 'yd' is not in the table of units")


def test_several_mistakes_are_reported_at_once(write: Write) -> None:
    examples = FILE[FILE.index("        Example(") : FILE.index("    ),\n    charts")]
    write(FILE.replace(examples, examples.replace("0.2", "0.3") + examples.replace("0.2", "0.4")))
    ended = check("cable-drop")
    assert ended.output.splitlines() == [
        f"calculators/cable_drop.py: example 'One': drop is 0.2, expected {wrong}" for wrong in (0.3, 0.4)
    ]


def test_the_service_does_not_start_with_a_wrong_declaration(write: Write) -> None:
    """It names the file too; what only computing the examples would show is for the tests and this command."""
    write(FILE.replace('references=(Reference("By hand"),)', "references=()"))
    with pytest.raises(DeclarationError, match=r"calculators/cable_drop\.py: cable-drop: references missing"):
        create_app()


def test_a_unit_that_is_not_in_the_committed_table_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        unit_expressions, "UNIT_EXPRESSIONS", {**unit_expressions.UNIT_EXPRESSIONS, "area": {"m2": "m^2"}}
    )
    ended = check()
    assert ended.exit_code == 1
    assert ended.output.startswith("model/unit_table.py differs from what Pint computes")


def test_an_unknown_name_is_an_error() -> None:
    ended = check("pack-enrgy")
    assert ended.exit_code == 2
    assert "Did you mean pack-energy" in ended.stderr
