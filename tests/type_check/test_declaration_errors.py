"""Declarations that types cannot check: each mistake raises when the calculator is built or its file is imported."""

import re
from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np
import pytest

from gramwatt.engine import registry
from gramwatt.model import (
    Array,
    Assumption,
    BarChart,
    Calculator,
    Caution,
    Choice,
    Count,
    DeclarationError,
    Example,
    Group,
    IndexArray,
    Quantity,
    Reference,
    Rule,
    StandardUncertainty,
    Term,
    units,
)


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


CORRECT_PARTS: Final[dict[str, Any]] = {
    "title": "How much?",
    "summary": "Twice.",
    "inputs": Inputs,
    "results": Results,
    "formula": double,
    "references": (Reference("By hand"),),
    "cautions": (Caution("care", "Take {twice} with care."),),
    "examples": (Example("One", given={"voltage": 1}, expected={"twice": 2}, rtol=1e-12, source="by hand"),),
    "charts": (BarChart(("twice",), title="Twice"),),
}


def make_fields(kind: Any, *, name: str = "voltage", results: bool = False) -> type[Any]:
    """Return a declaration with one field of a kind."""
    fields = type("Results" if results else "Inputs", (), {"__annotations__": {name: Annotated[Array, kind]}})
    return dataclass(frozen=True)(fields)


def build_calculator(**changes: Any) -> Calculator[Any, Any]:
    """Return the correct calculator with some parts changed; its formula takes the changed inputs and results."""
    parts = {**CORRECT_PARTS, **changes}
    if "formula" not in changes:

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


def make_example(**changes: Any) -> tuple[Example, ...]:
    parts: dict[str, Any] = {"given": {"voltage": 1}, "expected": {"twice": 2}, "rtol": 1e-12, "source": "by hand"}
    return (Example("One", **{**parts, **changes}),)


OF_INPUTS: Final[dict[str, Any]] = {
    "group": Group.FLIGHT,
    "synonyms": ("double",),
    "follows": ("thrice",),
    "sum_of": (Term("current", is_base=True),),
    "plausible": (1, 10),
}
WRONG: Final[dict[str, tuple[dict[str, Any], str]]] = {
    # mistake: (the changed parts, what the message must contain)
    "no-references": ({"references": ()}, "references missing"),
    "no-cautions": ({"cautions": ()}, "cautions missing"),
    "no-examples": ({"examples": ()}, "examples missing"),
    "no-charts": ({"charts": ()}, "charts missing"),
    "no-title": ({"title": ""}, "title missing"),
    "example-with-an-unknown-input": ({"examples": make_example(given={"voltag": 1})}, "voltag"),
    "example-expects-an-unknown-result": ({"examples": make_example(expected={"thrice": 3})}, "thrice"),
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
        {"results": make_fields(Quantity("V", "Twice."), name="twice", results=True)},
        "twice: a result needs a formula or a method",
    ),
    **{
        f"result-with-{name}": (
            {"results": make_fields(Quantity("V", "Twice.", method="m", **{name: value}), name="twice", results=True)},
            f"twice: {name} is for inputs only",
        )
        for name, value in OF_INPUTS.items()
    },
    "result-that-needs-an-unknown-input": (
        {"results": make_fields(Quantity("V", "Twice.", method="m", needs=("mass",)), name="twice", results=True)},
        "mass",
    ),
    "result-with-a-reserved-name": (
        {
            "results": make_fields(Quantity("V", "Batch.", method="m"), name="batch", results=True),
            "cautions": (Caution("care", "Care."),),
            "examples": make_example(expected={}),
        },
        "batch is a reserved word",
    ),
    "input-with-a-reserved-name": (
        {
            "inputs": make_fields(Quantity("V", "", above=0, at_most=1), name="units"),
            "examples": make_example(given={}),
        },
        "units is a reserved word",
    ),
    "input-in-capitals": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_most=1), name="Kv"), "examples": make_example(given={})},
        "Kv is not snake_case",
    ),
    "input-that-is-a-result-of-another-unit": (
        {
            "inputs": make_fields(Quantity("A", "", above=0, at_most=1), name="twice"),
            "examples": make_example(given={}),
        },
        "twice is both an input and a result",
    ),
    "input-named-like-the-range-of-a-result": (
        {
            "inputs": make_fields(Quantity("V", "", above=0, at_most=1), name="twice_low"),
            "examples": make_example(given={}),
        },
        "twice_low has the name of a column for the range of twice",
    ),
    "name-not-made-of-words": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_most=1), name="uv"), "examples": make_example(given={})},
        "uv is not made of words: give it a label",
    ),
    "label-in-snake-case": (
        {"results": make_fields(Quantity("V", "", label="Two_fold", method="m"), name="twice", results=True)},
        "'Two_fold' is not a short one in sentence case",
    ),
    "label-too-long": (
        {"results": make_fields(Quantity("V", "", label="T" * 29, method="m"), name="twice", results=True)},
        "is not a short one",
    ),
    "two-fields-with-a-label": (
        {"results": make_fields(Quantity("V", "", label="Voltage", method="m"), name="twice", results=True)},
        "twice has the label of voltage",
    ),
    "implausible-range": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_most=1, default=1, plausible=(2, 1)))},
        "plausible is a low and a high value",
    ),
    "input-without-bounds": ({"inputs": make_fields(Quantity("V", ""))}, "voltage: an input needs one lower"),
    "input-with-two-lower-bounds": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_least=0, at_most=1))},
        "voltage: an input needs one lower",
    ),
    "input-with-two-upper-bounds": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_most=1, below=2))},
        "voltage: an input needs one lower",
    ),
    "input-with-bounds-reversed": ({"inputs": make_fields(Quantity("V", "", above=2, at_most=1))}, "voltage"),
    "input-with-a-formula": ({"inputs": make_fields(Quantity("V", "", above=0, at_most=1, formula="1"))}, "no formula"),
    "default-above-its-bounds": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_most=100, default=101))},
        "default 101 outside its bounds",
    ),
    "default-on-an-open-bound": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_most=100, default=0))},
        "default 0 outside its bounds",
    ),
    "default-of-a-count-outside-its-bounds": (
        {"inputs": make_fields(Count("", at_least=1, at_most=24, default=25))},
        "default 25 outside its bounds",
    ),
    "default-that-is-no-option": ({"inputs": make_fields(Choice(("a", "b"), "", default="c"))}, "default c"),
    "spread-of-nothing": (
        {"inputs": make_fields(StandardUncertainty(of="mass"), name="mass_u"), "examples": make_example(given={})},
        "mass",
    ),
    "replaces-an-unknown-input": (
        {"inputs": make_fields(Quantity("V", "", above=0, at_most=1, replaces=("charge",)))},
        "charge",
    ),
    "formula-without-a-docstring": ({"formula": undocumented}, "no docstring"),
    "formula-without-types": ({"formula": unannotated}, "does not take these inputs"),
}


def test_the_correct_calculator_can_be_built() -> None:
    assert build_calculator().headline == "twice"
    assert Calculator(**CORRECT_PARTS).name == "double"


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_declaration_is_reported_by_name(wrong: str) -> None:
    changes, message = WRONG[wrong]
    with pytest.raises(DeclarationError, match=re.escape(message)) as raised:
        build_calculator(**changes)
    formula = changes.get("formula")
    assert str(raised.value).startswith("double: " if formula is None else formula.__name__)


def test_a_field_without_a_kind_or_with_two_is_reported_by_name() -> None:
    for annotation in (
        Array,
        Annotated[Array, Count("", at_least=1, at_most=2), Quantity("V", "", above=0, at_most=1)],
    ):
        inputs: Any = dataclass(type("Inputs", (), {"__annotations__": {"voltage": annotation}}))
        with pytest.raises(DeclarationError, match=r"Inputs\.voltage: declare exactly one kind"):
            build_calculator(inputs=inputs)


def test_all_problems_are_reported_at_once() -> None:
    with pytest.raises(DeclarationError) as raised:
        build_calculator(references=(), cautions=(), title="")
    assert all(part in str(raised.value) for part in ("references missing", "cautions missing", "title missing"))


def test_a_unit_that_is_not_in_the_table_is_rejected() -> None:
    """A unit is looked up when it is used, not when it is declared."""
    with pytest.raises(DeclarationError, match="'volts' is not in the table"):
        units.get_unit("volts")


def test_a_file_without_a_calculator_is_reported_by_name() -> None:
    with pytest.raises(DeclarationError, match=r"calculators/cable_drop\.py: no CALCULATOR"):
        registry.check_module("cable_drop", None)
    with pytest.raises(DeclarationError, match=r"calculators/cable_drop\.py: no CALCULATOR"):
        registry.check_module("cable_drop", double)


def test_a_file_whose_formula_has_another_name_is_reported_by_name() -> None:
    with pytest.raises(DeclarationError, match=r"calculators/cable_drop\.py: its formula is named double"):
        registry.check_module("cable_drop", Calculator(**CORRECT_PARTS))


def test_every_calculator_has_the_name_of_its_file() -> None:
    for name, calculator in registry.load().items():
        assert calculator.name == name
