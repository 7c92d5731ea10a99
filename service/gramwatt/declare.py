"""The words a calculator is declared in: kinds of field, and the Calculator that holds them together.

Nothing here knows of the web, of units beyond their spelling, or of validation libraries. A field is declared as
``Annotated[Array, Quantity(...)]`` on a frozen dataclass; importing a calculator only builds a constant.
"""

from __future__ import annotations

import dataclasses
import functools
import re
import typing
from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass
from types import MappingProxyType
from typing import Any, Generic, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
"""Values in SI units. Shape (N,) for N questions asked at once; (N, M) inside a Series or a Table."""
Codes: TypeAlias = NDArray[np.intp]
"""Positions in a Choice's options, shape (N,); -1 where none was given."""
Truths: TypeAlias = NDArray[np.bool_]
Labels: TypeAlias = NDArray[np.str_]

I = TypeVar("I")  # noqa: E741 - a calculator's Inputs
R = TypeVar("R")  # a calculator's Results

RESERVED_RESULTS = frozenset({"batch", "sweep", "chart"})
RESERVED_INPUTS = frozenset(
    {
        "best", "by", "cautions", "count", "decimal", "digits", "error", "errors", "format", "from", "given", "header",
        "id", "keep", "least", "name", "note", "sep", "to", "uncertainty", "unit", "units", "vary", "working",
    }
)  # fmt: skip


class DeclarationError(TypeError):
    """A calculator says something that cannot be served; the text lists every fault found."""


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit of a constant: ``Annotated[float, Unit("J/(mol K)")]``. Lets a test prove a formula's dimensions."""

    spelling: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with a unit. Bounds and default are in that unit; the formula sees SI."""

    unit: str
    description: str
    _: KW_ONLY
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None
    default: float | None = None
    default_u: float | None = None
    """Standard uncertainty of the default, which counts wherever the default is assumed."""
    optional: bool = False
    replaces: tuple[str, ...] = ()
    """Inputs that are not used, nor given their default, where this one is given."""
    formula: str = ""
    """Of a result: an expression over names of inputs and results, true in SI units; a test evaluates it."""
    method: str = ""
    """Of a result that no single expression gives: how it is found, in words."""
    needs: tuple[str, ...] = ()
    """Of a result: the optional inputs without which it has no answer."""


@dataclass(frozen=True, slots=True)
class Count:
    """A whole number."""

    description: str
    _: KW_ONLY
    at_least: int
    at_most: int
    default: int | None = None
    optional: bool = False
    replaces: tuple[str, ...] = ()
    formula: str = ""
    method: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words. The formula sees positions in ``options``."""

    options: tuple[str, ...]
    description: str
    _: KW_ONLY
    default: str | None = None
    optional: bool = False
    replaces: tuple[str, ...] = ()
    method: str = ""
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Flag:
    """Yes or no."""

    description: str
    _: KW_ONLY
    default: bool = False
    method: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """A short printable text, such as the name of a part; never computed with."""

    description: str
    _: KW_ONLY
    longest: int = 80
    default: str | None = None
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Series:
    """A list of quantities of one kind. The formula sees shape (N, M); M = 0 where none was given."""

    item: Quantity
    description: str
    _: KW_ONLY
    shortest: int = 1
    longest: int = 1000
    optional: bool = False
    replaces: tuple[str, ...] = ()
    method: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of named fields, of inputs or of results. The formula has one dataclass whose arrays have shape (N, M)."""

    row: type[Any]
    description: str
    _: KW_ONLY
    shortest: int = 1
    longest: int = 1000
    optional: bool = False
    replaces: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Spread:
    """Not asked for: the standard uncertainty that came with a neighbouring quantity, SI, zero where none did.

    For decisions that must weigh it (is it under the limit?). Propagation to the results needs no such field.
    """

    of: str


Kind: TypeAlias = Quantity | Count | Choice | Flag | Text | Series | Table | Spread
KINDS = (Quantity, Count, Choice, Flag, Text, Series, Table, Spread)


@dataclass(frozen=True, slots=True)
class Reference:
    """Where a formula or a figure comes from. ``about`` names results; empty means all of them."""

    text: str
    _: KW_ONLY
    url: str = ""
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Caution(Generic[I, R]):
    """What a user must know before acting on the answer. Without ``when`` or ``assumed`` it is always shown.

    ``{name}`` in the text stands for an input or a result and is filled with its value and unit.
    """

    code: str
    text: str
    _: KW_ONLY
    when: Callable[[I, R], Truths] | None = None
    assumed: str = ""
    """Show it only where this input took its default."""

    @property
    def stands(self) -> bool:
        """Whether it is always shown."""
        return self.when is None and not self.assumed


@dataclass(frozen=True, slots=True)
class Rule(Generic[I, R]):
    """Why some results have no answer. The formula gave nan; this says so in words."""

    code: str
    text: str
    _: KW_ONLY
    when: Callable[[I, R], Truths]
    results: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Assumption(Generic[I]):
    """A default that depends on other inputs. ``value`` gives nan (or -1 for a Choice) where nothing is assumed."""

    name: str
    text: str
    value: Callable[[I], Array | Codes]
    _: KW_ONLY
    spread: Callable[[I], Array] | None = None
    """Standard uncertainty of what is assumed, SI; it counts wherever it is assumed."""
    solved_from: tuple[str, ...] = ()
    """Measured inputs that, where all are given, the value is worked out from rather than assumed."""


@dataclass(frozen=True, slots=True)
class Example:
    """A question with the answer it must have, and who says so."""

    title: str
    _: KW_ONLY
    given: Mapping[str, object]
    expected: Mapping[str, object]
    rtol: float
    source: str


def fields_of(declaration: type[Any]) -> Mapping[str, Kind]:
    """The kinds of a declaration's fields, in order. Raises DeclarationError where a field has none."""
    return _fields_of(typing.cast("Hashable", declaration))


@functools.cache
def _asked_of(inputs: Hashable) -> Mapping[str, Kind]:
    fields = _fields_of(inputs)
    return MappingProxyType({name: kind for name, kind in fields.items() if not isinstance(kind, Spread)})


@functools.cache
def _fields_of(declaration: Hashable) -> Mapping[str, Kind]:
    if not isinstance(declaration, type) or not dataclasses.is_dataclass(declaration):
        raise DeclarationError(f"{declaration} is not a dataclass")
    hints = typing.get_type_hints(declaration, include_extras=True)
    found: dict[str, Kind] = {}
    for name in (field.name for field in dataclasses.fields(declaration)):
        kinds = [note for note in getattr(hints[name], "__metadata__", ()) if isinstance(note, KINDS)]
        if len(kinds) != 1:
            raise DeclarationError(f"{declaration.__qualname__}.{name}: declare exactly one kind, found {len(kinds)}")
        found[name] = kinds[0]
    return MappingProxyType(found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calculator(Generic[I, R]):
    """One calculator: what it asks, what it answers, and the formula between. See DEVELOPERS.md."""

    title: str
    summary: str
    inputs: type[I]
    results: type[R]
    formula: Callable[[I], R]
    references: tuple[Reference, ...]
    cautions: tuple[Caution[I, R], ...]
    examples: tuple[Example, ...]
    rules: tuple[Rule[I, R], ...] = ()
    assumptions: tuple[Assumption[I], ...] = ()
    any_of: tuple[tuple[str, ...], ...] = ()
    """Groups of optional inputs of which at least one must be given."""

    def __post_init__(self) -> None:
        """Raise DeclarationError naming every fault of the declaration."""
        faults = list(_faults(self))
        if faults:
            raise DeclarationError(f"{self.name}: " + "; ".join(faults))

    @property
    def name(self) -> str:
        """The name in URLs, from the formula's own: ``pack-energy``."""
        return self.formula.__name__.replace("_", "-")

    @property
    def documentation(self) -> str:
        """The formula's docstring: what it computes, and when it does not hold."""
        return re.sub(r"\s*\n\s*", " ", (self.formula.__doc__ or "").strip())

    @property
    def asked(self) -> Mapping[str, Kind]:
        """The inputs a user may give, in order."""
        return _asked_of(typing.cast("Hashable", self.inputs))

    @property
    def answered(self) -> Mapping[str, Kind]:
        """The results, in order, the headline first."""
        return fields_of(self.results)

    @property
    def headline(self) -> str:
        """The result that answers the question in the title."""
        return next(iter(fields_of(self.results)))

    @property
    def columnwise(self) -> bool:
        """Whether many questions fit one call of the formula as columns (no list or table among the inputs)."""
        return not any(isinstance(kind, Series | Table) for kind in self.asked.values())


def default_of(kind: Kind) -> float | int | str | bool | None:
    """The declared default, in the declared unit, or None."""
    return None if isinstance(kind, Series | Table | Spread) else kind.default


def is_required(kind: Kind) -> bool:
    """Whether an input must be given, its own declaration alone considered."""
    return not (isinstance(kind, Spread | Flag) or kind.optional or default_of(kind) is not None)


def _faults(calculator: Calculator[Any, Any]) -> Iterator[str]:
    try:
        inputs, results = fields_of(calculator.inputs), fields_of(calculator.results)
    except DeclarationError as error:
        yield str(error)
        return
    for owner, fields in (("inputs", inputs), ("results", results)):
        if not fields:
            yield f"{owner} has no fields"
        yield from (
            f"{owner}.{name} is not snake_case" for name in fields if not re.fullmatch(r"[a-z][a-z0-9_]*", name)
        )
    yield from (f"{name} is a reserved word" for name in inputs if name in RESERVED_INPUTS)
    yield from (f"{name} is a reserved word" for name in results if name in RESERVED_RESULTS)
    yield from (
        f"{name} is both an input and a result"
        for name in inputs
        if name in results and not _same(inputs, results, name)
    )
    for name, kind in inputs.items():
        yield from (f"{name}: {fault}" for fault in _input_faults(kind, inputs))
    for name, kind in results.items():
        yield from (f"{name}: {fault}" for fault in _result_faults(kind, inputs))
    for part in ("references", "cautions", "examples", "title", "summary"):
        if not getattr(calculator, part):
            yield f"{part} missing"
    if not calculator.formula.__doc__:
        yield "the formula has no docstring"
    hints = typing.get_type_hints(calculator.formula)
    if hints.get("return") is not calculator.results or calculator.inputs not in hints.values():
        yield "the formula does not take these inputs and give these results"
    mentioned = [("reference", n, results) for r in calculator.references for n in r.about]
    mentioned += [("rule", n.partition(".")[0], results) for r in calculator.rules for n in r.results]
    mentioned += [("assumption", a.name, inputs) for a in calculator.assumptions]
    mentioned += [("caution", c.assumed, inputs) for c in calculator.cautions if c.assumed]
    mentioned += [("any_of", n, inputs) for group in calculator.any_of for n in group]
    mentioned += [("example", n, inputs) for e in calculator.examples for n in e.given]
    mentioned += [("example", n, results) for e in calculator.examples for n in e.expected]
    notes: list[Caution[Any, Any] | Rule[Any, Any]] = [*calculator.cautions, *calculator.rules]
    for note in notes:
        mentioned += [(note.code, n, {**inputs, **results}) for n in re.findall(r"\{(\w+)(?:\.\w+)?\}", note.text)]
    yield from (f"{where} names {name}, which does not exist" for where, name, known in mentioned if name not in known)


def _same(inputs: Mapping[str, Kind], results: Mapping[str, Kind], name: str) -> bool:
    """An optional input may come back as a result (a measured or a found voltage) if it is the same quantity."""
    one, other = inputs[name], results[name]
    return isinstance(one, Quantity) and isinstance(other, Quantity) and one.unit == other.unit


def _input_faults(kind: Kind, siblings: Mapping[str, Kind]) -> Iterator[str]:
    if isinstance(kind, Count):
        if kind.default is not None and not kind.at_least <= kind.default <= kind.at_most:
            yield f"default {kind.default} outside its bounds"
    elif isinstance(kind, Series):
        yield from _input_faults(kind.item, siblings)
    elif isinstance(kind, Table):
        rows = fields_of(kind.row)
        for name, inner in rows.items():
            yield from (f"{name}: {fault}" for fault in _input_faults(inner, rows))
    elif isinstance(kind, Spread):
        if kind.of not in siblings:
            yield f"Spread of {kind.of}, which does not exist"
    elif isinstance(kind, Quantity):
        lows = [bound for bound in (kind.above, kind.at_least) if bound is not None]
        highs = [bound for bound in (kind.below, kind.at_most) if bound is not None]
        if len(lows) != 1 or len(highs) != 1 or lows[0] >= highs[0]:
            yield "an input needs one lower and one upper bound (above or at_least, below or at_most)"
        elif kind.default is not None and (
            not lows[0] <= kind.default <= highs[0] or kind.default in (kind.above, kind.below)
        ):
            yield f"default {kind.default} outside its bounds"
        if kind.default_u is not None and kind.default is None:
            yield "an uncertainty of a default that it has not"
        if kind.formula or kind.method:
            yield "an input has no formula"
    elif isinstance(kind, Choice) and kind.default is not None and kind.default not in kind.options:
        yield f"default {kind.default} is not an option"
    for name in getattr(kind, "replaces", ()):
        if name not in siblings:
            yield f"replaces {name}, which does not exist"
        elif is_required(siblings[name]):
            yield f"replaces {name}, which is required"


def _result_faults(kind: Kind, inputs: Mapping[str, Kind]) -> Iterator[str]:
    if isinstance(kind, Table):
        for name, inner in fields_of(kind.row).items():
            if not isinstance(inner, Text):
                yield from (f"{name}: {fault}" for fault in _result_faults(inner, inputs))
        return
    if not isinstance(kind, Quantity | Count | Choice | Flag | Series):
        yield f"a result cannot be a {type(kind).__name__}"
        return
    if not (kind.method or getattr(kind, "formula", "")):
        yield "a result needs a formula or a method"
    yield from (f"needs {name}, which does not exist" for name in getattr(kind, "needs", ()) if name not in inputs)
