"""Mistakes in a calculator's file, each reported by mypy on its line or at import."""

import re
import subprocess
import sys
import types
from pathlib import Path
from typing import Final

import pytest

from gramwatt.engine import registry

REPOSITORY: Final = Path(__file__).resolve().parents[2]

CORRECT: Final = '''"""Energy of a pack."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.model import Array, BarChart, Calculator, Caution, Example, Quantity, Reference


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack."""

    voltage: Annotated[Array, Quantity("V", "Voltage.", above=0, at_most=100)]
    capacity: Annotated[Array, Quantity("mAh", "Capacity.", above=0, at_most=1e6)]


@dataclass(frozen=True, slots=True)
class Results:
    """Its energy."""

    energy: Annotated[Array, Quantity("Wh", "Energy.", formula="voltage * capacity")]
    half: Annotated[Array, Quantity("Wh", "Half of it.", formula="energy / 2")]


@dataclass(frozen=True, slots=True)
class Others:
    """The inputs of another calculator."""

    voltage: Annotated[Array, Quantity("V", "Voltage.", above=0, at_most=100)]


def pack(given: Inputs) -> Results:
    """Energy by voltage and capacity."""
    energy = given.voltage * given.capacity
    return Results(energy=energy, half=energy / 2)


def other(given: Others) -> Results:
    """Another formula."""
    return Results(energy=given.voltage, half=given.voltage)


CALCULATOR = Calculator(
    title="How much?",
    summary="Energy.",
    inputs=Inputs,
    results=Results,
    formula=pack,
    references=(Reference("By hand"),),
    cautions=(Caution("care", "Take care.", when=lambda given, found: found.energy > given.voltage),),
    examples=(
        Example("One", given={"voltage": 1, "capacity": 1000}, expected={"energy": 1}, rtol=1e-12, source="by hand"),
    ),
    charts=(BarChart(("energy",), title="Energy"),),
)
'''

# name: (what to replace, by what, the text of the line that mypy must name)
MISTAKES: Final = {
    "correct": ("", "", ""),
    "input_misspelled": ("given.voltage * given.capacity", "given.voltage * given.capasity", "given.capasity"),
    "result_misspelled": ("half=energy / 2", "haalf=energy / 2", "haalf="),
    "result_missing": ("energy=energy, half=energy / 2", "energy=energy", "Results(energy=energy)"),
    "result_of_text": ("half=energy / 2", 'half="half"', 'half="half"'),
    "results_forgotten": ("return Results(energy=energy, half=energy / 2)", "return given", "return given"),
    "formula_of_another": ("formula=pack,", "formula=other,", "formula=other,"),
    "references_missing": ('    references=(Reference("By hand"),),\n', "", "CALCULATOR = Calculator("),
    "cautions_missing": (
        '    cautions=(Caution("care", "Take care.", when=lambda given, found: found.energy > given.voltage),),\n',
        "",
        "CALCULATOR = Calculator(",
    ),
    "source_missing": (', source="by hand"', "", 'Example("One"'),
}


@pytest.fixture(scope="module")
def errors(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[tuple[int, str]]]:
    """Run mypy --strict once over every case, and return (line, text) by case."""
    folder = tmp_path_factory.mktemp("mistakes")
    for name, (old, new, _) in MISTAKES.items():
        assert CORRECT.count(old) == 1 or not old, name
        (folder / f"{name}.py").write_text(CORRECT.replace(old, new) if old else CORRECT, encoding="utf-8")
    (folder / "mypy.ini").write_text(f"[mypy]\nmypy_path = {REPOSITORY / 'service'}\n", encoding="utf-8")
    finished = subprocess.run(
        [
            *(sys.executable, "-m", "mypy", "--strict", "--config-file", "mypy.ini"),
            *("--cache-dir", str(folder / "cache"), "--no-error-summary", "--hide-error-context", "."),
        ],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert finished.returncode in (0, 1), finished.stdout + finished.stderr
    errors_by_case: dict[str, list[tuple[int, str]]] = {name: [] for name in MISTAKES}
    for line in finished.stdout.splitlines():
        match = re.match(r"(\w+)\.py:(\d+): error: (.*)", line)
        if match:
            errors_by_case[match[1]].append((int(match[2]), match[3]))
        else:
            assert re.match(r"\w+\.py:\d+: note: ", line), line
    return errors_by_case


def test_the_correct_file_has_no_errors(
    errors: dict[str, list[tuple[int, str]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Otherwise the cases below would prove nothing. It can be built, too."""
    assert errors["correct"] == []
    module = types.ModuleType("calculator_file")
    monkeypatch.setitem(sys.modules, module.__name__, module)
    exec(CORRECT, module.__dict__)
    assert registry.check_module("pack", module.__dict__["CALCULATOR"]).headline == "energy"


@pytest.mark.parametrize("name", [name for name in MISTAKES if name != "correct"])
def test_mypy_reports_a_mistake_on_its_line(errors: dict[str, list[tuple[int, str]]], name: str) -> None:
    old, new, marked = MISTAKES[name]
    lines = CORRECT.replace(old, new).splitlines()
    (wrong,) = [number for number, line in enumerate(lines, start=1) if marked in line]
    assert {line for line, _ in errors[name]} == {wrong}, errors[name]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        pytest.param('"Energy.", formula=', '"Energy.", formulae=', "formulae", id="keyword-misspelled"),
        pytest.param('"V", "Voltage.", above=0', "above=0", "unit", id="unit-and-description-left-out"),
    ],
)
def test_mistakes_inside_annotated_are_reported_at_import(old: str, new: str, message: str) -> None:
    """Type checkers do not look into Annotated, so Python itself must raise."""
    with pytest.raises(TypeError, match=message):
        exec(CORRECT.replace(old, new), {"__name__": "calculator_file"})
