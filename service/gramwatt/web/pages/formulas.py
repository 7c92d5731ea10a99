"""Typeset the formulas of declarations as MathML Core, which browsers show without a script or a font from elsewhere.

A formula is an expression in Python. Names of fields are shown as their labels; any other short name is a symbol, such
as ``omega`` or ``C_T``.
"""

from __future__ import annotations

import ast
import html
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final
from xml.etree import ElementTree

from markupsafe import Markup, escape

from gramwatt.model.messages import format_number

_SUM, _PRODUCT, _SIGNED, _POWER, _ATOM = range(5)
"""How tightly the outermost operation of a term binds. A term in a place that binds more needs parentheses."""
_SIGNS: Final = {ast.Add: "+", ast.Sub: "−", ast.Mult: "×"}
_OPEN: Final = '<mo stretchy="false">(</mo>'
_CLOSE: Final = '<mo stretchy="false">)</mo>'
_TIMES: Final = "<mo>×</mo>"
_INVISIBLE_TIMES: Final = "<mo>\N{INVISIBLE TIMES}</mo>"
_APPLY: Final = "<mo>\N{FUNCTION APPLICATION}</mo>"
_FUNCTIONS: Final = {
    "exp": "exp",
    "log": "ln",
    "sin": "sin",
    "cos": "cos",
    "acos": "arccos",
    "min": "min",
    "max": "max",
}
_COMPARED: Final = {ast.Eq: "=", ast.Lt: "&lt;", ast.LtE: "≤", ast.Gt: "&gt;", ast.GtE: "≥"}
_PI: Final = '<mi mathvariant="normal">π</mi>'
GREEK: Final = {"eta": "η", "kappa": "κ", "omega": "ω", "rho": "ρ", "sigma": "σ"}
_SYMBOL: Final = re.compile(rf"({'|'.join(GREEK)}|[A-Za-z]{{1,2}})(?:_([A-Za-z0-9]{{1,2}}))?")
_INLINE: Final = re.compile(r"`([^`]+)`([,;:.]?)")
MAX_NARROW: Final = 46
"""Letters of a piece that fits a phone at full size."""
MAX_COMPACT: Final = 56
"""Letters of a piece that fits a phone with small fractions."""
_EQUALS: Final = re.compile(r"(?<![<>=!])=(?!=)")


class UnknownNotation(ValueError):
    """A formula has an operation or a name that cannot be typeset."""


@dataclass(frozen=True, slots=True)
class _Term:
    """A part of a formula as MathML, and how tightly its outermost operation binds."""

    mathml: str
    binding: int = _ATOM

    def put(self, binding: int) -> str:
        """Return it for a place that binds this tightly, in parentheses if it binds less."""
        if self.binding >= binding:
            return self.mathml
        return _parenthesize(self.mathml)


def typeset_equation(label: str, formula: str, labels: Mapping[str, str]) -> Markup:
    """Return ``label = formula`` as an element ``math``. Its rows are pieces between which a page may break the line.

    ``labels`` has the words for the names of fields. Raises UnknownNotation.
    """
    pieces = [f"<mi>{escape(label)}</mi><mo>=</mo>", *_split(_parse(formula), labels)]
    return Markup(_make_element(pieces, ' display="block"'))  # noqa: S704 - what is not ours in it is escaped


def typeset_text(text: str, labels: Mapping[str, str]) -> Markup:
    """Return a text whose expressions between backquotes are elements ``math``. Raises UnknownNotation."""

    def typeset(expression: re.Match[str]) -> str:
        pieces = _split(_parse(html.unescape(expression[1])), labels)
        pieces[-1] += f"<mtext>{expression[2]}</mtext>" if expression[2] else ""  # no line may begin with a comma
        return _make_element(pieces)

    return Markup(_INLINE.sub(typeset, str(escape(text))))  # noqa: S704 - what is not ours in it is escaped


def _make_element(pieces: list[str], attributes: str = "") -> str:
    """Return pieces as the rows of an element ``math``.

    It is ``wide`` if one of them fits a phone with small fractions only. With one that does not fit even so, it takes
    the focus, to be scrolled.
    """
    width = max(map(_count_letters, pieces))
    if width > MAX_NARROW:
        attributes += ' class="wide"'
    if width > MAX_COMPACT:
        attributes += ' tabindex="0"'
    return f"<math{attributes}>{''.join(f'<mrow>{piece}</mrow>' for piece in pieces)}</math>"


def _count_letters(mathml: str) -> float:
    """Return the width of a piece in letters."""
    return _count_letters_of(ElementTree.fromstring(f"<mrow>{mathml}</mrow>"))  # noqa: S314 - made here


def _count_letters_of(element: ElementTree.Element) -> float:
    inner = [_count_letters_of(child) for child in element]
    if element.tag == "mfrac":
        return max(inner)
    if element.tag in ("msub", "msup"):
        return inner[0] + 0.7 * inner[1]
    return len(element.text or "") + sum(inner)


def _parse(formula: str) -> ast.expr:
    try:
        return ast.parse(_EQUALS.sub("==", formula), mode="eval").body
    except SyntaxError:
        raise UnknownNotation(f"not an expression: {formula}") from None


def _split(node: ast.expr, labels: Mapping[str, str]) -> list[str]:
    """Return a formula in pieces between which a line may break: sides, terms and factors, each with its sign."""
    match node:
        case ast.Compare(left, [operator], [right]):
            first, *others = _split(right, labels)
            return [*_split(left, labels), f"<mo>{_COMPARED[type(operator)]}</mo>{first}", *others]
        case ast.BinOp(left, ast.Add() | ast.Sub() | ast.Mult() as operator, right) if not _is_multiple_of_pi(node):
            binding = _PRODUCT if isinstance(operator, ast.Mult) else _SUM
            first, *others = _split_term(right, binding + (not isinstance(operator, ast.Add)), labels)
            return [*_split_term(left, binding, labels), _make_sign(operator) + first, *others]
        case ast.Call(ast.Name(name), arguments, []) if name in _FUNCTIONS and _is_wide(_typeset(node, labels)):
            ends = [*("<mo>,</mo>" for _ in arguments[1:]), _CLOSE]
            listed = [_end(_split(each, labels), end) for each, end in zip(arguments, ends, strict=True)]
            first, *others = [piece for pieces in listed for piece in pieces]
            return [f"<mi>{_FUNCTIONS[name]}</mi>{_APPLY}{_OPEN}{first}", *others]
        case _:
            return [_typeset(node, labels).mathml]


def _split_term(node: ast.expr, binding: int, labels: Mapping[str, str]) -> list[str]:
    """Return the pieces of a term for a place that binds this tightly; in parentheses it is one piece if it fits."""
    term = _typeset(node, labels)
    if term.binding >= binding:
        return _split(node, labels)
    if not _is_wide(term):
        return [term.put(binding)]
    pieces = _split(node, labels)
    return _end([_OPEN + pieces[0], *pieces[1:]], _CLOSE)


def _is_wide(term: _Term) -> bool:
    return _count_letters(term.mathml) > MAX_NARROW


def _end(pieces: list[str], mathml: str) -> list[str]:
    """Return pieces with something after the last one."""
    return [*pieces[:-1], pieces[-1] + mathml]


def _make_sign(operator: ast.operator) -> str:
    # Without a form, the first sign of a row is taken for that of a number.
    return f'<mo form="infix">{_SIGNS[type(operator)]}</mo>'


def _typeset(node: ast.expr, labels: Mapping[str, str]) -> _Term:
    match node:
        case ast.Name("pi"):
            return _Term(_PI)
        case ast.Name(name) if name in labels:
            return _Term(f"<mi>{escape(labels[name])}</mi>")
        case ast.Attribute(ast.Name(table), column) if f"{table}.{column}" in labels:
            return _Term(f"<mi>{escape(labels[f'{table}.{column}'])}</mi>")
        case ast.Name(name) if symbol := _SYMBOL.fullmatch(name):
            return _typeset_symbol(*symbol.groups())
        case ast.Compare(left, [operator], [right]):
            sign = f"<mo>{_COMPARED[type(operator)]}</mo>"
            return _Term(_typeset(left, labels).mathml + sign + _typeset(right, labels).mathml, _SUM)
        case ast.Constant(int() | float() as number):
            return _typeset_number(number)
        case ast.UnaryOp(ast.USub(), operand):
            return _Term(f"<mo>−</mo>{_typeset(operand, labels).put(_SIGNED)}", _SIGNED)
        case ast.BinOp(left, operator, right):
            return _typeset_operation(node, left, operator, right, labels)
        case ast.Call(ast.Name(name), arguments, []):
            return _typeset_call(name, [_typeset(each, labels) for each in arguments])
        case _:
            raise UnknownNotation(f"no notation for {ast.unparse(node)}")


def _typeset_symbol(base: str, index: str | None) -> _Term:
    letters = f"<mi>{GREEK.get(base, base)}</mi>"
    return _Term(f"<msub>{letters}<mi>{index}</mi></msub>" if index else letters)


def _typeset_number(number: float) -> _Term:
    digits, _, exponent = format_number(number).partition("e")
    if not exponent:
        return _Term(f"<mn>{digits}</mn>")
    power = f"<msup><mn>10</mn><mn>{int(exponent)}</mn></msup>".replace("-", "−")
    return _Term(f"<mn>{digits}</mn>{_TIMES}{power}", _PRODUCT)


def _typeset_operation(
    node: ast.BinOp, left: ast.expr, operator: ast.operator, right: ast.expr, labels: Mapping[str, str]
) -> _Term:
    first, second = _typeset(left, labels), _typeset(right, labels)
    match operator:
        case ast.Add() | ast.Sub():
            right_binding = _SUM if isinstance(operator, ast.Add) else _PRODUCT
            return _Term(first.put(_SUM) + _make_sign(operator) + second.put(right_binding), _SUM)
        case ast.Mult() if _is_multiple_of_pi(node):
            return _Term(first.mathml + _INVISIBLE_TIMES + second.mathml, _PRODUCT)
        case ast.Mult():
            return _Term(first.put(_PRODUCT) + _make_sign(operator) + second.put(_SIGNED), _PRODUCT)
        case ast.Div():
            return _Term(f"<mfrac><mrow>{first.mathml}</mrow><mrow>{second.mathml}</mrow></mfrac>", _POWER)
        case ast.Pow():
            base = first.put(_ATOM)
            return _Term(f"<msup><mrow>{base}</mrow><mrow>{second.mathml}</mrow></msup>", _POWER)
        case _:
            raise UnknownNotation(f"no notation for {ast.unparse(node)}")


def _is_multiple_of_pi(node: ast.expr) -> bool:
    """Return whether it is a number times pi, which is written without a sign between them."""
    match node:
        case ast.BinOp(ast.Constant(), ast.Mult(), ast.Name("pi")):
            return True
        case _:
            return False


def _typeset_call(name: str, arguments: list[_Term]) -> _Term:
    if name == "sqrt" and len(arguments) == 1:
        return _Term(f"<msqrt>{arguments[0].mathml}</msqrt>")
    if name == "abs" and len(arguments) == 1:
        return _Term(f"<mrow><mo>|</mo>{arguments[0].mathml}<mo>|</mo></mrow>")
    if name == "sum" and len(arguments) == 1:
        return _Term(f"<mo>∑</mo>{arguments[0].put(_PRODUCT)}", _PRODUCT)
    if name not in _FUNCTIONS:
        raise UnknownNotation(f"no notation for the function {name}")
    listed = "<mo>,</mo>".join(argument.mathml for argument in arguments)
    return _Term(f"<mi>{_FUNCTIONS[name]}</mi>{_APPLY}{_parenthesize(listed)}", _POWER)


def _parenthesize(mathml: str) -> str:
    return f"<mrow><mo>(</mo>{mathml}<mo>)</mo></mrow>"
