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
from typing import Any, Generic, TypeVar

from gramwatt.kinds import KINDS as KINDS
from gramwatt.kinds import NESTED as NESTED
from gramwatt.kinds import Array as Array
from gramwatt.kinds import Choice as Choice
from gramwatt.kinds import Codes as Codes
from gramwatt.kinds import Count as Count
from gramwatt.kinds import DeclarationError as DeclarationError
from gramwatt.kinds import Flag as Flag
from gramwatt.kinds import Kind as Kind
from gramwatt.kinds import Labels as Labels
from gramwatt.kinds import Quantity as Quantity
from gramwatt.kinds import Recording as Recording
from gramwatt.kinds import Recordings as Recordings
from gramwatt.kinds import Samples as Samples
from gramwatt.kinds import Series as Series
from gramwatt.kinds import Spread as Spread
from gramwatt.kinds import Table as Table
from gramwatt.kinds import Text as Text
from gramwatt.kinds import Truths as Truths
from gramwatt.kinds import Unit as Unit
from gramwatt.kinds import Unread as Unread
from gramwatt.kinds import default_of as default_of
from gramwatt.kinds import fields_of as fields_of
from gramwatt.kinds import is_required as is_required
from gramwatt.pictures import Bars, Course, Curve, Ladder, Picture

I = TypeVar("I")  # noqa: E741 - a calculator's Inputs
R = TypeVar("R")  # a calculator's Results

RESERVED_RESULTS = frozenset({"batch", "sweep", "chart", "log"})
RESERVED_INPUTS = frozenset(
    {
        "add", "best", "by", "cautions", "count", "decimal", "decimal_sent", "digits", "error", "errors", "fields",
        "format", "from", "given", "ground", "header", "id", "keep", "least", "name", "note", "picture", "remove",
        "results", "scale", "sep", "service", "shape", "show", "theme", "title", "to", "uncertainty", "unit", "units",
        "vary", "working",
    }
)  # fmt: skip

JOBS: Mapping[str, str] = MappingProxyType(
    {
        "weigh": "On the bench: grams against a limit",
        "choose": "On the bench: packs, motors and propellers",
        "before": "Before the flight",
        "after": "After the flight",
        "show": "To show others",
    }
)
"""The parts of the work that calculators serve, in order."""


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


@dataclass(frozen=True, slots=True)
class Form(Generic[I, R]):
    """Another form in which an answer can be had, beside JSON and CSV: ``format=vtt``, or by its media type."""

    name: str
    media: str
    description: str
    write: Callable[[I, R], Iterator[bytes]]
    """The answer in pieces, from complete inputs and the results of one question."""
    binary: bool = False


@functools.cache
def _asked_of(inputs: Hashable, propagates: bool) -> Mapping[str, Kind]:
    fields = fields_of(typing.cast("type[Any]", inputs))
    told = {name: kind if propagates else _exact(kind) for name, kind in fields.items() if not isinstance(kind, Spread)}
    return MappingProxyType(told)


def _exact(kind: Kind) -> Kind:
    """The same input where no uncertainty is carried to any result."""
    return dataclasses.replace(kind, exact=True, default_u=None) if isinstance(kind, Quantity) else kind


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
    forms: tuple[Form[I, R], ...] = ()
    job: str = "choose"
    """The part of the work that it serves, one of `JOBS`."""
    picture: Picture[I, R] | None = None
    """How its answer is drawn."""
    propagates: bool = True
    """Whether uncertainties of inputs are carried to the results; else no quantity may tell one."""

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
        return _asked_of(typing.cast("Hashable", self.inputs), self.propagates)

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
        """Whether many questions fit one call of the formula as columns (no list, table, or recording is asked for)."""
        return not any(isinstance(kind, NESTED) for kind in self.asked.values())

    @property
    def recording(self) -> str | None:
        """The input that is a recording, which may then be sent by itself."""
        return next((name for name, kind in self.asked.items() if isinstance(kind, Samples)), None)

    @property
    def takes_recordings(self) -> bool:
        """Whether there is a recording among the inputs, or in the rows of a table of them."""
        rows = [fields_of(kind.row) for kind in self.asked.values() if isinstance(kind, Table)]
        return any(isinstance(kind, Samples) for fields in (self.asked, *rows) for kind in fields.values())


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
    if calculator.job not in JOBS:
        yield f"job {calculator.job!r} is none of {', '.join(JOBS)}"
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
    mentioned += [("picture", n, {**inputs, **results}) for n in _drawn(calculator.picture)]
    notes: list[Caution[Any, Any] | Rule[Any, Any]] = [*calculator.cautions, *calculator.rules]
    for note in notes:
        mentioned += [(note.code, n, {**inputs, **results}) for n in re.findall(r"\{(\w+)(?:\.\w+)?\}", note.text)]
    yield from (f"{where} names {name}, which does not exist" for where, name, known in mentioned if name not in known)


def _drawn(picture: Picture[Any, Any] | None) -> Iterator[str]:
    """The inputs and results that a picture names."""
    match picture:
        case Curve():
            yield from (picture.vary, *picture.show, *((picture.across,) if picture.across else ()))
        case Ladder():
            yield from (picture.steps, picture.table, picture.masses)
        case Bars():
            yield from (picture.table,) if picture.table else picture.show
        case Course():
            yield from (picture.recording, *((picture.spans,) if picture.spans else ()))


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
        yield from (f"any_of names {n}, which does not exist" for g in kind.any_of for n in g if n not in rows)
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
    elif isinstance(kind, Samples):
        channels = fields_of(kind.row)
        if not channels or not all(isinstance(channel, Quantity) for channel in channels.values()):
            yield "the channels of a recording are quantities, the time first"
        for name, channel in channels.items():
            yield from (f"{name}: {fault}" for fault in _input_faults(channel, channels))
    elif isinstance(kind, Text) and kind.pattern:
        told = (*kind.like, *((kind.default,) if kind.default else ()))
        yield from (f"{text!r} does not match the pattern" for text in told if not re.fullmatch(kind.pattern, text))
        if not kind.form or not kind.like:
            yield "a pattern needs its form in words and some texts like it"
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
    if not isinstance(kind, Quantity | Count | Choice | Flag | Text | Series):
        yield f"a result cannot be a {type(kind).__name__}"
        return
    if not (kind.method or getattr(kind, "formula", "")):
        yield "a result needs a formula or a method"
    yield from (f"needs {name}, which does not exist" for name in getattr(kind, "needs", ()) if name not in inputs)
