"""Mistakes a person makes in a calculator's file, and where each is reported: by mypy on its line, or at import."""

import re
import subprocess
import sys
import types
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np
import pytest

from gramwatt.engine import registry
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Caution,
    Choice,
    Count,
    DeclarationError,
    Example,
    IndexArray,
    Quantity,
    Reference,
    Rule,
    StandardUncertainty,
    units,
)

REPOSITORY: Final = Path(__file__).resolve().parents[2]

RIGHT: Final = '''"""Energy of a pack."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.model import Array, Calculator, Caution, Example, Quantity, Reference


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
)
'''

# name: (what to replace, by what, the text of the line that mypy must name)
MISTAKES: Final = {
    "right": ("", "", ""),
    "input_misspelt": ("given.voltage * given.capacity", "given.voltage * given.capasity", "given.capasity"),
    "result_misspelt": ("half=energy / 2", "haalf=energy / 2", "haalf="),
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
        assert RIGHT.count(old) == 1 or not old, name
        (folder / f"{name}.py").write_text(RIGHT.replace(old, new) if old else RIGHT, encoding="utf-8")
    (folder / "mypy.ini").write_text(f"[mypy]\nmypy_path = {REPOSITORY / 'service'}\n", encoding="utf-8")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "mypy", "--strict", "--config-file", "mypy.ini"),
            *("--cache-dir", str(folder / "cache"), "--no-error-summary", "--hide-error-context", "."),
        ],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 1), done.stdout + done.stderr
    found: dict[str, list[tuple[int, str]]] = {name: [] for name in MISTAKES}
    for line in done.stdout.splitlines():
        match = re.match(r"(\w+)\.py:(\d+): error: (.*)", line)
        if match:
            found[match[1]].append((int(match[2]), match[3]))
        else:
            assert re.match(r"\w+\.py:\d+: note: ", line), line
    return found


def test_the_right_file_is_right(errors: dict[str, list[tuple[int, str]]], monkeypatch: pytest.MonkeyPatch) -> None:
    """Without this the cases below would prove nothing. It can be built, too."""
    assert errors["right"] == []
    module = types.ModuleType("calculator_file")
    monkeypatch.setitem(sys.modules, module.__name__, module)
    exec(RIGHT, module.__dict__)
    assert registry.check_module("pack", module.__dict__["CALCULATOR"]).headline == "energy"


@pytest.mark.parametrize("name", [name for name in MISTAKES if name != "right"])
def test_mypy_reports_a_mistake_on_its_line(errors: dict[str, list[tuple[int, str]]], name: str) -> None:
    old, new, marked = MISTAKES[name]
    lines = RIGHT.replace(old, new).splitlines()
    (wrong,) = [number for number, line in enumerate(lines, start=1) if marked in line]
    assert {line for line, _ in errors[name]} == {wrong}, errors[name]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        pytest.param('"Energy.", formula=', '"Energy.", formulae=', "formulae", id="keyword-misspelt"),
        pytest.param('"V", "Voltage.", above=0', "above=0", "unit", id="unit-and-description-left-out"),
    ],
)
def test_mistakes_inside_annotated_are_reported_at_import(old: str, new: str, message: str) -> None:
    """Type checkers do not look into Annotated, so Python itself must raise."""
    with pytest.raises(TypeError, match=message):
        exec(RIGHT.replace(old, new), {"__name__": "calculator_file"})


# What types cannot show is reported when the calculator is built


@dataclass(frozen=True, slots=True)
class Inputs:
    """The inputs."""

    voltage: Annotated[Array, Quantity("V", "Voltage.", above=0, at_most=100, default=4)]
    kind: Annotated[IndexArray, Choice(("one", "two"), "Which.", default="one")]


@dataclass(frozen=True, slots=True)
class Results:
    """The results."""

    twice: Annotated[Array, Quantity("V", "Twice.", formula="2 * voltage")]


def double(given: Inputs) -> Results:
    """Twice the voltage."""
    return Results(twice=2 * given.voltage)


RIGHT_PARTS: Final[dict[str, Any]] = {
    "title": "How much?",
    "summary": "Twice.",
    "inputs": Inputs,
    "results": Results,
    "formula": double,
    "references": (Reference("By hand"),),
    "cautions": (Caution("care", "Take {twice} with care."),),
    "examples": (Example("One", given={"voltage": 1}, expected={"twice": 2}, rtol=1e-12, source="by hand"),),
}


def declared(kind: Any, *, name: str = "voltage", results: bool = False) -> type[Any]:
    """Return a declaration with one field of a kind."""
    made = type("Results" if results else "Inputs", (), {"__annotations__": {name: Annotated[Array, kind]}})
    return dataclass(frozen=True)(made)


def build(**changed: Any) -> Calculator[Any, Any]:
    """Build the right calculator with parts changed; the formula follows its inputs and results."""
    parts = {**RIGHT_PARTS, **changed}
    if "formula" not in changed:

        def double(given: Any) -> Any:
            """Twice."""
            return Results(twice=2 * given.voltage)

        double.__annotations__ = {"given": parts["inputs"], "return": parts["results"]}
        parts["formula"] = double
    return Calculator(**parts)


def undocumented(given: Inputs) -> Results:
    return Results(twice=2 * given.voltage)


def unannotated(given: Any) -> Any:
    """No types."""
    return Results(twice=2 * given.voltage)


def example(**changed: Any) -> tuple[Example, ...]:
    parts: dict[str, Any] = {"given": {"voltage": 1}, "expected": {"twice": 2}, "rtol": 1e-12, "source": "by hand"}
    return (Example("One", **{**parts, **changed}),)


WRONG: Final[dict[str, tuple[dict[str, Any], str]]] = {
    # what is wrong: (the changed parts, what the error must name)
    "no-references": ({"references": ()}, "references missing"),
    "no-cautions": ({"cautions": ()}, "cautions missing"),
    "no-examples": ({"examples": ()}, "examples missing"),
    "no-title": ({"title": ""}, "title missing"),
    "example-asks-an-unknown-input": ({"examples": example(given={"voltag": 1})}, "voltag"),
    "example-expects-an-unknown-result": ({"examples": example(expected={"thrice": 3})}, "thrice"),
    "reference-about-an-unknown-result": ({"references": (Reference("By hand", about=("thrice",)),)}, "thrice"),
    "caution-names-something-unknown": ({"cautions": (Caution("care", "At {loaded_voltage}."),)}, "loaded_voltage"),
    "rule-about-an-unknown-result": (
        {"rules": (Rule("none", "None.", when=lambda g, f: np.ones(1, np.bool_), results=("thrice",)),)},
        "thrice",
    ),
    "assumption-of-an-unknown-input": (
        {"assumptions": (Assumption("current", "none", lambda g: np.ones(1)),)},
        "current",
    ),
    "any-of-an-unknown-input": ({"any_of": (("voltage", "current"),)}, "current"),
    "result-without-formula-or-method": (
        {"results": declared(Quantity("V", "Twice."), name="twice", results=True)},
        "twice: a result needs a formula or a method",
    ),
    "result-that-needs-an-unknown-input": (
        {"results": declared(Quantity("V", "Twice.", method="m", needs=("mass",)), name="twice", results=True)},
        "mass",
    ),
    "result-with-a-reserved-name": (
        {
            "results": declared(Quantity("V", "Batch.", method="m"), name="batch", results=True),
            "cautions": (Caution("care", "Care."),),
            "examples": example(expected={}),
        },
        "batch is a reserved word",
    ),
    "input-with-a-reserved-name": (
        {"inputs": declared(Quantity("V", "", above=0, at_most=1), name="units"), "examples": example(given={})},
        "units is a reserved word",
    ),
    "input-in-capitals": (
        {"inputs": declared(Quantity("V", "", above=0, at_most=1), name="Kv"), "examples": example(given={})},
        "Kv is not snake_case",
    ),
    "input-that-is-a-result-of-another-unit": (
        {"inputs": declared(Quantity("A", "", above=0, at_most=1), name="twice"), "examples": example(given={})},
        "twice is both an input and a result",
    ),
    "input-without-bounds": ({"inputs": declared(Quantity("V", ""))}, "voltage: an input needs one lower"),
    "input-with-two-lower-bounds": (
        {"inputs": declared(Quantity("V", "", above=0, at_least=0, at_most=1))},
        "voltage: an input needs one lower",
    ),
    "input-with-two-upper-bounds": (
        {"inputs": declared(Quantity("V", "", above=0, at_most=1, below=2))},
        "voltage: an input needs one lower",
    ),
    "input-with-bounds-reversed": ({"inputs": declared(Quantity("V", "", above=2, at_most=1))}, "voltage"),
    "input-with-a-formula": ({"inputs": declared(Quantity("V", "", above=0, at_most=1, formula="1"))}, "no formula"),
    "default-above-its-bounds": (
        {"inputs": declared(Quantity("V", "", above=0, at_most=100, default=101))},
        "default 101 outside its bounds",
    ),
    "default-on-an-open-bound": (
        {"inputs": declared(Quantity("V", "", above=0, at_most=100, default=0))},
        "default 0 outside its bounds",
    ),
    "default-of-a-count-outside-its-bounds": (
        {"inputs": declared(Count("", at_least=1, at_most=24, default=25))},
        "default 25 outside its bounds",
    ),
    "default-that-is-no-option": ({"inputs": declared(Choice(("a", "b"), "", default="c"))}, "default c"),
    "spread-of-nothing": (
        {"inputs": declared(StandardUncertainty(of="mass"), name="mass_u"), "examples": example(given={})},
        "mass",
    ),
    "replaces-an-unknown-input": (
        {"inputs": declared(Quantity("V", "", above=0, at_most=1, replaces=("charge",)))},
        "charge",
    ),
    "formula-without-a-docstring": ({"formula": undocumented}, "no docstring"),
    "formula-without-types": ({"formula": unannotated}, "does not take these inputs"),
}


def test_the_right_calculator_can_be_built() -> None:
    assert build().headline == "twice"
    assert Calculator(**RIGHT_PARTS).name == "double"


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_declaration_is_reported_by_name(wrong: str) -> None:
    changed, message = WRONG[wrong]
    with pytest.raises(DeclarationError, match=re.escape(message)) as raised:
        build(**changed)
    formula = changed.get("formula")
    assert str(raised.value).startswith("double: " if formula is None else formula.__name__)


def test_a_field_without_a_kind_or_with_two_is_reported_by_name() -> None:
    for annotation in (
        Array,
        Annotated[Array, Count("", at_least=1, at_most=2), Quantity("V", "", above=0, at_most=1)],
    ):
        inputs: Any = dataclass(type("Inputs", (), {"__annotations__": {"voltage": annotation}}))
        with pytest.raises(DeclarationError, match=r"Inputs\.voltage: declare exactly one kind"):
            build(inputs=inputs)


def test_all_problems_are_reported_at_once() -> None:
    with pytest.raises(DeclarationError) as raised:
        build(references=(), cautions=(), title="")
    assert all(part in str(raised.value) for part in ("references missing", "cautions missing", "title missing"))


def test_a_unit_that_is_not_in_the_table_is_rejected() -> None:
    """A unit is looked up when it is used, not when it is declared."""
    with pytest.raises(DeclarationError, match="'volts' is not in the table"):
        units.get_unit("volts")


def test_a_file_without_a_calculator_is_reported_by_name() -> None:
    with pytest.raises(DeclarationError, match=r"calculators/wire_drop\.py: no CALCULATOR"):
        registry.check_module("wire_drop", None)
    with pytest.raises(DeclarationError, match=r"calculators/wire_drop\.py: no CALCULATOR"):
        registry.check_module("wire_drop", double)


def test_a_file_whose_formula_has_another_name_is_reported_by_name() -> None:
    with pytest.raises(DeclarationError, match=r"calculators/wire_drop\.py: its formula is named double"):
        registry.check_module("wire_drop", Calculator(**RIGHT_PARTS))


def test_every_file_of_the_registry_holds_what_its_name_says() -> None:
    for name, calculator in registry.load().items():
        assert calculator.name == name
