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
from typing import Any, Generic, Literal, TypeAlias, TypeVar

from gramwatt.arrays import Array, BoolArray, IndexArray
from gramwatt.model.charts import Chart
from gramwatt.model.declaration_checks import declaration_problems
from gramwatt.model.deprecation import Deprecation
from gramwatt.model.kinds import (
    Decided,
    DeclarationError,
    Kind,
    Quantity,
    RowName,
    Table,
    TimeSeries,
    get_fields,
)
from gramwatt.model.sentences import Sentence

I = TypeVar("I")  # noqa: E741 - a calculator's Inputs
R = TypeVar("R")  # a calculator's Results

NoticeKind: TypeAlias = Literal["finding", "missing", "standing"]
"""What a caution is about, in the order of a response."""
Severity: TypeAlias = Literal["high", "medium", "low"]


@dataclass(frozen=True, slots=True)
class Reference:
    """Where a formula or a figure comes from. ``about`` names results and steps, or columns; empty: all results."""

    text: str
    _: KW_ONLY
    url: str = ""
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Caution(Generic[I, R]):
    """What a user must know before acting on the results. Without ``when`` or ``assumed`` it is always shown.

    ``{name}`` in the text stands for an input or a result with its unit, ``{table.column}`` for those of the rows that
    it is about, and ``{name:rough}`` for two digits.
    """

    code: str
    text: str
    _: KW_ONLY
    when: Callable[[I, R], BoolArray] | None = None
    assumed: str = ""
    """Show it only where this input took its default."""
    severity: Severity = "medium"
    """``high`` where the figures break a limit or a rating, ``low`` where they stay useful as they are."""
    missing: bool = False
    """Whether a further input would settle it; so it is where an input took its default."""

    @property
    def is_always_shown(self) -> bool:
        """Whether it is always shown."""
        return self.when is None and not self.assumed

    @property
    def kind(self) -> NoticeKind:
        """What it is about: always true, these figures, or a further input that would settle it."""
        if self.is_always_shown:
            return "standing"
        return "missing" if self.missing or self.assumed else "finding"


@dataclass(frozen=True, slots=True)
class Rule(Generic[I, R]):
    """Why some results have no answer. The formula gave nan; this says so in words."""

    code: str
    text: str
    _: KW_ONLY
    when: Callable[[I, R], BoolArray]
    results: tuple[str, ...]
    partly: str = ""
    """What holds in some of the likely cases, to follow "In 18 % of the likely cases "; as ``text``, without a stop."""
    severity: Severity = "high"
    missing: bool = False
    """Whether a further input would give the results."""

    @property
    def kind(self) -> NoticeKind:
        """What it is about: these figures, or a further input that would give the results."""
        return "missing" if self.missing else "finding"


@dataclass(frozen=True, slots=True)
class Assumption(Generic[I]):
    """A default that depends on other inputs. ``value`` gives nan (or -1 for a Choice) where nothing is assumed."""

    name: str
    """The input; ``packs.cell_resistance`` is a column of a table, whose ``value`` has shape (N, M)."""
    text: str
    value: Callable[[I], Array | IndexArray]
    _: KW_ONLY
    uncertainty: Callable[[I], Array] | None = None
    """Standard uncertainty of what is assumed, SI; it counts wherever it is assumed."""
    factor: float | Callable[[I], Array] | None = None
    """Of a positive value known to a factor, x/÷ 1.5: one standard deviation of its logarithm (log-normal)."""
    solved_from: tuple[str, ...] = ()
    """Measured inputs that the value is derived from rather than assumed; without one of them there is no value."""

    formula: str = ""
    """Of a value that one expression gives: that one, for the working. In a column it names other columns first."""
    once: bool = False
    """Whether it is decided on the inputs as given: the draws of these, where uncertain, do not change it."""
    draw: str = ""
    """Assumptions with the same one are uncertain together, as by one law; by default their name without the table."""

    @property
    def shared_draw(self) -> str:
        """The name of its draws where uncertainty is propagated, and among the shares."""
        return self.draw or self.name.rpartition(".")[2]

    @property
    def is_uncertain(self) -> bool:
        """Whether what is assumed has an uncertainty of its own."""
        return self.uncertainty is not None or self.factor is not None


@dataclass(frozen=True, slots=True)
class Example:
    """Inputs with the results they must give, and the source of these."""

    title: str
    _: KW_ONLY
    given: Mapping[str, object]
    expected: Mapping[str, object]
    rtol: float
    source: str


@dataclass(frozen=True, slots=True)
class OutputFormat(Generic[I, R]):
    """A format of responses beside JSON and CSV: ``format=vtt``, or by its media type."""

    name: str
    media_type: str
    description: str
    write: Callable[[I, R], Iterator[bytes]]
    """Return the response in chunks, from complete inputs and the results of one request."""
    binary: bool = False
    pixels: Callable[[I], Array] | None = None
    """Of a picture made of pixels: how many it has, from complete inputs (N,)."""


@functools.cache
def _get_input_fields(inputs: Hashable, propagates: bool) -> Mapping[str, Kind]:
    fields = get_fields(typing.cast("type[Any]", inputs))
    return MappingProxyType(
        {name: kind if propagates else _make_exact(kind) for name, kind in fields.items() if kind.is_given}
    )


def _make_exact(kind: Kind) -> Kind:
    """Return the same input for a calculator that carries no uncertainty to any result."""
    if not isinstance(kind, Quantity):
        return kind
    return dataclasses.replace(kind, exact=True, default_u=None, default_factor=None, display=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calculator(Generic[I, R]):
    """One calculator: its inputs, its results and its formula. See DEVELOPERS.md."""

    title: str
    summary: str
    inputs: type[I]
    results: type[R]
    formula: Callable[[I], R]
    references: tuple[Reference, ...]
    cautions: tuple[Caution[I, R], ...]
    examples: tuple[Example, ...]
    steps: Callable[[I, R], Any] | None = None
    """Return what lies between inputs and results, for the working: a dataclass of declared fields, whose type it
    names. A step without a value was not taken. A table named like one of the results has more columns of its rows."""
    sentences: tuple[Sentence[I, R], ...] = ()
    """The headline in words: the first one that applies."""
    rules: tuple[Rule[I, R], ...] = ()
    assumptions: tuple[Assumption[I], ...] = ()
    any_of: tuple[tuple[str, ...], ...] = ()
    """Groups of optional inputs of which at least one must be given."""
    formats: tuple[OutputFormat[I, R], ...] = ()
    category: str = "choose"
    """The part of the work that it serves, one of `CATEGORIES`."""
    charts: tuple[Chart[I, R], ...] = ()
    """The charts of its results, the main one first."""
    deprecated: Deprecation | None = None
    """That the calculator will go."""
    propagates: bool = True
    """Whether uncertainties of inputs are carried to the results; else no quantity may have one."""

    def __post_init__(self) -> None:
        """Raise DeclarationError naming every problem of the declaration."""
        problems = list(declaration_problems(self))
        if problems:
            raise DeclarationError(f"{self.name}: " + "; ".join(problems))

    @property
    def name(self) -> str:
        """The name in URLs, from the formula's own: ``pack-energy``."""
        return self.formula.__name__.replace("_", "-")

    @property
    def documentation(self) -> str:
        """The formula's docstring: what it computes, and when it does not hold."""
        return re.sub(r"\s*\n\s*", " ", (self.formula.__doc__ or "").strip())

    @property
    def input_fields(self) -> Mapping[str, Kind]:
        """The inputs a user may give, in order."""
        return _get_input_fields(typing.cast("Hashable", self.inputs), self.propagates)

    @property
    def required_inputs(self) -> tuple[str, ...]:
        """The inputs that every request must give, without those of which one of a group is enough."""
        return _required_inputs(self)

    @property
    def result_fields(self) -> Mapping[str, Kind]:
        """The results, in order, the headline first."""
        return get_fields(self.results)

    @property
    def step_fields(self) -> Mapping[str, Kind]:
        """The steps between inputs and results, in order."""
        return {} if self.steps is None else get_fields(_get_return_type(self.steps))

    @property
    def headline(self) -> str:
        """Return the name of the main result, which the title promises."""
        return next(iter(get_fields(self.results)))

    def describe_default(self, name: str) -> str:
        """Return in words what an input that follows from others is where it is not given; "" of any other input.

        First what it is solved from, then what is assumed, each in the order in which they are tried.
        """
        tried = [each for each in self.assumptions if each.name == name]
        solved = dict.fromkeys(each.text for each in tried if each.solved_from)
        assumed = dict.fromkeys(each.text for each in tried if not each.solved_from)
        where = " where given" if assumed else ""
        return "; otherwise ".join([*([" or ".join(solved) + where] if solved else []), *assumed])

    @property
    def columnwise(self) -> bool:
        """Whether many requests fit one call of the formula as columns.

        No input is a list, a table or a recording, and no result is a table, whose length may differ between requests.
        """
        return not self.result_tables and not any(kind.is_nested for kind in self.input_fields.values())

    @property
    def input_tables(self) -> Mapping[str, Table]:
        """The inputs that are tables."""
        return _get_tables(self.input_fields)

    @property
    def result_tables(self) -> Mapping[str, Table]:
        """The results that are tables."""
        return _get_tables(self.result_fields)

    @property
    def row_names(self) -> Mapping[str, RowName]:
        """The inputs that name a row of a table, and such columns of tables (``setups.pack``)."""
        return _get_row_names(typing.cast("Hashable", self.inputs))

    @property
    def decided_fields(self) -> Mapping[str, Decided]:
        """What it decides on the inputs as given, in order. A calculator that decides may search long."""
        return _get_decided_fields(typing.cast("Hashable", self.inputs))

    @property
    def recording(self) -> str | None:
        """The input that is a recording, which may then be sent by itself."""
        return next((name for name, kind in self.input_fields.items() if isinstance(kind, TimeSeries)), None)

    @property
    def takes_recordings(self) -> bool:
        """Whether there is a recording among the inputs, or in the rows of a table of them."""
        rows = [table.columns for table in self.input_tables.values()]
        return any(isinstance(kind, TimeSeries) for fields in (self.input_fields, *rows) for kind in fields.values())


AnyCalculator: TypeAlias = Calculator[Any, Any]


def _get_tables(fields: Mapping[str, Kind]) -> Mapping[str, Table]:
    return {name: kind for name, kind in fields.items() if isinstance(kind, Table)}


@functools.cache
def _get_return_type(function: Callable[..., Any]) -> type[Any]:
    return typing.cast("type[Any]", typing.get_type_hints(function)["return"])


@functools.cache
def _get_row_names(inputs: Hashable) -> Mapping[str, RowName]:
    fields = get_fields(typing.cast("type[Any]", inputs))
    columns = {f"{name}.{inner}": kind for name, each in fields.items() for inner, kind in each.columns.items()}
    return MappingProxyType({path: kind for path, kind in {**fields, **columns}.items() if isinstance(kind, RowName)})


@functools.cache
def _get_decided_fields(inputs: Hashable) -> Mapping[str, Decided]:
    fields = get_fields(typing.cast("type[Any]", inputs))
    return MappingProxyType({name: kind for name, kind in fields.items() if isinstance(kind, Decided)})


@functools.cache
def _required_inputs(calculator: AnyCalculator) -> tuple[str, ...]:
    grouped = {name for group in calculator.any_of for name in group}
    return tuple(name for name, kind in calculator.input_fields.items() if kind.is_required and name not in grouped)
