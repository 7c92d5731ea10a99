"""One question as plain arithmetic: a formula is watched once, and what it did to its inputs becomes a function.

A formula works on arrays, and on an array of one nearly all of its time goes into numpy's calls. As it holds no branch
on values, the operations it applies are the same for every question with the same choices and the same inputs left out.
So it is run once on stand-ins that note each operation, and the notes are compiled to a function of plain floats, with
the rules and cautions in it. The results are the same doubles: a test compares them. Where a formula does something
that cannot be noted, or the function meets what plain arithmetic refuses (a division by zero), the formula is called.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.declare import Calculator, Caution, Choice, Count, Flag, Kind, Quantity, Rule, fields_of

MOST_VARIANTS: Final = 512
LONGEST: Final = 2000
"""Operations; a longer program is hardly quicker than the formula."""


class Unnotable(Exception):
    """The formula does something that cannot be noted."""


class _Notes:
    """The operations so far, one a line, and the constants they use."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.constants: dict[str, Any] = dict(_HELPERS)

    def add(self, expression: str, kind: str) -> Standin:
        """Note an operation; what stands for its value."""
        if len(self.lines) > LONGEST:
            raise Unnotable("too long")
        name = f"v{len(self.lines)}"
        self.lines.append(f"{name} = {expression}")
        return Standin(self, name, kind)

    def word(self, value: Any) -> str:
        """How a value is written in an operation."""
        if isinstance(value, Standin):
            return value.name
        if isinstance(value, np.ndarray):
            if value.size != 1:
                raise Unnotable("an array of several")
            value = value.reshape(-1)[0].item()
        if isinstance(value, np.generic):
            value = value.item()
        if isinstance(value, bool | int) or (isinstance(value, float) and math.isfinite(value)):
            return f"({value!r})"
        if isinstance(value, float):
            return self.constant(value)
        raise Unnotable(type(value).__name__)

    def constant(self, value: Any) -> str:
        """A constant that cannot be written out."""
        name = f"c{len(self.constants)}"
        self.constants[name] = value
        return name


def _least(one: float, other: float) -> float:
    return one if one < other or one != one else other


def _greatest(one: float, other: float) -> float:
    return one if one > other or one != one else other


def _through(function: Any) -> Callable[..., float]:
    """A function of numpy's on plain floats; its last bits can differ from those of the math module's."""
    return lambda *values: float(function(*values))


_HELPERS: Final[Mapping[str, Any]] = {
    "sqrt": math.sqrt,
    "least": _least,
    "greatest": _greatest,
    "isfinite": math.isfinite,
    "floor": lambda value: float(math.floor(value)),
    **{name: _through(getattr(np, name)) for name in ("exp", "log", "expm1", "power", "hypot", "arccos", "interp")},
}
_INFIX: Final = {
    "add": "+",
    "subtract": "-",
    "multiply": "*",
    "divide": "/",
    "less": "<",
    "less_equal": "<=",
    "greater": ">",
    "greater_equal": ">=",
    "equal": "==",
    "not_equal": "!=",
    "bitwise_and": "&",
    "bitwise_or": "|",
    "logical_and": "&",
    "logical_or": "|",
}
_TRUTHS: Final = frozenset(("<", "<=", ">", ">=", "==", "!=", "&", "|"))
_CALLS: Final = {
    "sqrt": "sqrt({})",
    "exp": "exp({})",
    "log": "log({})",
    "expm1": "expm1({})",
    "arccos": "arccos({})",
    "hypot": "hypot({}, {})",
    "minimum": "least({}, {})",
    "maximum": "greatest({}, {})",
    "negative": "-{}",
    "absolute": "abs({})",
    "square": "{0} * {0}",
    "floor": "floor({})",
}
_CARRYING: Final = frozenset(("add", "subtract", "multiply", "divide", "minimum", "maximum"))
"""What gives nan whenever an operand is nan."""
_ASKS: Final = {"isnan": "{0} != {0}", "isfinite": "isfinite({})", "invert": "not {}", "logical_not": "not {}"}


def _is_nan(value: Any) -> bool:
    return isinstance(value, np.ndarray) and value.dtype.kind == "f" and bool(np.isnan(value).all())


class Standin:
    """Stands for a value of a question, an array (1,) of numbers (``f``, ``i``) or truths (``b``)."""

    __array_priority__ = 1000
    __slots__ = ("kind", "name", "notes")
    shape = (1,)

    def __init__(self, notes: _Notes, name: str, kind: str) -> None:
        self.notes, self.name, self.kind = notes, name, kind

    def __array__(self, *_: Any, **__: Any) -> Any:
        raise Unnotable("made an array of")

    def __bool__(self) -> bool:
        raise Unnotable("branched on")

    def __iter__(self) -> Any:
        raise Unnotable("gone through")

    def __getitem__(self, index: Any) -> Any:
        raise Unnotable("indexed")

    def astype(self, kind: Any) -> Standin:
        """As numpy's."""
        wanted = np.dtype(kind).kind
        if wanted == "i":
            return self.notes.add(f"int({self.name})", "i")
        if wanted == "f":
            return self.notes.add(f"float({self.name})", "f")
        raise Unnotable(f"as {wanted}")

    def look_up(self, table: Any, index: tuple[Any, ...]) -> Standin:
        """An entry of a table of numbers."""
        written = self.notes.constant(table.tolist()) + "".join(f"[{self.notes.word(each)}]" for each in index)
        return self.notes.add(written, "f")

    def __array_ufunc__(self, function: Any, method: str, *inputs: Any, **options: Any) -> Any:
        name = function.__name__
        if method != "__call__" or options:
            raise Unnotable(f"{name}.{method}")
        if name in ("true_divide", "divide"):
            name = "divide"
        if name in _CARRYING and any(_is_nan(value) for value in inputs):
            return np.full(1, np.nan)  # an input that was left out: no result of it has an answer
        words = [self.notes.word(value) for value in inputs]
        if name == "power":
            if isinstance(inputs[1], int | float) and inputs[1] == 2:
                return self.notes.add(f"{words[0]} * {words[0]}", "f")
            return self.notes.add(f"power({words[0]}, {words[1]})", "f")
        if name in _INFIX:
            sign = _INFIX[name]
            return self.notes.add(f"{words[0]} {sign} {words[1]}", "b" if sign in _TRUTHS else "f")
        if name in _ASKS:
            return self.notes.add(_ASKS[name].format(*words), "b")
        if name in _CALLS:
            return self.notes.add(_CALLS[name].format(*words), "f")
        raise Unnotable(name)

    def __array_function__(self, function: Any, types: Any, inputs: tuple[Any, ...], options: Any) -> Any:
        handler = _FUNCTIONS.get(function)
        if handler is None or options:
            raise Unnotable(function.__name__)
        return handler(self.notes, *inputs)


def _where(notes: _Notes, condition: Any, one: Any, other: Any) -> Any:
    if not isinstance(condition, Standin):
        return one if np.asarray(condition).reshape(-1)[0] else other
    return notes.add(f"{notes.word(one)} if {condition.name} else {notes.word(other)}", "f")


def _clip(notes: _Notes, value: Any, low: Any, high: Any) -> Standin:
    return notes.add(f"least(greatest({notes.word(value)}, {notes.word(low)}), {notes.word(high)})", "f")


def _interp(notes: _Notes, at: Any, places: Any, values: Any) -> Standin:
    return notes.add(f"interp({notes.word(at)}, {notes.constant(places)}, {notes.constant(values)})", "f")


_FUNCTIONS: Final[Mapping[Any, Callable[..., Any]]] = {
    np.where: _where,
    np.clip: _clip,
    np.interp: _interp,
    np.zeros_like: lambda notes, _: np.zeros(1),
    np.ones_like: lambda notes, _: np.ones(1),
    np.full_like: lambda notes, _, value: np.full(1, value),
}


def _infix(name: str) -> tuple[Callable[..., Any], Callable[..., Any]]:
    function = getattr(np, name)
    return lambda self, other: function(self, other), lambda self, other: function(other, self)


for _dunder, _name in (
    ("add", "add"), ("sub", "subtract"), ("mul", "multiply"), ("truediv", "divide"), ("pow", "power"),
    ("and", "bitwise_and"), ("or", "bitwise_or"),
):  # fmt: skip
    _forth, _back = _infix(_name)
    setattr(Standin, f"__{_dunder}__", _forth)
    setattr(Standin, f"__r{_dunder}__", _back)
for _dunder, _name in (
    ("lt", "less"), ("le", "less_equal"), ("gt", "greater"), ("ge", "greater_equal"), ("eq", "equal"),
    ("ne", "not_equal"),
):  # fmt: skip
    setattr(Standin, f"__{_dunder}__", _infix(_name)[0])
for _dunder, _name in (("neg", "negative"), ("invert", "invert"), ("abs", "absolute")):
    setattr(Standin, f"__{_dunder}__", functools.partialmethod(lambda self, name: getattr(np, name)(self), _name))
Standin.__hash__ = object.__hash__  # type: ignore[method-assign]


@dataclass(frozen=True, slots=True)
class Variant:
    """The function of one combination of choices and of inputs left out: floats in, results and truths of notes out."""

    function: Callable[..., tuple[tuple[Any, ...], tuple[bool, ...]]]
    results: tuple[tuple[str, Any], ...]
    """By name, the type of array that each result is."""
    arguments: tuple[str, ...]
    """The inputs that the function takes, by name: those that are numbers and not left out."""
    never: tuple[str, ...]
    """Results that have no answer without an input that was left out."""


@functools.cache
def _numbers(calculator: Calculator[Any, Any]) -> tuple[tuple[str, bool], ...] | None:
    """The inputs, and whether each is a number; None where one is neither number, choice nor flag."""
    kinds: list[Kind] = list(fields_of(calculator.inputs).values())
    results = list(calculator.answered.values())
    if not all(isinstance(kind, Quantity | Count | Choice | Flag) for kind in kinds + results):
        return None
    return tuple((name, isinstance(kind, Quantity | Count)) for name, kind in fields_of(calculator.inputs).items())


_VARIANTS: Final[dict[tuple[Any, ...], Variant | None]] = {}


@functools.cache
def sayings(calculator: Calculator[Any, Any]) -> tuple[Rule[Any, Any] | Caution[Any, Any], ...]:
    """What may be said beside the results, in the order it is told."""
    return (*calculator.rules, *calculator.cautions)


def evaluate(calculator: Calculator[Any, Any], given: Any) -> tuple[Any, tuple[bool, ...]] | None:
    """Results of one question, arrays (1,), and which of its `sayings` hold; None where the formula must be called."""
    variant, values = _found(calculator, given)
    if variant is None:
        return None
    try:
        with np.errstate(all="ignore"):
            found, holds = variant.function(*values)
    except (ArithmeticError, ValueError):
        return None  # numpy has an answer to this: infinity or nan
    made = {name: np.array((value,), dtype=kind) for (name, kind), value in zip(variant.results, found, strict=True)}
    return calculator.results(**made), holds


def variant_of(calculator: Calculator[Any, Any], given: Any) -> Variant | None:
    """The function for questions with this one's choices and the same inputs left out; None where there is none."""
    return _found(calculator, given)[0]


def _found(calculator: Calculator[Any, Any], given: Any) -> tuple[Variant | None, list[float]]:
    fields = _numbers(calculator)
    if fields is None:
        return None, []
    key: list[Any] = [calculator]
    values: list[float] = []
    for name, is_number in fields:
        value = getattr(given, name).item()
        if is_number and value == value:
            values.append(value)
            key.append(None)
        else:
            key.append("" if is_number else value)
    fixed = tuple(key)
    variant = _VARIANTS.get(fixed, _UNKNOWN)
    if variant is _UNKNOWN:
        if len(_VARIANTS) >= MOST_VARIANTS:
            _VARIANTS.clear()
        variant = _VARIANTS[fixed] = _variant(calculator, fields, given)
    return variant, values


_UNKNOWN: Final[Any] = object()


def _variant(calculator: Calculator[Any, Any], fields: tuple[tuple[str, bool], ...], given: Any) -> Variant | None:
    notes = _Notes()
    arguments: list[str] = []
    stand_ins: dict[str, Any] = {}
    for name, is_number in fields:
        value = getattr(given, name)
        if is_number and value[0] == value[0]:
            arguments.append(f"given_{name}")
            stand_ins[name] = Standin(notes, arguments[-1], "f")
        else:
            stand_ins[name] = value
    try:
        with np.errstate(all="ignore"):
            inputs = calculator.inputs(**stand_ins)
            results = calculator.formula(inputs)
            holds = [True if said.when is None else said.when(inputs, results) for said in sayings(calculator)]
        names = fields_of(calculator.results)
        out = [notes.word(getattr(results, name)) for name in names]
        truths = [notes.word(np.asarray(hold) if isinstance(hold, np.bool_) else hold) for hold in holds]
    except (Unnotable, TypeError, ValueError, IndexError, AttributeError):
        return None
    source = "\n    ".join(
        [
            f"def answer({', '.join(arguments)}):",
            *notes.lines,
            f"return ({''.join(f'{word}, ' for word in out)}), ({''.join(f'{word}, ' for word in truths)})",
        ]
    )
    made: dict[str, Any] = dict(notes.constants)
    exec(compile(source, f"<{calculator.name}>", "exec"), made)  # noqa: S102 - written above, of our own formula
    kinds = {Quantity: np.float64, Count: np.float64, Choice: np.intp, Flag: np.bool_}
    typed = tuple((name, kinds[type(kind)]) for name, kind in names.items())
    never = tuple(name for name in names if _is_nan(getattr(results, name)))
    return Variant(made["answer"], typed, tuple(word.removeprefix("given_") for word in arguments), never)
