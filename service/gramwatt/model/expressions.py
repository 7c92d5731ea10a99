"""Formulas of declarations: expressions in Python over the names of fields, steps and constants, in SI units.

``sum``, ``min`` and ``max`` of one argument run over the rows of the table, or the entries of the list, that it names:
``sum(parts.mass * parts.count)``.
"""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

FUNCTIONS: Final = frozenset({"sqrt", "exp", "log", "sin", "cos", "acos", "min", "max", "abs", "sum"})
_OVER_ROWS: Final = frozenset({"sum", "min", "max"})
_NAME: Final = re.compile(r"(?<![\w.])[A-Za-z_]\w*(?:\.[A-Za-z_]\w*)?")
_OWN: Final = FUNCTIONS | {"pi"}


@dataclass(frozen=True, slots=True)
class RowsCall:
    """A ``sum``, ``min`` or ``max`` over rows within an expression."""

    function: str
    argument: str
    start: int
    """Where it begins in the expression, and where it ends."""
    stop: int
    is_sum: bool
    """Whether the argument is itself a sum or a difference."""


@functools.lru_cache(maxsize=2048)
def list_names(expression: str) -> tuple[str, ...]:
    """Return the names in an expression, each once: of fields, columns (``parts.mass``), steps and constants."""
    return tuple(dict.fromkeys(name for name in _NAME.findall(expression) if name not in _OWN))


def replace_names(expression: str, replace: Callable[[str], str]) -> str:
    """Return an expression with something else for each name."""
    return _NAME.sub(lambda name: name[0] if name[0] in _OWN else replace(name[0]), expression)


@functools.lru_cache(maxsize=2048)
def find_rows_calls(expression: str) -> tuple[RowsCall, ...]:
    """Return the calls over rows in an expression, in order; none is within another."""
    if not any(f"{function}(" in expression for function in _OVER_ROWS):
        return ()
    found = (_read_call(node, expression) for node in ast.walk(ast.parse(expression, mode="eval")))
    return tuple(sorted((call for call in found if call is not None), key=lambda call: call.start))


def _read_call(node: ast.AST, expression: str) -> RowsCall | None:
    match node:
        case ast.Call(ast.Name(function), [argument], []) if function in _OVER_ROWS and node.end_col_offset is not None:
            inner = expression[argument.col_offset : argument.end_col_offset]
            is_sum = isinstance(argument, ast.BinOp) and isinstance(argument.op, ast.Add | ast.Sub)
            return RowsCall(function, inner, node.col_offset, node.end_col_offset, is_sum)
        case _:
            return None


def find_expression_problems(expression: str, known: Callable[[str], bool]) -> Iterator[str]:
    """Yield what is wrong with an expression; ``known`` returns whether there is something of a name."""
    try:
        ast.parse(expression, mode="eval")
    except SyntaxError:
        yield f"{expression!r} is not an expression"
        return
    yield from (
        f"{expression!r} names {name}, which does not exist" for name in list_names(expression) if not known(name)
    )
