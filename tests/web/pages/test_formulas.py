"""Tests of formulas as MathML: what is shown is what is computed."""

from __future__ import annotations

import math
import random
import re
import xml.etree.ElementTree as ET

import pytest

from gramwatt.engine import registry
from gramwatt.model.expressions import list_names, replace_names
from gramwatt.web.pages.formulas import UnknownNotation, typeset_equation, typeset_text

SIGNS = {
    "−": "-",
    "×": "*",
    "\N{INVISIBLE TIMES}": "*",
    "\N{FUNCTION APPLICATION}": "",
    "=": "==",
    "π": "pi",
    "ln": "log",
    "arccos": "acos",
    "∑": "",
}
FUNCTIONS = {
    **{name: getattr(math, name) for name in ("exp", "log", "sin", "cos", "pi")},
    "acos": math.atan,  # of any value, too
    "sqrt": lambda square: math.sqrt(abs(square)),  # any values will do, also those that a pack cannot have
    "max": lambda *values: max(values),
    "min": lambda *values: min(values),
    "sum": lambda value: value,  # of a table of one row
    "abs": abs,
}
LETTERS = "abcdxy"
FORMULAS = [
    *("a - (b - c)", "a - b - c", "a - (b + c) * d", "(a + b) * (c - d)", "a * (b / c)", "a / (b * c) / d"),
    *("-a**2", "(-a)**2", "a * -b", "(a * b)**2", "(a / b)**2 * c", "a**b**c", "(a**b)**c", "a**(b - c)"),
    *("2 * pi * a", "a / (2 * pi)**3", "sqrt(a / b) * c", "sqrt(sqrt(a) + b)", "exp(a / b)**2", "log(a * b)"),
    *(
        "1.5e-9 * a",
        "a * (b + c)**2",
        "(a + b) / (c - d * x)",
        "abs(a - b) * c",
        "abs(a) + abs(b - c)",
        "a * (b * c)",
        "max(a, b - c) / d",
    ),
    *("1 - a", "cos(a) * sin(b)", "acos(a / (a + b))", "-(a + b)"),
]
DECLARED = [
    pytest.param(formula, id=f"{calculator.name}: {name}")
    for calculator in registry.load().values()
    for fields in (calculator.result_fields, calculator.step_fields)
    for name, kind in fields.items()
    for formula in kind.formulas
]


def read(element: ET.Element) -> str:
    """Return MathML as an expression in Python, read as people do: an exponent belongs to what is before it."""
    parts = [read(child) for child in element]
    match element.tag:
        case "mi" | "mn" | "mo":
            text = element.text or ""
            return SIGNS.get(text, text.replace("−", "-"))
        case "mfrac":
            return f"(({parts[0]})/({parts[1]}))"
        case "msup":
            return f"{parts[0]}**({parts[1]})"
        case "msqrt":
            return f"sqrt({''.join(parts)})"
        case "math" | "mrow":
            return "".join(parts)
        case tag:
            raise AssertionError(tag)


def evaluate(expression: str, values: dict[str, float]) -> float:
    return float(eval(expression, {"__builtins__": {}}, {**FUNCTIONS, **values}))


def check(formula: str, names: list[str]) -> None:
    words = {name: f"N{at}x" for at, name in enumerate(names)}
    shown = read(ET.fromstring(str(typeset_equation("result", formula, words))))
    left, _, right = shown.partition("==")
    assert left == "result"
    chance = random.Random(formula)
    values = {name: chance.uniform(1.1, 2.0) for name in names}
    by_word = {words[name]: value for name, value in values.items()}
    bars = re.sub(r"\|([^|]*)\|", r"abs(\1)", right)
    expected = evaluate(replace_names(formula, lambda name: words.get(name, name)), by_word)
    assert evaluate(bars, by_word) == pytest.approx(expected, rel=1e-12), shown


@pytest.mark.parametrize("formula", FORMULAS)
def test_what_is_shown_is_what_is_computed(formula: str) -> None:
    """The MathML, read back, has the value of the formula (rtol: rounding)."""
    check(formula, list(LETTERS))


@pytest.mark.parametrize("formula", DECLARED)
def test_every_declared_formula_is_shown_as_it_is_computed(formula: str) -> None:
    check(formula, list(list_names(formula)))


def test_a_formula_in_mathml() -> None:
    """By hand: a fraction, a power and a root; a row for each piece between which a line may break."""
    labels = {"current": "pack current", "resistance": "R < 1"}
    shown = str(typeset_equation("heat", "current**2 * resistance", labels))
    assert shown == (
        '<math display="block"><mrow><mi>heat</mi><mo>=</mo></mrow>'
        "<mrow><msup><mrow><mi>pack current</mi></mrow><mrow><mn>2</mn></mrow></msup></mrow>"
        '<mrow><mo form="infix">×</mo><mi>R &lt; 1</mi></mrow></math>'
    )
    ratio = str(typeset_equation("x", "2 * pi * sqrt(current) / 3", labels))
    assert "<mfrac><mrow><mn>2</mn><mo>\N{INVISIBLE TIMES}</mo>" in ratio
    assert "<msqrt><mi>pack current</mi></msqrt></mrow><mrow><mn>3</mn></mrow></mfrac>" in ratio


def test_what_does_not_fit_a_phone_is_marked() -> None:
    """By hand: above and below the line 40 letters each fit 46; a sum of both on one side of it does not."""
    labels = {"above": "a" * 40, "below": "b" * 40}
    assert 'class="wide"' not in typeset_equation("x", "above / below", labels)
    assert 'class="wide"' not in typeset_equation("x", "above * below", labels), "it may wrap"
    assert 'class="wide" tabindex="0"' in typeset_equation("x", "1 / (above + below)", labels)
    assert 'class="wide"' not in typeset_equation("x", "2 * (above + below)", labels), "within parentheses too"
    assert 'class="wide"' not in typeset_equation("x", "max(above, below - above)", labels), "in a function too"


def test_expressions_in_a_text() -> None:
    shown = typeset_text("as measured; else `omega * C_T = mass / 2`, & more", {"mass": "all-up mass"})
    assert shown == (
        "as measured; else <math><mrow><mi>ω</mi></mrow>"
        '<mrow><mo form="infix">×</mo><msub><mi>C</mi><mi>T</mi></msub></mrow>'
        "<mrow><mo>=</mo><mfrac><mrow><mi>all-up mass</mi></mrow><mrow><mn>2</mn></mrow></mfrac><mtext>,</mtext></mrow>"
        "</math> &amp; more"
    )


@pytest.mark.parametrize("formula", ["speed * 2", "a if b else c", "a @ b", "a.b", "erf(a)", "a +", "'text'", "a[0]"])
def test_what_has_no_notation_is_an_error(formula: str) -> None:
    """A name that is no field is an error unless it is as short as a symbol."""
    with pytest.raises(UnknownNotation):
        typeset_equation("x", formula, {})
